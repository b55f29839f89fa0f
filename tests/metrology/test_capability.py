"""Capability: what is asked of the limits, which scatter counts for which index, and how sure."""

from __future__ import annotations

import random
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.metrology.capability import capability, indices, moving_range_freedom
from gaugelink.metrology.conformity import Limits
from gaugelink.metrology.samples import MetrologyError
from tests.metrology.batches import batches, moved, normal_batch, scales, shifts

STEADY = normal_batch(40, seed=8)


def test_a_drift_costs_performance_and_not_capability() -> None:
    drifting = [each + index / 10 for index, each in enumerate(STEADY)]
    steady = capability(STEADY, Limits(55, 63))
    found = capability(drifting, Limits(57, 65))
    assert steady.cp is not None
    assert found.cp is not None
    assert found.pp is not None
    assert found.cp.value == pytest.approx(steady.cp.value, rel=0.05)
    assert found.pp.value < 0.75 * found.cp.value
    assert found.outside > steady.outside


def test_one_limit_gives_one_sided_indices_only() -> None:
    for limits in (Limits(lower=57), Limits(upper=61)):
        found = capability(STEADY, limits)
        assert found.cp is None
        assert found.pp is None
        assert found.off is None
        assert found.ppk.lower < found.ppk.value < found.ppk.upper
    assert indices(59, 1, Limits(lower=57)).nearest == pytest.approx(2 / 3)
    assert indices(59, 1, Limits(upper=58)).nearest == pytest.approx(-1 / 3)


def test_the_share_outside_is_counted_on_both_sides() -> None:
    mean, s = capability(STEADY, Limits(0, 1)).mean, capability(STEADY, Limits(0, 1)).overall
    # 4.55 % of a normal distribution lie beyond two standard deviations, from memory.
    assert capability(STEADY, Limits(mean - 2 * s, mean + 2 * s)).outside == pytest.approx(
        0.0455, abs=5e-5
    )
    assert capability(STEADY, Limits(upper=mean)).outside == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("limits", "text"),
    [
        (Limits(), "there is no limit to keep; give a lower one, an upper one or both"),
        (Limits(60, 60), "lower limit 60 is not below upper 60; give them in order"),
        (Limits(61, 60), "lower limit 61 is not below upper 60; give them in order"),
    ],
)
def test_limits_that_are_none_are_refused(limits: Limits, text: str) -> None:
    with pytest.raises(MetrologyError) as refused:
        capability(STEADY, limits)
    assert str(refused.value) == text


def test_no_scatter_has_no_capability() -> None:
    with pytest.raises(MetrologyError, match="a scatter of 0 has no capability"):
        indices(59, 0, Limits(58, 60))


def test_the_moving_range_is_worth_fewer_degrees_of_freedom() -> None:
    assert moving_range_freedom(2) == pytest.approx(1)
    assert all(moving_range_freedom(n) < n - 1 for n in range(3, 200))
    # Common practice puts it at 0.62 (n - 1).
    assert moving_range_freedom(30) == pytest.approx(0.62 * 29, rel=0.01)


def test_as_many_degrees_of_freedom_as_a_simulation_finds() -> None:
    rolls, n, draws = random.Random(12), 12, 20_000
    means = []
    for _ in range(draws):
        run = [rolls.gauss(0, 1) for _ in range(n)]
        means.append(sum(abs(a - b) for a, b in pairwise(run)))
    middle = sum(means) / draws
    relative = sum((each - middle) ** 2 for each in means) / draws / middle**2
    # For a standard deviation of f degrees of freedom it is close to 1 / (2 f).
    assert 1 / (2 * relative) == pytest.approx(moving_range_freedom(n), rel=0.05)


def test_the_intervals_hold_the_truth_as_often_as_they_say() -> None:
    rolls, limits, count = random.Random(3), Limits(-3, 3), 400
    held = {"cp": 0, "cpk": 0, "pp": 0, "ppk": 0}
    for _ in range(count):
        found = capability([rolls.gauss(0.5, 1) for _ in range(30)], limits, confidence=0.9)
        for name, truth in (("cp", 1.0), ("pp", 1.0), ("cpk", 2.5 / 3), ("ppk", 2.5 / 3)):
            index = getattr(found, name)
            held[name] += index.lower <= truth <= index.upper
    for name, times in held.items():
        assert times / count == pytest.approx(0.9, abs=0.05), name


@given(batches(5), scales, shifts, st.sampled_from([0.5, 0.8, 0.95]))
def test_unit_and_zero_do_not_matter(
    values: list[float], scale: float, shift: float, confidence: float
) -> None:
    one = capability(values, Limits(-20, 30), confidence)
    limits = Limits(-20 * scale + shift, 30 * scale + shift)
    two = capability(moved(values, scale, shift), limits, confidence)
    for name in ("cp", "cpk", "pp", "ppk"):
        left, right = getattr(one, name), getattr(two, name)
        assert left.value == pytest.approx(right.value)
        assert (left.lower, left.upper) == pytest.approx((right.lower, right.upper))
    assert one.outside == pytest.approx(two.outside)


@given(batches(5))
def test_nearest_is_never_more_than_both_and_lies_in_its_interval(values: list[float]) -> None:
    found = capability(values, Limits(-20, 30))
    for both, nearest in ((found.cp, found.cpk), (found.pp, found.ppk)):
        assert both is not None
        assert nearest.value <= both.value + 1e-12
        assert both.lower < both.value < both.upper
        assert nearest.lower < nearest.value < nearest.upper


@given(batches(6))
def test_wider_limits_and_more_confidence_go_one_way(values: list[float]) -> None:
    tight, wide = capability(values, Limits(-10, 10)), capability(values, Limits(-20, 20))
    assert tight.cpk.value < wide.cpk.value
    assert tight.outside >= wide.outside
    surer = capability(values, Limits(-10, 10), confidence=0.99)
    assert surer.ppk.lower < tight.ppk.lower
    assert surer.ppk.upper > tight.ppk.upper
