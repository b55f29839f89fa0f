"""Outliers: who stands out, by how much, and when the data are too few to tell."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.metrology.outliers import grubbs, several
from gaugelink.metrology.samples import MetrologyError
from gaugelink.metrology.series import Side
from tests.metrology.batches import batches, moved, normal_batch, scales, shifts

STEADY = normal_batch(20, seed=5)


def test_the_one_thick_blank_stands_out() -> None:
    values = [*STEADY[:13], 66.0, *STEADY[14:]]
    found = grubbs(values)
    assert found.stands_out
    assert found.p < 0.05
    assert (found.furthest.index, found.furthest.value) == (13, 66.0)
    rest = values[:13] + values[14:]
    assert found.furthest.away == pytest.approx(66 - sum(rest) / 19)
    assert [each.index for each in several(values).outliers] == [13]


@pytest.mark.parametrize(("side", "index"), [("low", 3), ("high", 8), ("both", 8)])
def test_only_the_side_that_was_asked_for(side: Side, index: int) -> None:
    values = list(STEADY)
    values[3], values[8] = 52.0, 67.0
    assert grubbs(values, side).furthest.index == index


def test_two_that_hide_each_other_are_found_together() -> None:
    values = [*STEADY, 66.0, 66.2]
    assert not grubbs([*STEADY[:6], 66.0, 66.2]).stands_out
    assert [each.index for each in several(values).outliers] == [21, 20]


def test_a_steady_batch_has_none_and_a_single_different_value_is_as_far_as_can_be() -> None:
    assert not grubbs(STEADY).stands_out
    assert several(STEADY).outliers == ()
    found = grubbs([59.0] * 9 + [60.0])
    assert found.statistic == pytest.approx(9 / math.sqrt(10))
    assert found.p == pytest.approx(0, abs=1e-9)


def test_the_search_ends_when_those_left_are_all_the_same() -> None:
    found = several([59.0] * 18 + [60.0, 57.0], most=10)
    assert [step.index for step in found.steps] == [19, 18]
    assert [each.away for each in found.outliers] == [-2.0, 1.0]


@pytest.mark.parametrize("most", [0, -1, 11])
def test_no_more_than_half_can_stand_out(most: int) -> None:
    with pytest.raises(MetrologyError, match="cannot all stand out; take 1 to 10"):
        several(STEADY, most=most)


def test_alarms_by_chance_are_as_rare_as_alpha_says() -> None:
    batch = [normal_batch(20, seed) for seed in range(400)]
    for found in (
        sum(grubbs(each).stands_out for each in batch),
        sum(grubbs(each, "low").stands_out for each in batch),
        sum(bool(several(each, most=3).outliers) for each in batch),
    ):
        assert 8 <= found <= 36, "20 are expected"


@given(batches(3), st.sampled_from(["both", "low", "high"]), st.sampled_from([0.01, 0.05, 0.3]))
def test_the_probability_and_the_limit_say_the_same(
    values: list[float], side: Side, alpha: float
) -> None:
    found = grubbs(values, side, alpha)
    assert 0 <= found.p <= 1
    if abs(found.p - alpha) > 1e-9:
        assert found.stands_out == (found.p < alpha)
    assert found.statistic <= (found.n - 1) / math.sqrt(found.n) + 1e-9


@given(batches(15), scales, shifts)
def test_unit_zero_and_order_do_not_matter(values: list[float], scale: float, shift: float) -> None:
    one, two = several(values), several(moved(values, scale, shift))
    assert [each.index for each in one.outliers] == [each.index for each in two.outliers]
    assert [each.statistic for each in one.steps] == pytest.approx(
        [each.statistic for each in two.steps]
    )
    for here, there in zip(one.outliers, two.outliers, strict=True):
        assert there.away == pytest.approx(here.away * scale)
    turned = grubbs(values[::-1])
    assert turned.statistic == pytest.approx(grubbs(values).statistic)


@given(batches(3))
def test_upside_down_high_is_low(values: list[float]) -> None:
    high, low = grubbs(values, "high"), grubbs([-each for each in values], "low")
    assert (high.furthest.index, high.statistic) == (low.furthest.index, low.statistic)
    assert high.furthest.away == -low.furthest.away


def test_limits_grow_with_the_batch_and_shrink_with_alpha() -> None:
    limits = [grubbs(normal_batch(n, seed=n)).critical for n in range(3, 60)]
    assert limits == sorted(limits)
    by_alpha = [grubbs(STEADY, alpha=each).critical for each in (0.001, 0.01, 0.05, 0.2)]
    assert by_alpha == sorted(by_alpha, reverse=True)
