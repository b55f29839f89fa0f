"""Rules by which single values and runs of them stand out on a chart, each with what it means.

Sources: the first six as in the NIST/SEMATECH e-Handbook 6.3.2 (the Western Electric rules and the
two on trends), the last two as in L. S. Nelson, Journal of Quality Technology 16 (1984) 237-239;
all from memory. Each rule more is a false alarm more: of a batch in which nothing happened, the
first rule flags one value in 370, and the four zone rules together about one in 92. How many
values a rule looks at is part of its definition: eight for "one side", six for "trend", fourteen
for "alternating", fifteen for "hugging", eight for "avoiding".
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Literal

import msgspec

Rule = Literal[
    "beyond",
    "two of three",
    "four of five",
    "one side",
    "trend",
    "alternating",
    "hugging",
    "avoiding",
]

ZONE_RULES: tuple[Rule, ...] = ("beyond", "two of three", "four of five", "one side")
"""The four that look at single values and at runs to one side."""

MEANING: dict[Rule, str] = {
    "beyond": "unlike the others, so measure again and look for what was different",
    "two of three": "most lie far out on one side: something may have moved",
    "four of five": "most lie out on one side: something may have moved a little",
    "one side": "all lie on one side of the middle: a setting or the cane has changed",
    "trend": "each goes further the same way: a gouge or a knife that moves, or cane that dries",
    "alternating": "up and down in turn: two tools, or two tubes of cane, take turns",
    "hugging": "all lie close to the middle: the limits come from rougher work",
    "avoiding": "on both sides of the middle and none near it: two kinds are mixed",
}
"""What a broken rule means at the bench, to be read after the names of those that broke it."""

ROUNDING = 1e-9
"""Standard deviations: what lies on a limit but for the rounding of floats is not beyond it."""

SMALLEST = 1e-200
"""Stands for a standard deviation of nothing, so that it can be divided by."""


class Flag(msgspec.Struct, frozen=True):
    """A rule that is broken by the values from `first` to `index`, counted from 0."""

    first: int
    index: int
    rule: Rule


def broken(
    values: Sequence[float], centre: float, sigma: float, rules: Sequence[Rule]
) -> tuple[Flag, ...]:
    """Every place at which one of the rules is broken, by index, then in the order of the rules.

    All in one unit; a `sigma` of 0 puts whatever differs from the centre beyond every limit. A
    rule that looks at several values is broken at the last of them.
    """
    scores = _scores(values, centre, sigma)
    found = []
    for index in range(len(scores)):
        for rule in rules:
            length, holds = _RULES[rule]
            first = index - length + 1
            if first >= 0 and holds(scores[first : index + 1]):
                found.append(Flag(first, index, rule))
    return tuple(found)


def _scores(values: Sequence[float], centre: float, sigma: float) -> list[float]:
    """Distances from the centre in standard deviations, drawn in by what floats may have added."""
    # A mean of equal values may differ from them in the last digit.
    noise = 1e-14 * max([abs(centre), *map(abs, values)])
    unit = max(sigma, noise, SMALLEST)
    scores = []
    for each in values:
        score = max(0.0, (abs(each - centre) - noise) / unit - ROUNDING)
        scores.append(score if each > centre else -score)
    return scores


def _beyond(scores: Sequence[float]) -> bool:
    return abs(scores[0]) > 3


def _most_beyond(limit: float, needed: int) -> Callable[[Sequence[float]], bool]:
    """Whether the last and, with it, at least `needed` lie beyond the limit on one side."""

    def holds(scores: Sequence[float]) -> bool:
        side = 1 if scores[-1] > 0 else -1
        out = [side * score > limit for score in scores]
        return out[-1] and sum(out) >= needed

    return holds


def _one_side(scores: Sequence[float]) -> bool:
    return min(scores) > 0 or max(scores) < 0


def _trend(scores: Sequence[float]) -> bool:
    steps = [two - one for one, two in pairwise(scores)]
    return min(steps) > ROUNDING or max(steps) < -ROUNDING


def _alternating(scores: Sequence[float]) -> bool:
    steps = [two - one for one, two in pairwise(scores)]
    turned = [step if index % 2 else -step for index, step in enumerate(steps)]
    return min(turned) > ROUNDING or max(turned) < -ROUNDING


def _hugging(scores: Sequence[float]) -> bool:
    return max(map(abs, scores)) < 1


def _avoiding(scores: Sequence[float]) -> bool:
    return min(map(abs, scores)) > 1 and min(scores) < 0 < max(scores)


_RULES: dict[Rule, tuple[int, Callable[[Sequence[float]], bool]]] = {
    "beyond": (1, _beyond),
    "two of three": (3, _most_beyond(2, 2)),
    "four of five": (5, _most_beyond(1, 4)),
    "one side": (8, _one_side),
    "trend": (6, _trend),
    "alternating": (14, _alternating),
    "hugging": (15, _hugging),
    "avoiding": (8, _avoiding),
}
"""How many values each rule looks at, and whether they break it."""
