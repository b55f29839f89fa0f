"""What is believed of a straight line, and how each new point changes that.

The conjugate Bayesian normal linear regression: y = x·β + e with e normal with variance σ², and
before the data β normal about m with the variance σ² Λ⁻¹, σ² inverse-gamma with shape a and rate b.
Every posterior is again of that form, and what it predicts is a Student t distribution. After
Gelman and others, Bayesian Data Analysis, chapter 14 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec


class StudentT(msgspec.Struct, frozen=True):
    """A Student t distribution, moved and stretched."""

    location: float
    scale: float
    freedom: float

    def chance_below(self, value: float) -> float:
        """The probability of a value up to this one."""
        from scipy.special import stdtr  # type: ignore[import-untyped]

        if self.scale == 0:
            return 1.0 if value >= self.location else 0.0
        return float(stdtr(self.freedom, (value - self.location) / self.scale))

    def quantile(self, probability: float) -> float:
        """The value below which this probability lies; it lies above 0 and below 1."""
        from scipy.special import stdtrit

        return self.location + self.scale * float(stdtrit(self.freedom, probability))

    @property
    def deviation(self) -> float:
        """The standard deviation; infinite with two degrees of freedom or fewer."""
        if self.freedom <= 2:
            return math.inf
        return self.scale * math.sqrt(self.freedom / (self.freedom - 2))


class Belief(msgspec.Struct, frozen=True):
    """A normal-inverse-gamma distribution of β and σ²."""

    mean: tuple[float, ...]
    precision: tuple[tuple[float, ...], ...]
    """Λ: what the precision of β would be if σ were 1. Zero is no belief at all."""
    shape: float
    """a; the scatter counts as known from 2a points."""
    rate: float
    """b; b/a is about the variance of the scatter."""

    def learned(self, rows: Sequence[Sequence[float]], values: Sequence[float]) -> Belief:
        """The belief after points of which `rows` has the x and `values` the y.

            Λ' = Λ + XᵀX        m' = Λ'⁻¹ (Λ m + Xᵀy)        a' = a + n/2
            b' = b + (|y - X m'|² + (m' - m)ᵀ Λ (m' - m)) / 2

        The last is written as a sum of squares, so that it never comes out below b.
        """
        import numpy as np

        if not values:
            return self
        x, y = np.array(rows, float), np.array(values, float)
        prior, mean = np.array(self.precision), np.array(self.mean)
        precision = prior + x.T @ x
        found = np.linalg.solve(precision, prior @ mean + x.T @ y)
        moved, off = found - mean, y - x @ found
        return Belief(
            tuple(map(float, found)),
            tuple(tuple(map(float, row)) for row in precision),
            self.shape + len(values) / 2,
            self.rate + float(off @ off + moved @ prior @ moved) / 2,
        )

    def at(self, row: Sequence[float], scatter: bool = False) -> StudentT:
        """What is believed of x·β; with `scatter` of a new point there, which scatters besides."""
        import numpy as np

        x = np.array(row, float)
        spread = float(x @ np.linalg.solve(np.array(self.precision), x))
        variance = self.rate / self.shape * (spread + (1.0 if scatter else 0.0))
        return StudentT(float(x @ np.array(self.mean)), math.sqrt(variance), 2 * self.shape)


def believed(
    means: Sequence[float], deviations: Sequence[float], scatter: float, worth: float
) -> Belief:
    """A belief that holds before any data: each coefficient's mean and standard deviation.

    `scatter` is the standard deviation of a point about the line, and `worth` the number of points
    that this is worth. All but the means lie above 0.
    """
    precision = tuple(
        tuple((scatter / deviation) ** 2 if row == column else 0.0 for column in range(len(means)))
        for row, deviation in enumerate(deviations)
    )
    return Belief(tuple(means), precision, worth / 2, worth / 2 * scatter**2)
