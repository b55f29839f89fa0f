"""Drift and change by the order of making: against scipy, and which of the two it was."""

from __future__ import annotations

import math
from statistics import NormalDist, median

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.metrology.trend import change, drift, order
from tests.metrology.batches import batches, moved, normal_batch, scales, shifts

STEADY = normal_batch(24, seed=8)
"""A batch that shows nothing; of the seeds about one in fifteen shows something by chance."""


@given(batches(5, 30))
def test_statistic_and_slope_are_scipys(values: list[float]) -> None:
    from scipy.stats import kendalltau, theilslopes  # type: ignore[import-untyped]

    found, place = drift(values), range(len(values))
    slopes = theilslopes(values)
    assert found.slope == pytest.approx(float(slopes.slope), abs=1e-12)
    assert found.lower == pytest.approx(float(slopes.low_slope), abs=1e-12)
    assert found.upper == pytest.approx(float(slopes.high_slope), abs=1e-12)
    sign = float(kendalltau(place, values).statistic)
    assert math.copysign(1, found.statistic) == math.copysign(1, sign) or abs(sign) < 1e-12


@given(st.permutations(range(12)))
def test_the_chance_of_values_none_alike_is_scipys_exact_one(values: list[int]) -> None:
    from scipy.stats import kendalltau

    found = drift([float(each) for each in values])
    exact = kendalltau(range(12), values, method="exact")
    assert found.statistic == pytest.approx(float(exact.statistic) * 66)
    assert found.p == pytest.approx(float(exact.pvalue))


@given(st.lists(st.integers(0, 6), min_size=10, max_size=40))
def test_the_chance_of_values_alike_is_scipys_but_for_the_step_of_one(values: list[int]) -> None:
    """scipy takes its z from S whole; one is taken off S here, since it goes in steps."""
    from scipy.stats import kendalltau

    found, size = drift(values), abs(drift(values).statistic)
    if size and len(set(values)) < len(values):
        whole = float(kendalltau(range(len(values)), values, method="asymptotic").pvalue)
        z = NormalDist().inv_cdf(1 - whole / 2)
        assert found.p == pytest.approx(2 - 2 * NormalDist().cdf(z * (1 - 1 / size)), abs=1e-6)


def test_the_change_is_a_rank_sum_test_at_every_place() -> None:
    """K is the largest of Mann and Whitney's statistics, counted from its middle, twice."""
    from scipy.stats import mannwhitneyu

    values = [*STEADY[:10], *(each + 1 for each in STEADY[10:])]
    sizes = []
    for first in range(1, len(values)):
        u = float(mannwhitneyu(values[first:], values[:first]).statistic)
        sizes.append(abs(2 * u - first * (len(values) - first)))
    assert change(values).statistic == max(sizes)


@given(batches(5, 20))
def test_the_place_of_the_change_leaves_the_least_over(values: list[float]) -> None:
    def left(index: int) -> float:
        parts = (values[:index], values[index:])
        return sum(abs(each - median(part)) for part in parts for each in part)

    found = change(values)
    sums = [left(index) for index in range(1, len(values))]
    assert left(found.index) == min(sums)
    assert (found.before, found.after) == (
        median(values[: found.index]),
        median(values[found.index :]),
    )


@pytest.mark.parametrize("index", [3, 8, 14, 20])
def test_a_plain_change_is_found_where_it_is(index: int) -> None:
    values = [59.0, 59.5] * (index // 2) + [59.2] * (index % 2) + [62.0, 62.5] * 12
    assert change(values[:24]).index == index


def test_a_gouge_that_moves_is_a_drift() -> None:
    values = [each - 0.3 * index for index, each in enumerate(STEADY)]
    found = order(values)
    assert found.likely == "drift"
    assert found.drift.slope == pytest.approx(drift(STEADY).slope - 0.3)


@pytest.mark.parametrize("by", [-4.0, 4.0])
def test_a_gouge_that_was_set_anew_is_a_change(by: float) -> None:
    found = order([*STEADY[:14], *(each + by for each in STEADY[14:])])
    assert found.likely == "change"
    assert found.change.index == 14
    assert found.change.after - found.change.before == pytest.approx(by, abs=1)
    assert found.drift.shown, "a change looks like a drift as well"


def test_a_steady_batch_is_steady_and_equal_values_are() -> None:
    assert order(STEADY).likely == "steady"
    found = order([59.0] * 12)
    assert found.likely == "steady"
    assert (found.drift.p, found.drift.slope, found.change.statistic) == (1.0, 0.0, 0)


def test_alarms_by_chance_are_no_more_than_alpha_says() -> None:
    found = [order(normal_batch(20, seed)) for seed in range(300)]
    drifts = sum(each.drift.shown for each in found)
    changes = sum(each.change.shown for each in found)
    assert sum(each.likely != "steady" for each in found) <= 36
    assert 4 <= drifts <= 26, "15 are expected"
    assert changes <= 26, "it is on the careful side"


def test_ten_values_or_fewer_never_show_a_change() -> None:
    for n in range(5, 11):
        assert not change([0.0] * (n // 2) + [9.0] * (n - n // 2)).shown
    assert change([0.0] * 6 + [9.0] * 6).shown


@given(batches(5), scales, shifts)
def test_unit_and_zero_do_not_matter(values: list[float], scale: float, shift: float) -> None:
    one, two = order(values), order(moved(values, scale, shift))
    assert one.likely == two.likely
    assert (one.drift.statistic, one.drift.p) == (two.drift.statistic, two.drift.p)
    assert two.drift.slope == pytest.approx(one.drift.slope * scale)
    assert (one.change.index, one.change.p) == (two.change.index, two.change.p)


@given(batches(5))
def test_upside_down_and_backwards_a_rise_is_a_fall(values: list[float]) -> None:
    one = drift(values)
    for other in (drift([-each for each in values]), drift(values[::-1])):
        assert other.statistic == -one.statistic
        assert other.p == pytest.approx(one.p)
        assert other.slope == pytest.approx(-one.slope)
    assert change(values).statistic == change(values[::-1]).statistic


@given(batches(5))
def test_figures_are_in_their_ranges(values: list[float]) -> None:
    slow, sudden = drift(values), change(values)
    assert 0 <= slow.p <= 1
    assert 0 <= sudden.p <= 1
    assert slow.lower <= slow.slope <= slow.upper
    assert 1 <= sudden.index < len(values)
