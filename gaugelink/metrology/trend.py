"""Whether the order in which pieces were made matters: a drift, or a change at one of them.

A gouge or a knife that moves shows as a drift, one that was set anew as a change. Neither test
asks how the values scatter. Sources: the Mann-Kendall test and Sen's slope with its interval as in
R. O. Gilbert, Statistical Methods for Environmental Pollution Monitoring (1987), chapters 16 and
17; A. N. Pettitt, Applied Statistics 28 (1979) 126-135, for the change; all from memory.
"""

from __future__ import annotations

import math
from bisect import insort
from collections import Counter
from collections.abc import Sequence
from itertools import combinations
from statistics import NormalDist
from typing import Literal

import msgspec

from gaugelink.metrology.correlation import ranks
from gaugelink.metrology.samples import Value, median
from gaugelink.metrology.series import proportion, series

FEWEST = 5
"""Values below which no order is so odd that chance could not have made it."""

COUNTED = 40
"""Values, none alike, up to which the chance is counted exactly."""


class Drift(msgspec.Struct, frozen=True):
    """Whether the values go up or down with their order."""

    n: int
    statistic: int
    """Mann and Kendall's S: pairs that rise less pairs that fall."""
    p: float
    slope: float
    """Theil and Sen's: the median change from one piece to the next, in the unit of the values."""
    lower: float
    upper: float
    alpha: float
    """1 less the confidence of the slope's interval."""

    @property
    def shown(self) -> bool:
        """Whether it is more than chance makes."""
        return self.p < self.alpha


class Change(msgspec.Struct, frozen=True):
    """Where the values most likely change from one level to another."""

    n: int
    index: int
    """The first of the new level, counted from 0."""
    statistic: int
    """Pettitt's K."""
    p: float
    before: float
    """Median of those before, in the unit of the values."""
    after: float
    alpha: float

    @property
    def shown(self) -> bool:
        """Whether it is more than chance makes; of ten values or fewer it never is."""
        return self.p < self.alpha


class Order(msgspec.Struct, frozen=True):
    """What the order of a batch shows."""

    drift: Drift
    change: Change
    likely: Literal["steady", "drift", "change"]
    """Of a drift and a change that both show, the one whose line leaves less over."""


def drift(values: Sequence[Value], alpha: float = 0.05) -> Drift:
    """Test values in the order of making for a drift.

    MetrologyError for fewer than five values.
    """
    found = series(values, FEWEST, "a search for drift")
    proportion(alpha, "alpha")
    pairs = list(combinations(range(len(found)), 2))
    score = sum(_sign(found[two] - found[one]) for one, two in pairs)
    slopes = sorted((found[two] - found[one]) / (two - one) for one, two in pairs)
    variance = _variance(found)
    reach = NormalDist().inv_cdf(1 - alpha / 2) * math.sqrt(variance)
    low = max(0, round((len(slopes) - reach) / 2) - 1)
    high = min(len(slopes) - 1, round((len(slopes) + reach) / 2))
    return Drift(
        n=len(found),
        statistic=score,
        p=_probability(found, score, variance),
        slope=median(slopes),
        lower=slopes[low],
        upper=slopes[high],
        alpha=alpha,
    )


def change(values: Sequence[Value], alpha: float = 0.05) -> Change:
    """Find the most likely change of level in values in the order of making.

    The probability, 2 exp(-6 K² / (n³ + n²)), is an approximation on the careful side for few
    values. The place at which K is largest leans towards the middle of the batch, so the one given
    is that at which the two levels leave the least over. MetrologyError for fewer than five values.
    """
    found = series(values, FEWEST, "a search for a change")
    proportion(alpha, "alpha")
    n, index = len(found), _split(found)
    statistic = _pettitt(found)
    return Change(
        n=n,
        index=index,
        statistic=statistic,
        p=min(1.0, 2 * math.exp(-6 * statistic * statistic / (n**3 + n**2))),
        before=median(found[:index]),
        after=median(found[index:]),
        alpha=alpha,
    )


def order(values: Sequence[Value], alpha: float = 0.05) -> Order:
    """Both tests, and which of the two it most likely was.

    MetrologyError for fewer than five values.
    """
    slow, sudden = drift(values, alpha), change(values, alpha)
    likely: Literal["steady", "drift", "change"] = "steady"
    if slow.shown and sudden.shown:
        likely = "drift" if _left_by(values, slow) <= _left_by_change(values, sudden) else "change"
    elif slow.shown or sudden.shown:
        likely = "drift" if slow.shown else "change"
    return Order(slow, sudden, likely)


def _left_by(values: Sequence[Value], slow: Drift) -> float:
    """What a sloping line leaves over: the sum of the distances from it."""
    level = [float(each) - slow.slope * index for index, each in enumerate(values)]
    return math.fsum(abs(each - median(level)) for each in level)


def _left_by_change(values: Sequence[Value], sudden: Change) -> float:
    """What two levels leave over."""
    return math.fsum(
        abs(float(each) - (sudden.before if index < sudden.index else sudden.after))
        for index, each in enumerate(values)
    )


def _pettitt(values: Sequence[float]) -> int:
    """K: the most that the ranks up to some place lie to one side, counted twice."""
    n, total, largest = len(values), 0.0, 0
    for count, place in enumerate(ranks(values), start=1):
        total += place
        # Twice a rank is whole, and so is this.
        largest = max(largest, abs(round(2 * total - count * (n + 1))))
    return largest


def _split(values: Sequence[float]) -> int:
    """Where to split so that the distances from the two medians sum to the least."""
    before, after = _spreads(values), _spreads(values[::-1])[::-1]
    sums = [one + two for one, two in zip(before, after[1:], strict=False)]
    return sums.index(min(sums)) + 1


def _spreads(values: Sequence[float]) -> list[float]:
    """The sum of the distances from their median, for the first, the first two, and so on."""
    ordered: list[float] = []
    spreads = []
    for each in values:
        insort(ordered, each)
        half = len(ordered) // 2
        spreads.append(math.fsum(ordered[-half:]) - math.fsum(ordered[:half]) if half else 0.0)
    return spreads


def _sign(value: float) -> int:
    return (value > 0) - (value < 0)


def _variance(values: Sequence[float]) -> float:
    """Variance of S when the order does not matter; values that are alike lessen it."""
    n = len(values)
    alike = sum(t * (t - 1) * (2 * t + 5) for t in Counter(values).values())
    return (n * (n - 1) * (2 * n + 5) - alike) / 18


def _probability(values: Sequence[float], score: int, variance: float) -> float:
    """Probability of an S as far from zero, either way."""
    n = len(values)
    if score == 0:
        return 1.0
    if n <= COUNTED and len(set(values)) == n:
        # S and the number of pairs out of order, of which there are `falls`, go together.
        counts, falls = _orders(n), (n * (n - 1) // 2 - abs(score)) // 2
        return min(1.0, 2 * sum(counts[: falls + 1]) / math.factorial(n))
    z = (abs(score) - 1) / math.sqrt(variance)
    return min(1.0, 2 * NormalDist().cdf(-z))


def _orders(n: int) -> list[int]:
    """How many orders of `n` values have 0, 1, 2 … pairs out of order."""
    counts = [1]
    for size in range(2, n + 1):
        longer = [0] * (len(counts) + size - 1)
        for falls, count in enumerate(counts):
            for more in range(size):
                longer[falls + more] += count
        counts = longer
    return counts
