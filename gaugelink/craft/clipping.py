"""Clipping: from the crows of a reed at its lengths to the next clip.

A shorter reed is sharper. The crow's cents are taken to rise in a line as the reed is clipped; the
line is learned from the reed's own points, with what the maker's earlier reeds did as the belief
before them (see `regression`). A clip cannot be undone: it is the largest of the style's steps
whose chance of taking the crow past its goal stays within the maker's risk, and no larger than the
last one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal
from itertools import pairwise
from typing import Literal

import msgspec

from gaugelink.craft.measured import CraftError
from gaugelink.craft.regression import Belief, believed
from gaugelink.craft.rules import Clipping

LONGEST = Decimal(200)
"""Millimetres."""

FARTHEST = Decimal(2400)
"""Cents: two octaves from the goal is no crow of this reed."""

OFF_THE_LINE = 100.0
"""Cents: standard deviation of where a reed's line lies, before any crow of it was heard. An
assumption, no source."""

SCATTER_WORTH = 6.0
"""How many crows the stated scatter is worth."""

Why = Literal["clip", "on goal", "again", "sharp", "shortest", "risk"]


class Crowed(msgspec.Struct, frozen=True):
    """A crow at a length."""

    length: Decimal
    """Millimetres from the bottom of the tube."""
    cents: Decimal
    """From the goal; flat is negative."""


class Goal(msgspec.Struct, frozen=True):
    """Where the crow should come to, in cents from the style's goal."""

    cents: Decimal
    within: Decimal


class Slope(msgspec.Struct, frozen=True):
    """By how much a crow rises when the reed is clipped, before the reed itself has shown it."""

    per_mm: float
    """Cents per millimetre clipped."""
    spread: float
    """The standard deviation for a new reed."""
    reeds: int
    """From how many of the maker's reeds it was learned."""


class Plan(msgspec.Struct, frozen=True):
    """What to do next about the length."""

    why: Why
    step: Decimal | None
    """Millimetres to clip; None to leave it."""
    expected: float | None
    """Cents from the style's goal that are expected then."""
    spread: float | None
    """The standard deviation of that."""
    chance: float | None
    """The chance that it then lies past the goal."""
    text: str


def goal_of_day(rule: Clipping, day: int) -> Goal:
    """Where the crow should be at the end of a day: flat on the first, on pitch after that."""
    if day == 1:
        return Goal(rule.first_day, rule.first_day_within)
    return Goal(Decimal(0), rule.within)


def learn_slope(reeds: Sequence[Sequence[Crowed]], rule: Clipping) -> Slope:
    """The slope to expect of a new reed, from the crows of earlier ones.

    Each reed with two lengths or more gives a least-squares slope with the variance
    scatter² / Σ(length - mean)². About the maker's own mean a reed's slope varies by
    `per_mm_between`. Weighted by one over the sum of the two variances, and with the style's stated
    slope as one more, their mean is the posterior of a normal mean with a normal prior (Gelman and
    others, Bayesian Data Analysis, chapter 5, from memory).
    """
    weight = 1 / rule.per_mm_spread**2
    total, count = weight * rule.per_mm, 0
    for points in reeds:
        _check(points)
        lengths = [float(point.length) for point in points]
        middle = math.fsum(lengths) / max(1, len(lengths))
        across = math.fsum((length - middle) ** 2 for length in lengths)
        if across == 0:
            continue
        rise = -math.fsum(
            (length - middle) * float(point.cents)
            for length, point in zip(lengths, points, strict=True)
        )
        own = 1 / (rule.scatter**2 / across + rule.per_mm_between**2)
        weight += own
        total += own * rise / across
        count += 1
    return Slope(total / weight, math.sqrt(1 / weight + rule.per_mm_between**2), count)


def plan(
    points: Sequence[Crowed],
    goal: Goal,
    slope: Slope,
    rule: Clipping,
    shortest: Decimal,
    risk: float,
) -> Plan:
    """The next clip of a reed whose crows of this sitting are `points`, oldest first.

    A night moves the crow, so points of another sitting would only mislead. `shortest` is the
    length in millimetres below which it is never clipped. At the goal, or above it, or as near as
    `goal.within`, there is nothing to clip. Raises CraftError without points, or for values that
    are no length or crow of a reed.
    """
    _check(points)
    if not points:
        raise CraftError("there is no crow to go by; crow the reed and write down its pitch")
    if not 0 < risk < 0.5:
        raise CraftError(f"a risk of {risk} is no risk to work by; choose one between 0 and 0.5")
    newest = points[-1]
    off = newest.cents - goal.cents
    at = f"{newest.cents:+f} cents at {newest.length:f} mm"
    if off > goal.within:
        text = f"{at}: sharp of {goal.cents:+f}; do not clip, scraping brings it down"
        return Plan("sharp", None, None, None, None, text)
    if off >= -goal.within:
        if _flat_by_all(points, goal, slope, rule, shortest):
            text = f"{at}: on its goal, but flat by its earlier crows; crow it again"
            return Plan("again", None, None, None, None, text)
        return Plan("on goal", None, None, None, None, f"{at}: on its goal, leave the length")
    room = newest.length - shortest
    if room < min(rule.steps):
        text = f"{at}: flat, but no longer than {shortest:f} mm; look elsewhere for the pitch"
        return Plan("shortest", None, None, None, None, text)
    belief = _belief(points, slope, rule, shortest)
    if belief.mean[1] <= 0:
        text = f"{at}: its crows did not rise with the clips; crow it again before you clip"
        return Plan("risk", None, None, None, None, text)
    for step in _allowed(points, rule.steps):
        after = belief.at([1.0, float(step)], scatter=True)
        chance = 1 - after.chance_below(float(goal.cents + goal.within))
        if step <= room and after.location <= float(goal.cents + goal.within) and chance <= risk:
            spread = after.deviation
            text = (
                f"{at}: clip {_fraction(step)} mm; about {after.location:+.0f} ± {2 * spread:.0f} "
                "cents then. Crow it again"
            )
            return Plan("clip", step, after.location, spread, chance, text)
    text = f"{at}: the next clip might pass the goal; play it, and let your ear decide"
    return Plan("risk", None, None, None, None, text)


def _flat_by_all(
    points: Sequence[Crowed], goal: Goal, slope: Slope, rule: Clipping, shortest: Decimal
) -> bool:
    """Whether all crows together put the reed below its goal, whatever the newest alone says.

    After many small clips one crow of them comes out sharp by its scatter alone, and would end the
    clipping too early.
    """
    if len(points) < 2:
        return False
    here = _belief(points, slope, rule, shortest).at([1.0, 0.0]).location
    return here < float(goal.cents - goal.within)


def _belief(points: Sequence[Crowed], slope: Slope, rule: Clipping, shortest: Decimal) -> Belief:
    """What is known of the line, over the millimetres clipped from the present length."""
    here = points[-1].length
    # Before anything was heard, the reed is thought to come to its goal at its shortest.
    flat = -slope.per_mm * float(here - shortest)
    prior = believed(
        [flat, slope.per_mm], [OFF_THE_LINE, slope.spread], rule.scatter, SCATTER_WORTH
    )
    return prior.learned(
        [[1.0, float(here - point.length)] for point in points],
        [float(point.cents) for point in points],
    )


def _allowed(points: Sequence[Crowed], steps: Sequence[Decimal]) -> Sequence[Decimal]:
    """The steps from the one that the last clip was nearest to: they never grow.

    A clip is never cut as exactly as it was meant, so nearness is by ratio.
    """
    clips = [
        before.length - after.length
        for before, after in pairwise(points)
        if before.length > after.length
    ]
    if not clips:
        return steps
    last = math.log(clips[-1])
    first = min(range(len(steps)), key=lambda index: abs(math.log(steps[index]) - last))
    return steps[first:]


def _fraction(step: Decimal) -> str:
    """How a maker says it: 1/64 rather than 0.015625."""
    top, bottom = step.as_integer_ratio()
    return f"{top}/{bottom}" if 1 < bottom <= 64 and top == 1 else f"{step:f}"


def _check(points: Sequence[Crowed]) -> None:
    for point in points:
        if not (point.length.is_finite() and 0 < point.length <= LONGEST):
            raise CraftError(f"{point.length} is no length of a reed in mm; measure it again")
        if not (point.cents.is_finite() and abs(point.cents) <= FARTHEST):
            raise CraftError(f"{point.cents} cents is too far from the goal; check the octave")
