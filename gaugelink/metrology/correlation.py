"""Whether two things measured on the same reeds go together, by Spearman's rank correlation.

Ranks do not mind what the scales are, nor one reed that is far off. The confidence interval and
the number of reeds needed go by the variance of Fisher's transform as in D. G. Bonett and
T. A. Wright, Psychometrika 65 (2000) 23-28: (1 + r²/2) / (n - 3); from memory. That two things go
together says nothing of which makes which.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import permutations
from statistics import NormalDist

import msgspec

from gaugelink.metrology.samples import MetrologyError, Value
from gaugelink.metrology.series import proportion, varied

FEWEST = 5
"""Reeds without which nothing can be told: four in perfect order are chance once in twelve."""

COUNTED = 7
"""Reeds up to which every order is counted; beyond them Student's t is close."""


class Correlation(msgspec.Struct, frozen=True):
    """How two series go together."""

    n: int
    rho: float
    """Spearman's, from -1 (as one rises the other falls) over 0 to 1."""
    lower: float
    upper: float
    p: float
    """Probability of a correlation as strong, either way, when there is none."""
    alpha: float
    """1 less the confidence of the interval."""
    needed: int | None
    """Reeds with which one of this size would be told from none; None when there is none at all."""

    @property
    def told(self) -> bool:
        """Whether it can be told from chance."""
        return self.p < self.alpha

    @property
    def more(self) -> int | None:
        """How many reeds more are needed to tell it; 0 when it is told already."""
        if self.told:
            return 0
        # Those that were measured did not tell it, whatever the plan would have said.
        return None if self.needed is None else max(1, self.needed - self.n)


def spearman(
    one: Sequence[Value], two: Sequence[Value], alpha: float = 0.05, power: float = 0.8
) -> Correlation:
    """The rank correlation of two series of the same length, one value of each for every reed.

    MetrologyError when the lengths differ, for fewer than five, or when either is all the same.
    """
    first = varied(one, FEWEST, "a correlation")
    second = varied(two, FEWEST, "a correlation")
    if len(first) != len(second):
        raise MetrologyError(
            f"{len(first)} values beside {len(second)}; give one of each for every reed"
        )
    n, left, right = len(first), ranks(first), ranks(second)
    rho = _agreement(left, right)
    needed = reeds_needed(rho, alpha, power)
    lower, upper = _interval(rho, n, alpha)
    return Correlation(
        n=n,
        rho=rho,
        lower=lower,
        upper=upper,
        p=_probability(left, right, rho),
        alpha=alpha,
        needed=needed,
    )


def ranks(values: Sequence[float]) -> tuple[float, ...]:
    """The place of each value in order of size, from 1; equal ones share the mean of theirs."""
    order = sorted(range(len(values)), key=values.__getitem__)
    places: dict[float, list[int]] = {}
    for place, index in enumerate(order, start=1):
        places.setdefault(values[index], []).append(place)
    return tuple((places[each][0] + places[each][-1]) / 2 for each in values)


def reeds_needed(rho: float, alpha: float = 0.05, power: float = 0.8) -> int | None:
    """How many reeds tell a correlation of that size from none, with probability `power`.

    n = 3 + (1 + r²/2) ((z of alpha/2 + z of power) / artanh r)², at least five; None for an r
    within 0.001 of zero. MetrologyError for an alpha or power that is no probability.
    """
    proportion(alpha, "alpha")
    proportion(power, "the power")
    normal = NormalDist()
    if abs(rho) >= 1:
        return FEWEST
    if abs(rho) < 1e-3:
        return None
    z = normal.inv_cdf(1 - alpha / 2) + normal.inv_cdf(power)
    count = 3 + (1 + rho * rho / 2) * (z / math.atanh(rho)) ** 2
    return max(FEWEST, math.ceil(count))


def _agreement(left: Sequence[float], right: Sequence[float]) -> float:
    """Pearson's correlation of ranks; twice a rank is whole, so all sums are exact."""
    middle = (len(left) + 1) / 2
    one, two = [each - middle for each in left], [each - middle for each in right]
    product = sum(a * b for a, b in zip(one, two, strict=True))
    scale = math.sqrt(sum(each * each for each in one) * sum(each * each for each in two))
    return max(-1.0, min(1.0, product / scale))


def _interval(rho: float, n: int, alpha: float) -> tuple[float, float]:
    # A perfect order of n reeds is not a perfect correlation: it counts for half a step less.
    nearest = 1 - 6 / (n * (n * n - 1))
    inside = max(-nearest, min(nearest, rho))
    z = NormalDist().inv_cdf(1 - alpha / 2)
    half = z * math.sqrt((1 + inside * inside / 2) / (n - 3))
    lower = min(rho, math.tanh(math.atanh(inside) - half))
    upper = max(rho, math.tanh(math.atanh(inside) + half))
    return lower, upper


def _probability(left: Sequence[float], right: Sequence[float], rho: float) -> float:
    n = len(left)
    if n <= COUNTED:
        wanted = abs(rho) - 1e-12
        orders = [abs(_agreement(left, order)) >= wanted for order in permutations(right)]
        return sum(orders) / len(orders)
    from scipy.special import stdtr  # type: ignore[import-untyped]

    if abs(rho) == 1:
        return 0.0
    return 2 * float(stdtr(n - 2, -abs(rho) * math.sqrt((n - 2) / (1 - rho * rho))))
