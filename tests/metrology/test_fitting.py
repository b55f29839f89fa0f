"""Lines through points."""

from __future__ import annotations

import math
from collections.abc import Callable
from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from gaugelink.metrology.fitting import end_point_line, fit_line
from gaugelink.metrology.samples import MetrologyError

points = st.lists(
    st.tuples(st.decimals(0, 200, places=1), st.decimals(-5, 5, places=2)), min_size=3, max_size=20
)


@given(points)
def test_the_residuals_of_a_fitted_line_balance(found: list[tuple[Decimal, Decimal]]) -> None:
    x, y = [each for each, _ in found], [each for _, each in found]
    assume(len(set(x)) > 1)
    line = fit_line(x, y)
    away = [float(b) - line.at(float(a)) for a, b in found]
    assert math.fsum(away) == pytest.approx(0, abs=1e-9)
    assert math.fsum(r * float(a) for r, a in zip(away, x, strict=True)) == pytest.approx(
        0, abs=1e-6
    )
    assert math.fsum(r * r for r in away) == pytest.approx(line.ss_residual, abs=1e-9)
    # It is surest at the middle of the points.
    middle = float(sum(x)) / len(x)
    assert line.uncertainty_at(middle) <= line.uncertainty_at(middle + 10)
    assert line.r_squared is None or 0 <= line.r_squared <= 1


def test_two_points_make_a_line_without_doubt_or_surety() -> None:
    line = fit_line([10, 20], [1, 3])
    assert (line.intercept, line.slope, line.at(15)) == (-1, 0.2, 2)
    assert (line.slope_deviation, line.residual_deviation, line.covariance) == (None, None, None)
    with pytest.raises(MetrologyError, match="take a third"):
        line.uncertainty_at(15)


def test_a_level_line_explains_nothing() -> None:
    line = fit_line([10, 20, 30], [2, 2, 2])
    assert (line.slope, line.r_squared, line.residual_deviation) == (0, None, 0)


def test_a_line_through_the_ends_leaves_the_middle_alone() -> None:
    assert end_point_line([10, 20, 30], [1, 9, 2]) == (0.5, 0.05)
    assert end_point_line([10, 10, 30, 20], [1, 3, 4, 50]) == (1.0, 0.1)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (lambda: fit_line([1], [1]), "two points or more"),
        (lambda: fit_line([1, 2], [1]), "2 x and 1 y"),
        (lambda: fit_line([1, 1], [1, 2]), "same x"),
        (lambda: end_point_line([1, 1], [1, 2]), "same x"),
        (lambda: fit_line([1, math.nan], [1, 2]), "not a number"),
        (lambda: end_point_line([1, 2], [1, math.inf]), "not a number"),
    ],
)
def test_points_that_make_no_line_are_refused(wrong: Callable[[], object], said: str) -> None:
    with pytest.raises(MetrologyError, match=said):
        wrong()
