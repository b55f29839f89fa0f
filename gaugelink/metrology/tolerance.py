"""Between which limits most pieces lie: statistical tolerance intervals.

An interval is said to hold a share of all pieces that will ever be made this way (the coverage),
and how sure that is (the confidence). Sources: NIST/SEMATECH e-Handbook 7.2.6.3 for normal values
and 7.2.6.4 for any others, S. S. Wilks, Annals of Mathematical Statistics 12 (1941) 91-96 for the
number of samples (from memory). The two-sided factor is exact, integrated over where the mean may
lie, as in ISO 16269-6; the handbook's is Howe's approximation to it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from statistics import NormalDist

import msgspec

from gaugelink.metrology.samples import MetrologyError, Value, mean, standard_deviation
from gaugelink.metrology.series import Side, proportion, series

COVERAGE = 0.9
"""Share of the pieces that an interval holds when none is asked for: nine in ten."""

CONFIDENCE = 0.95

LARGEST_SAMPLE = 1_000_000
"""Values for which factors and numbers are still computed."""

NODES = 64
"""Points of the quadrature over the mean; three times as many change no factor by 1e-9 of it."""


class Interval(msgspec.Struct, frozen=True):
    """A tolerance interval, in the unit of the values."""

    lower: float | None
    """None when only the upper limit was asked for."""
    upper: float | None
    coverage: float
    confidence: float
    """The confidence asked for, or the higher one that a distribution-free interval attains."""
    n: int


def two_sided_factor(n: int, coverage: float = COVERAGE, confidence: float = CONFIDENCE) -> float:
    """k, for which mean ± k s of `n` normal values holds `coverage` of all; n from 2 to 1e6.

    How far the mean is off decides how wide about it the coverage is; the chance that k s is as
    wide is averaged over that.
    """
    _check(n, coverage, confidence)
    from numpy import exp, sqrt
    from numpy.polynomial.legendre import leggauss
    from scipy.special import chdtrc, chndtrix  # type: ignore[import-untyped]

    # The mean's error in units of its own standard deviation, from 0 to where it does not occur.
    nodes, weights = leggauss(NODES)
    error = 4.5 * (nodes + 1)
    weights = weights * 4.5 * sqrt(2 / math.pi) * exp(-(error**2) / 2)
    # The square of the half-width that holds the coverage, in standard deviations.
    width = chndtrix(coverage, 1, error**2 / n)

    def sure(factor: float) -> float:
        return float((weights * chdtrc(n - 1, (n - 1) * width / factor**2)).sum())

    return _solve(sure, confidence)


def one_sided_factor(n: int, coverage: float = COVERAGE, confidence: float = CONFIDENCE) -> float:
    """k, for which `coverage` of all lies above mean - k s of `n` normal values; n from 2 to 1e6.

    Exact, from the noncentral t distribution; negative when little is asked for.
    """
    _check(n, coverage, confidence)
    from scipy.special import nctdtrit

    root = math.sqrt(n)
    return float(nctdtrit(n - 1, NormalDist().inv_cdf(coverage) * root, confidence)) / root


def normal_interval(
    values: Sequence[Value],
    coverage: float = COVERAGE,
    confidence: float = CONFIDENCE,
    side: Side = "both",
) -> Interval:
    """The interval of values that scatter normally: mean ± k s, or one of the two limits.

    MetrologyError for fewer than two values.
    """
    found = series(values, 2, "a tolerance interval")
    n = len(found)
    factor = two_sided_factor if side == "both" else one_sided_factor
    half = factor(n, coverage, confidence) * standard_deviation(found)
    middle = mean(found)
    return Interval(
        lower=None if side == "high" else middle - half,
        upper=None if side == "low" else middle + half,
        coverage=coverage,
        confidence=confidence,
        n=n,
    )


def distribution_free_interval(
    values: Sequence[Value],
    coverage: float = COVERAGE,
    confidence: float = CONFIDENCE,
    side: Side = "both",
) -> Interval:
    """The interval between two of the values themselves, however they scatter.

    As many are left out at each end as the confidence allows. MetrologyError, with the number that
    is needed, when there are too few values even for all of them.
    """
    needed = samples_needed(coverage, confidence, side)
    found = sorted(series(values, needed, "such an interval"))
    n, ends = len(found), 2 if side == "both" else 1
    left = 1
    while ends * (left + 1) <= n and _sure(n, coverage, ends * (left + 1)) >= confidence:
        left += 1
    return Interval(
        lower=None if side == "high" else found[left - 1],
        upper=None if side == "low" else found[-left],
        coverage=coverage,
        confidence=_sure(n, coverage, ends * left),
        n=n,
    )


def samples_needed(
    coverage: float = COVERAGE, confidence: float = CONFIDENCE, side: Side = "both"
) -> int:
    """How many values are needed for their lowest and highest (or one of them) to be the interval.

    MetrologyError when it would be more than a million.
    """
    _check(2, coverage, confidence)
    ends = 2 if side == "both" else 1
    low, high = ends - 1, ends
    while _sure(high, coverage, ends) < confidence:
        if high > LARGEST_SAMPLE:
            raise MetrologyError("more than a million values are needed for that; ask for less")
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        if _sure(middle, coverage, ends) < confidence:
            low = middle
        else:
            high = middle
    return high


def _sure(n: int, coverage: float, outside: int) -> float:
    """Probability that at least `outside` of `n` pieces lie outside what holds the coverage.

    Then the values left after taking `outside` - 1 away, counted at the ends, hold it.
    """
    from scipy.special import bdtr

    return float(bdtr(n - outside, n, coverage))


def _solve(rising: Callable[[float], float], wanted: float) -> float:
    """Where a rising function of a positive number reaches a value, to all digits."""
    low = high = 1.0
    while rising(low) > wanted:
        low /= 2
    while rising(high) < wanted:
        high *= 2
    for _ in range(60):
        middle = (low + high) / 2
        if rising(middle) < wanted:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _check(n: int, coverage: float, confidence: float) -> None:
    if not 2 <= n <= LARGEST_SAMPLE:
        raise MetrologyError(f"{n} values have no tolerance factor; take 2 to {LARGEST_SAMPLE}")
    proportion(coverage, "the coverage")
    proportion(confidence, "the confidence")
