"""Mean, standard deviation, median and autocorrelation, to the last digit a float can hold.

Readings are decimals that share their leading digits, and what is asked of them lives in the last
one. So sums are taken exactly, as whole numbers over one common denominator, and only the result
becomes a float. Decimals are taken for what they say, floats for the binary number that they are.
"""

from __future__ import annotations

import itertools
import math
import statistics
from collections.abc import Iterable, Sequence
from decimal import Decimal
from fractions import Fraction

from gaugelink.reading import GaugelinkError

Value = float | Decimal
"""A length in hundredths of a millimetre, or any other quantity; every result has its unit."""


class MetrologyError(GaugelinkError):
    """Values that a figure cannot be computed from; the text says what is missing."""


def whole(values: Iterable[Value]) -> tuple[list[int], int]:
    """The values as whole numbers over one common denominator, exactly.

    Raises MetrologyError for a value that is not finite.
    """
    ratios = []
    for value in values:
        if not math.isfinite(value):
            raise MetrologyError(f"{value} is not a number; leave it out")
        ratios.append(value.as_integer_ratio())
    denominator = math.lcm(*(below for _, below in ratios))
    return [above * (denominator // below) for above, below in ratios], denominator


def mean(values: Sequence[Value]) -> float:
    """The arithmetic mean; MetrologyError when there is no value."""
    _enough(values, 1, "a mean")
    wholes, denominator = whole(values)
    return float(Fraction(sum(wholes), len(wholes) * denominator))


def sum_of_squares(values: Sequence[Value]) -> Fraction:
    """The sum of squared deviations from the mean, exact; MetrologyError when there is no value."""
    _enough(values, 1, "a sum of squares")
    wholes, denominator = whole(values)
    count, total = len(wholes), sum(wholes)
    squares = sum(each * each for each in wholes)
    return Fraction(count * squares - total * total, count * denominator**2)


def standard_deviation(values: Sequence[Value]) -> float:
    """The sample standard deviation, with n - 1; MetrologyError for fewer than two values."""
    _enough(values, 2, "a standard deviation")
    return math.sqrt(sum_of_squares(values) / (len(values) - 1))


def median(values: Sequence[Value]) -> float:
    """The middle value, or the mean of the two in the middle; MetrologyError when there is none."""
    _enough(values, 1, "a median")
    wholes, denominator = whole(values)
    middle = statistics.median_low(wholes) + statistics.median_high(wholes)
    return float(Fraction(middle, 2 * denominator))


def span(values: Sequence[Value]) -> float:
    """The range, largest minus smallest; MetrologyError when there is no value."""
    _enough(values, 1, "a range")
    wholes, denominator = whole(values)
    return float(Fraction(max(wholes) - min(wholes), denominator))


def lag1_autocorrelation(values: Sequence[Value]) -> float:
    """How far each value follows the one before it, from -1 to 1; a drift is near 1.

    The sum of products of neighbouring deviations over the sum of squares, as NIST's Statistical
    Reference Datasets define it. Raises MetrologyError for fewer than two values or none that
    differ.
    """
    _enough(values, 2, "an autocorrelation")
    wholes, _ = whole(values)
    count, total = len(wholes), sum(wholes)
    away = [count * each - total for each in wholes]
    squares = sum(each * each for each in away)
    if not squares:
        raise MetrologyError("values that are all equal have no autocorrelation; take some more")
    return float(Fraction(sum(a * b for a, b in itertools.pairwise(away)), squares))


def pooled_deviation(deviations: Iterable[tuple[float, float]]) -> float:
    """One standard deviation from several, each with its degrees of freedom.

    The root of the mean variance weighted by degrees of freedom (NIST/SEMATECH e-Handbook
    2.4.4.4). Raises MetrologyError when they have no degrees of freedom together.
    """
    pairs = list(deviations)
    degrees = math.fsum(each for _, each in pairs)
    if not degrees > 0:
        raise MetrologyError("nothing was repeated, so there is no spread to pool; repeat readings")
    return math.sqrt(math.fsum(each * s * s for s, each in pairs) / degrees)


def _enough(values: Sequence[Value], needed: int, what: str) -> None:
    if len(values) < needed:
        raise MetrologyError(f"{what} needs {needed} values or more, {len(values)} came")
