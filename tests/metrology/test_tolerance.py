"""Tolerance intervals: monotony of the factors, and which values a free interval lies between."""

from __future__ import annotations

from math import comb

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.metrology.samples import MetrologyError
from gaugelink.metrology.series import Side
from gaugelink.metrology.tolerance import (
    LARGEST_SAMPLE,
    distribution_free_interval,
    normal_interval,
    one_sided_factor,
    samples_needed,
    two_sided_factor,
)
from tests.metrology.batches import batches, moved, normal_batch, scales, shifts

SIZES = [2, 3, 4, 5, 7, 10, 20, 50, 200, 5000, LARGEST_SAMPLE]
sides: st.SearchStrategy[Side] = st.sampled_from(["both", "low", "high"])
chances = st.sampled_from([0.5, 0.8, 0.9, 0.95, 0.99])


def test_factors_fall_to_that_of_a_known_distribution() -> None:
    for factor, limit in ((two_sided_factor, 1.6449), (one_sided_factor, 1.2816)):
        found = [factor(n, 0.9, 0.95) for n in SIZES]
        assert found == sorted(found, reverse=True)
        assert found[-1] == pytest.approx(limit, abs=0.003), "the normal quantile"


@given(st.integers(2, 100), chances, chances, chances, chances)
def test_asking_for_more_never_gives_a_narrower_interval(
    n: int, coverage: float, more: float, confidence: float, surer: float
) -> None:
    lower, higher = sorted((coverage, more))
    least, most = sorted((confidence, surer))
    for factor in (two_sided_factor, one_sided_factor):
        assert factor(n, lower, least) <= factor(n, higher, most) + 1e-9


@given(st.integers(2, 100), chances, chances)
def test_two_limits_are_further_out_than_one(n: int, coverage: float, confidence: float) -> None:
    assert two_sided_factor(n, coverage, confidence) > one_sided_factor(n, coverage, confidence)


@given(batches(2), sides, scales, shifts)
def test_the_normal_interval_goes_along_with_unit_and_zero(
    values: list[float], side: Side, scale: float, shift: float
) -> None:
    one, two = (
        normal_interval(values, side=side),
        normal_interval(moved(values, scale, shift)[::-1], side=side),
    )
    assert (one.lower is None) == (side == "high") == (two.lower is None)
    assert (one.upper is None) == (side == "low") == (two.upper is None)
    for here, there in ((one.lower, two.lower), (one.upper, two.upper)):
        if here is not None:
            assert there == pytest.approx(here * scale + shift, rel=1e-9, abs=1e-9)


def test_the_free_interval_leaves_out_what_the_confidence_allows() -> None:
    values = normal_batch(100, seed=7)
    found = distribution_free_interval(values, 0.9, 0.95)
    ordered = sorted(values)
    # Of 100 values 2 may be left out at each end, when the interval is the third but one.
    left = ordered.index(found.lower) if found.lower is not None else -1
    assert found.confidence >= 0.95
    assert left == 1
    assert found.upper == ordered[-2]
    assert found.n == 100


@given(st.integers(2, 200), st.sampled_from(["both", "low"]), chances, chances)
def test_its_confidence_is_the_binomial_sum_and_one_value_fewer_would_not_do(
    n: int, side: Side, coverage: float, confidence: float
) -> None:
    ends = 2 if side == "both" else 1

    def sure(outside: int) -> float:
        inside = n - outside
        terms = (comb(n, k) * coverage**k * (1 - coverage) ** (n - k) for k in range(inside + 1))
        return sum(terms)

    values = [float(each) for each in range(n)]
    if sure(ends) < confidence - 1e-12:
        with pytest.raises(MetrologyError, match=r"needs \d+ values or more"):
            distribution_free_interval(values, coverage, confidence, side)
        return
    found = distribution_free_interval(values, coverage, confidence, side)
    assert found.lower is not None
    left = round(found.lower) + 1
    assert found.confidence == pytest.approx(sure(ends * left))
    assert found.confidence >= confidence - 1e-12
    if ends * (left + 1) <= n:
        assert sure(ends * (left + 1)) < confidence + 1e-12
    if side == "both":
        assert found.upper == n - left


@given(chances, chances, sides)
def test_the_number_needed_is_the_smallest(coverage: float, confidence: float, side: Side) -> None:
    needed = samples_needed(coverage, confidence, side)
    n = needed - 1
    none = coverage**needed
    few, fewer = 1 - none, 1 - coverage**n
    if side == "both":
        few -= needed * coverage**n * (1 - coverage)
        fewer -= n * coverage ** (n - 1) * (1 - coverage)
    assert few >= confidence - 1e-12
    assert fewer < confidence + 1e-12


def test_the_upper_limit_is_the_lower_one_upside_down() -> None:
    values = normal_batch(60, seed=9)
    high = distribution_free_interval(values, side="high")
    low = distribution_free_interval([-each for each in values], side="low")
    assert low.lower is not None
    assert high.upper == -low.lower
    assert high.lower is None
    assert low.upper is None


def test_too_few_say_how_many_are_needed() -> None:
    with pytest.raises(MetrologyError, match="such an interval needs 46 values or more, 30 came"):
        distribution_free_interval(normal_batch(30, seed=1))
    with pytest.raises(MetrologyError, match="more than a million values"):
        samples_needed(1 - 1e-9)


@pytest.mark.parametrize("n", [-1, 1, LARGEST_SAMPLE + 1])
def test_sizes_without_a_factor_are_refused(n: int) -> None:
    for factor in (two_sided_factor, one_sided_factor):
        with pytest.raises(MetrologyError, match="have no tolerance factor; take 2 to 1000000"):
            factor(n)


@pytest.mark.parametrize("bad", [0.0, 1.0, 1.5])
def test_shares_that_are_none_are_refused(bad: float) -> None:
    with pytest.raises(MetrologyError, match="the coverage is"):
        two_sided_factor(10, coverage=bad)
    with pytest.raises(MetrologyError, match="the confidence is"):
        samples_needed(0.9, confidence=bad)
