"""A straight line through points: by least squares, or through the two ends.

Sums are exact, as in `samples`, so that leading digits that all points share cost nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

import msgspec

from gaugelink.metrology.samples import MetrologyError, Value


class Line(msgspec.Struct, frozen=True):
    """A least-squares line, with what is known of its two figures."""

    intercept: float
    """In the unit of y."""
    slope: float
    """Units of y for one unit of x."""
    intercept_deviation: float | None
    """Its standard deviation; None for two points, which any line fits."""
    slope_deviation: float | None
    covariance: float | None
    """Of intercept and slope."""
    residual_deviation: float | None
    """The standard deviation of the points about the line, with n - 2."""
    degrees_of_freedom: int
    ss_regression: float
    ss_residual: float
    r_squared: float | None
    """The share of the scatter of y that the line explains; None when y does not vary."""

    def at(self, x: float) -> float:
        """The line's y at x."""
        return self.intercept + self.slope * x

    def uncertainty_at(self, x: float) -> float:
        """The standard uncertainty of the line's y at x. GUM H.3.

        Raises MetrologyError when only two points made the line.
        """
        if (
            self.intercept_deviation is None
            or self.slope_deviation is None
            or self.covariance is None
        ):
            raise MetrologyError("two points say nothing of a line's uncertainty; take a third")
        variance = (
            self.intercept_deviation**2 + (x * self.slope_deviation) ** 2 + 2 * x * self.covariance
        )
        return math.sqrt(max(0.0, variance))


def fit_line(x: Sequence[Value], y: Sequence[Value]) -> Line:
    """The least-squares line of y on x.

    Raises MetrologyError for fewer than two points, or when x does not vary.
    """
    xs, ys = _points(x, y)
    n, zero = len(xs), Fraction(0)
    sum_x, sum_y = sum(xs, zero), sum(ys, zero)
    of_x = sum((each * each for each in xs), zero) - sum_x * sum_x / n
    of_y = sum((each * each for each in ys), zero) - sum_y * sum_y / n
    of_both = sum((a * b for a, b in zip(xs, ys, strict=True)), zero) - sum_x * sum_y / n
    if not of_x:
        raise MetrologyError("all points have the same x; measure at two places or more")
    slope = of_both / of_x
    intercept = (sum_y - slope * sum_x) / n
    explained = slope * of_both
    left = of_y - explained
    known = n > 2
    variance = left / (n - 2) if known else zero
    mean_x = sum_x / n
    return Line(
        intercept=float(intercept),
        slope=float(slope),
        intercept_deviation=_root(variance * (1 / Fraction(n) + mean_x**2 / of_x), known),
        slope_deviation=_root(variance / of_x, known),
        covariance=float(-mean_x * variance / of_x) if known else None,
        residual_deviation=_root(variance, known),
        degrees_of_freedom=n - 2,
        ss_regression=float(explained),
        ss_residual=float(left),
        r_squared=float(explained / of_y) if of_y else None,
    )


def end_point_line(x: Sequence[Value], y: Sequence[Value]) -> tuple[float, float]:
    """Intercept and slope of the line through the points with the smallest and the largest x.

    Where several points share such an x, through their mean. Raises MetrologyError as `fit_line`.
    """
    xs, ys = _points(x, y)
    low, high = min(xs), max(xs)
    if low == high:
        raise MetrologyError("all points have the same x; measure at two places or more")

    def mean_at(end: Fraction) -> Fraction:
        there = [b for a, b in zip(xs, ys, strict=True) if a == end]
        return sum(there, Fraction(0)) / len(there)

    slope = (mean_at(high) - mean_at(low)) / (high - low)
    return float(mean_at(low) - slope * low), float(slope)


def _points(x: Sequence[Value], y: Sequence[Value]) -> tuple[list[Fraction], list[Fraction]]:
    if len(x) != len(y) or len(x) < 2:
        raise MetrologyError(f"a line needs two points or more; {len(x)} x and {len(y)} y came")
    for each in (*x, *y):
        if not math.isfinite(each):
            raise MetrologyError(f"{each} is not a number; leave it out")
    return [Fraction(each) for each in x], [Fraction(each) for each in y]


def _root(variance: Fraction, known: bool) -> float | None:
    return math.sqrt(variance) if known else None
