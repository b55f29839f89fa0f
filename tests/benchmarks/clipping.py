"""Reeds clipped to pitch by the plan, against a maker who clips at once all that is missing.

The bare maker clips what the style's cents a millimetre say, and clips again while the crow is
flatter than the goal allows. Both write down the mean of three crows, and stop as near to the goal
as they are told to; whether the reed is within 5 cents is asked of the truth. A crow scatters, and
a clip comes out a little off; both are assumed.

Whoever wants a reed within 5 cents does well to ask for less: a crow that is heard at the edge lies
beyond it every other time. So it is measured both with the style's 5 cents and with half of them.
"""

from __future__ import annotations

import random
import statistics
from collections.abc import Callable, Sequence
from decimal import Decimal

import msgspec

from gaugelink.craft.clipping import Crowed, Goal, goal_of_day, learn_slope, plan
from gaugelink.craft.lessons import Start
from gaugelink.craft.rules import Clipping
from gaugelink.craft.style import Style, find
from simulators.crowing import draw_voice
from simulators.reed import Reed
from tests.benchmarks.table import Row

REEDS = 1000
WITHIN = 5.0
"""Cents."""

CROWS = 3
"""Crows of which the mean is written down."""

LENGTH = 72.5
"""Millimetres at which a reed begins."""

MISSING = (0.8, 2.2)
"""Millimetres that a reed is too long for its goal."""

OFF_BY = 0.03
"""Millimetres: standard deviation of a clip, or a fifth of it when that is less; assumed."""

MOST = 60
"""Crows written down of one reed."""

Next = Callable[[Sequence[Crowed], Goal, Style, Clipping], Decimal | None]
"""A kind of maker: what to clip; 0 to crow it again, None when it is done."""


def by_plan(points: Sequence[Crowed], goal: Goal, style: Style, rule: Clipping) -> Decimal | None:
    """What the plan says."""
    found = plan(points, goal, learn_slope([], rule), rule, style.shortest, style.risk.past)
    return Decimal(0) if found.why == "again" else found.step


def at_once(points: Sequence[Crowed], goal: Goal, style: Style, rule: Clipping) -> Decimal | None:
    """All that is missing, by the style's slope."""
    off = goal.cents - points[-1].cents
    step = off / Decimal(rule.per_mm)
    fits = points[-1].length - step >= style.shortest
    return step if off > goal.within and fits else None


class Tally:
    """What came of many reeds."""

    def __init__(self) -> None:
        self.off: list[float] = []
        self.clips = 0

    @property
    def right(self) -> float:
        """The share within 5 cents by the truth."""
        return sum(abs(each) <= WITHIN for each in self.off) / len(self.off)

    def said(self) -> str:
        sharp = sum(each > WITHIN for each in self.off) / len(self.off)
        return f"{100 * self.right:.1f} % / {100 * sharp:.1f} % / {self.clips / len(self.off):.1f}"


def clipped(maker: Next, within: Decimal) -> Tally:
    """What comes of a thousand reeds; the maker's scatter is that of the mean of their crows."""
    style = find("millrace-long")
    goal = Goal(goal_of_day(style.clipping, 2).cents, within)
    rule = msgspec.structs.replace(style.clipping, scatter=style.clipping.scatter / CROWS**0.5)
    tally = Tally()
    for seed in range(REEDS):
        rng = random.Random(f"{seed}/clip")
        flat = rng.uniform(*MISSING) * style.clipping.per_mm * draw_voice(seed).by_length
        start = Start(0.0, length=LENGTH, crow=-flat)
        reed = Reed(style, "finish", seed, start=start)
        points: list[Crowed] = []
        while len(points) < MOST:
            cents = statistics.fmean(reed.crow() for _ in range(CROWS))
            length = Decimal(reed.length).quantize(Decimal("0.01"))
            points.append(Crowed(length, Decimal(cents).quantize(Decimal("0.1"))))
            step = maker(points, goal, style, rule)
            if step is None:
                break
            if step:
                meant = float(step)
                reed.clip(max(0.2 * meant, meant + rng.gauss(0, min(OFF_BY, meant / 5))))
                tally.clips += 1
        tally.off.append(reed.crow_truth())
    return tally


def measure() -> list[Row]:
    rows = []
    for within, aim in ((Decimal(5), None), (Decimal("2.5"), 0.99)):
        bare, ours = clipped(at_once, within), clipped(by_plan, within)
        rows.append(
            Row(
                f"clipped to {within:f} cents: truly within 5 / sharp of that / clips",
                bare.said(),
                ours.said(),
                ours.right / bare.right if bare.right else None,
                "-" if aim is None else f"at least {100 * aim:.0f} %",
                aim is None or ours.right >= aim,
            )
        )
    return rows
