"""How well a way of working keeps within limits: capability indices with confidence intervals.

Cp and Cpk are of the scatter from each piece to the next, what the hands and tools could do if
nothing drifted; Pp and Ppk are of the whole scatter, what they did. Sources: NIST/SEMATECH
e-Handbook 6.1.6 for the indices and the interval of Cp; A. F. Bissell, Applied Statistics 39 (1990)
331-340, for that of Cpk (both from memory). All of it takes the values to be normal.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist

import msgspec

from gaugelink.metrology.charts import c4, constants, moving_ranges
from gaugelink.metrology.conformity import Limits
from gaugelink.metrology.samples import MetrologyError, Value, mean, standard_deviation
from gaugelink.metrology.series import proportion, varied

FEWEST = 5
"""Values below which an interval is too wide to say anything."""


class Indices(msgspec.Struct, frozen=True):
    """Distances to the limits in three standard deviations; None where there is no such limit."""

    both: float | None
    """Cp or Pp: the width of the limits over six standard deviations."""
    lower: float | None
    """Cpl or Ppl: from the lower limit up to the mean."""
    upper: float | None
    """Cpu or Ppu: from the mean up to the upper limit."""

    @property
    def nearest(self) -> float:
        """Cpk or Ppk: the smaller of the two; below zero when the mean is outside."""
        return min(each for each in (self.lower, self.upper) if each is not None)


class Index(msgspec.Struct, frozen=True):
    """One index with its two-sided confidence interval."""

    value: float
    lower: float
    upper: float


class Capability(msgspec.Struct, frozen=True):
    """What a batch says of the way it was made; lengths in the unit of the values."""

    n: int
    mean: float
    within: float
    """Standard deviation from piece to piece, from the mean moving range."""
    overall: float
    """Standard deviation of all values."""
    cp: Index | None
    """None with one limit only, like `pp`."""
    cpk: Index
    pp: Index | None
    ppk: Index
    off: float | None
    """The mean less the middle of the limits; None with one limit only."""
    outside: float
    """Share of pieces to be expected outside the limits, if they scatter as the batch did."""
    confidence: float


def indices(centre: float, sigma: float, limits: Limits) -> Indices:
    """The indices of a known mean and standard deviation, in the unit of the limits.

    MetrologyError when there is no limit, the limits are not in order, or sigma is not above zero.
    """
    low, high = limits.lower, limits.upper
    if low is None and high is None:
        raise MetrologyError("there is no limit to keep; give a lower one, an upper one or both")
    if low is not None and high is not None and not low < high:
        raise MetrologyError(f"lower limit {low:g} is not below upper {high:g}; give them in order")
    if not sigma > 0:
        raise MetrologyError(f"a scatter of {sigma:g} has no capability; it must be above zero")
    return Indices(
        both=None if low is None or high is None else (high - low) / (6 * sigma),
        lower=None if low is None else (centre - low) / (3 * sigma),
        upper=None if high is None else (high - centre) / (3 * sigma),
    )


def capability(values: Sequence[Value], limits: Limits, confidence: float = 0.95) -> Capability:
    """The capability that values show, in the order in which they were made, all in one unit.

    The interval of a moving range's standard deviation goes by the degrees of freedom of a sample
    standard deviation that scatters as much. MetrologyError for fewer than five values, values
    that are all the same, or limits that are not in order.
    """
    found = varied(values, FEWEST, "a capability")
    proportion(confidence, "the confidence")
    n, middle, overall = len(found), mean(found), standard_deviation(found)
    within = mean(moving_ranges(found)) / constants(2).d2
    short, long = indices(middle, within, limits), indices(middle, overall, limits)
    loose = moving_range_freedom(n)
    return Capability(
        n=n,
        mean=middle,
        within=within,
        overall=overall,
        cp=None if short.both is None else _width_index(short.both, loose, confidence),
        cpk=_nearest_index(short.nearest, n, loose, confidence),
        pp=None if long.both is None else _width_index(long.both, n - 1, confidence),
        ppk=_nearest_index(long.nearest, n, n - 1, confidence),
        off=_off(middle, limits),
        outside=_outside(long),
        confidence=confidence,
    )


def moving_range_freedom(n: int) -> float:
    """Degrees of freedom that the mean moving range of `n` independent values is worth; n >= 2.

    The standard deviation with so many degrees of freedom has the same coefficient of variation.
    That of the mean moving range is exact: neighbouring differences are normal with correlation
    -1/2, for which E|xy| = (√(1 - r²) + r asin r) 2σ²/π. It comes to about 0.6 n.
    """
    count = n - 1
    variance = 2 - 4 / math.pi
    covariance = 4 / math.pi * (math.sqrt(3) / 2 + math.pi / 12 - 1)
    whole = (count * variance + 2 * (count - 1) * covariance) / count**2
    wanted = whole * math.pi / 4
    low, high = 0.5, 2.0 * n
    for _ in range(60):
        middle = (low + high) / 2
        if 1 / c4(middle) ** 2 - 1 > wanted:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _width_index(value: float, freedom: float, confidence: float) -> Index:
    """Cp with the interval of the standard deviation that it divides by: that of chi-square."""
    from scipy.special import chdtri  # type: ignore[import-untyped]

    tail = (1 - confidence) / 2
    lower, upper = (math.sqrt(chdtri(freedom, each) / freedom) for each in (1 - tail, tail))
    return Index(value, value * lower, value * upper)


def _nearest_index(value: float, n: int, freedom: float, confidence: float) -> Index:
    """Cpk with Bissell's interval, in which both the mean and the standard deviation vary."""
    z = NormalDist().inv_cdf((1 + confidence) / 2)
    half = z * math.sqrt(1 / (9 * n) + value * value / (2 * freedom))
    return Index(value, value - half, value + half)


def _off(centre: float, limits: Limits) -> float | None:
    if limits.lower is None or limits.upper is None:
        return None
    return centre - (limits.lower + limits.upper) / 2


def _outside(long: Indices) -> float:
    normal = NormalDist()
    sides = (each for each in (long.lower, long.upper) if each is not None)
    return math.fsum(normal.cdf(-3 * each) for each in sides)
