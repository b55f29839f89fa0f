"""Means, deviations and medians that lose no digit."""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.metrology.samples import (
    MetrologyError,
    Value,
    lag1_autocorrelation,
    mean,
    median,
    pooled_deviation,
    span,
    standard_deviation,
    sum_of_squares,
    whole,
)

readings = st.lists(st.decimals(-3000, 3000, places=2), min_size=2, max_size=30)
floats = st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=30)


@given(readings | floats)
def test_they_agree_with_the_standard_library_on_exact_fractions(values: list[Value]) -> None:
    exact = [Fraction(each) for each in values]
    assert mean(values) == float(statistics.mean(exact))
    assert median(values) == float(statistics.median(exact))
    assert span(values) == float(max(exact) - min(exact))
    assert math.isclose(
        standard_deviation(values), statistics.stdev(exact), rel_tol=1e-15, abs_tol=1e-150
    )


@given(readings, st.integers(-(10**12), 10**12))
def test_leading_digits_that_all_share_change_no_spread(values: list[Value], far: int) -> None:
    moved = [Decimal(each) + far for each in values]
    assert sum_of_squares(moved) == sum_of_squares(values)
    assert standard_deviation(moved) == standard_deviation(values)


@given(readings)
def test_an_autocorrelation_lies_between_minus_one_and_one(values: list[Value]) -> None:
    if len(set(values)) == 1:
        with pytest.raises(MetrologyError):
            lag1_autocorrelation(values)
    else:
        assert -1 <= lag1_autocorrelation(values) <= 1


def test_wholes_over_one_denominator() -> None:
    assert whole([Decimal("0.25"), 0.5, Decimal(-3)]) == ([1, 2, -12], 4)
    assert whole([]) == ([], 1)


def test_pooling_weighs_by_degrees_of_freedom() -> None:
    assert pooled_deviation([(1.0, 4), (2.0, 12)]) == math.sqrt((4 + 48) / 16)
    assert pooled_deviation([(0.5, 5), (9.0, 0)]) == 0.5
    with pytest.raises(MetrologyError, match="repeat readings"):
        pooled_deviation([(1.0, 0)])


@pytest.mark.parametrize(
    ("figure", "needed"),
    [
        (mean, 1), (median, 1), (span, 1), (sum_of_squares, 1),
        (standard_deviation, 2), (lag1_autocorrelation, 2),
    ],
)  # fmt: skip
def test_too_few_values_and_values_that_are_none(
    figure: Callable[[list[Value]], float], needed: int
) -> None:
    with pytest.raises(MetrologyError, match=f"needs {needed} values or more, {needed - 1} came"):
        figure([Decimal(43)] * (needed - 1))
    for bad in (math.nan, math.inf, Decimal("NaN"), Decimal("-Infinity")):
        with pytest.raises(MetrologyError, match="not a number"):
            figure([43.0, 42.0, bad])
