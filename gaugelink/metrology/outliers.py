"""Which values lie too far from the rest to be of their kind.

A value that stands out is a question, never an answer: it is measured again before it is left out.
Sources: Grubbs' test as in the NIST/SEMATECH e-Handbook 1.3.5.17.1, the generalised extreme
studentised deviate test (B. Rosner, Technometrics 25 (1983) 165-172) as in 1.3.5.17.3.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec

from gaugelink.metrology.samples import MetrologyError, Value, mean, standard_deviation
from gaugelink.metrology.series import Side, proportion, varied

FEWEST_FOR_GRUBBS = 3
"""With two values neither is the odd one; below seven only the grossest can be told."""

FEWEST_FOR_SEVERAL = 15
"""Values below which the limits of the generalised test are not accurate (Rosner 1983)."""


class Outlier(msgspec.Struct, frozen=True):
    """A value that stands out."""

    index: int
    """Its place in the values, counted from 0."""
    value: float
    away: float
    """Less the mean of those that do not stand out; in the unit of the values, with its sign."""


class Grubbs(msgspec.Struct, frozen=True):
    """What Grubbs' test says of the one value that lies furthest out."""

    n: int
    side: Side
    furthest: Outlier
    statistic: float
    """G: its distance from the mean of all in standard deviations of all."""
    critical: float
    """What G exceeds by chance with probability `alpha` only."""
    p: float
    """Probability of a G as large by chance; an upper bound, close where it is small."""
    alpha: float

    @property
    def stands_out(self) -> bool:
        """Whether the value lies too far out to be chance."""
        return self.statistic > self.critical


class Step(msgspec.Struct, frozen=True):
    """One step of the generalised test: the value furthest out of those that are left."""

    index: int
    statistic: float
    critical: float


class Several(msgspec.Struct, frozen=True):
    """What the generalised test says."""

    n: int
    steps: tuple[Step, ...]
    outliers: tuple[Outlier, ...]
    """Those that stand out, the furthest first."""
    alpha: float


def grubbs(values: Sequence[Value], side: Side = "both", alpha: float = 0.05) -> Grubbs:
    """Test the value furthest out: on either side, or only the lowest or only the highest.

    One outlier that is tested for can hide behind another: with 15 values and more `several` is
    the better test. MetrologyError for fewer than three values or all the same.
    """
    found = varied(values, FEWEST_FOR_GRUBBS, "a search for one that stands out")
    proportion(alpha, "alpha")
    n, middle, sigma = len(found), mean(found), standard_deviation(found)
    sign = {"low": -1, "high": 1}.get(side)
    away = [abs(each - middle) if sign is None else sign * (each - middle) for each in found]
    index = away.index(max(away))
    statistic = away[index] / sigma
    tests = 2 * n if side == "both" else n
    return Grubbs(
        n=n,
        side=side,
        furthest=_outlier(found, index, {index}),
        statistic=statistic,
        critical=_critical(n, alpha / tests),
        p=min(1.0, tests * _tail(n, statistic)),
        alpha=alpha,
    )


def several(values: Sequence[Value], most: int | None = None, alpha: float = 0.05) -> Several:
    """Test for up to `most` values that stand out, on either side; by default a fifth of them.

    The furthest is taken away, and the furthest of the rest, and so on; those stand out that were
    taken up to the last step that exceeds its limit, even where an earlier one did not: two that
    lie together hide each other. MetrologyError for fewer than 15 values, all the same, or a
    `most` that would leave fewer than half.
    """
    found = varied(values, FEWEST_FOR_SEVERAL, "a search for several that stand out")
    proportion(alpha, "alpha")
    n = len(found)
    count = n // 5 if most is None else most
    if not 1 <= count <= n // 2:
        raise MetrologyError(f"{count} of {n} values cannot all stand out; take 1 to {n // 2}")
    steps, last = _steps(found, count, alpha), 0
    for number, step in enumerate(steps, start=1):
        if step.statistic > step.critical:
            last = number
    out = [step.index for step in steps[:last]]
    return Several(n, steps, tuple(_outlier(found, each, set(out)) for each in out), alpha)


def _steps(values: Sequence[float], count: int, alpha: float) -> tuple[Step, ...]:
    left = dict(enumerate(values))
    steps: list[Step] = []
    while len(steps) < count and min(left.values()) < max(left.values()):
        rest = list(left.values())
        middle, sigma = mean(rest), standard_deviation(rest)
        index = max(left, key=lambda each: abs(left[each] - middle))
        critical = _critical(len(rest), alpha / (2 * len(rest)))
        steps.append(Step(index, abs(left.pop(index) - middle) / sigma, critical))
    return tuple(steps)


def _outlier(values: Sequence[float], index: int, out: set[int]) -> Outlier:
    rest = [each for place, each in enumerate(values) if place not in out]
    return Outlier(index, values[index], values[index] - mean(rest))


def _critical(n: int, tail: float) -> float:
    """The limit of the furthest of `n` from a tail of Student's distribution."""
    from scipy.special import stdtrit  # type: ignore[import-untyped]

    t = float(stdtrit(n - 2, tail))
    return (n - 1) * abs(t) / math.sqrt(n * (n - 2 + t * t))


def _tail(n: int, statistic: float) -> float:
    """Probability that one certain value of `n` lies as far out, on one side."""
    from scipy.special import stdtr

    room = (n - 1) ** 2 - n * statistic**2
    # All others are the same: G is as large as it can be, but for rounding.
    if room <= 0:
        return 0.0
    return float(stdtr(n - 2, -statistic * math.sqrt(n * (n - 2) / room)))
