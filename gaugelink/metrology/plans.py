"""A series of readings that is planned before it is made: a proof, or a study.

The plan says what is measured at each step, and the readings come in its order. So reading and
step belong together by their number alone, and a series that was broken off goes on where it
stood. The order of a study was drawn by chance: it is kept with the plan, never drawn again.
Lengths are hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from random import Random

import msgspec

from gaugelink.metrology.proving import Permitted, Proof, prove
from gaugelink.metrology.samples import MetrologyError
from gaugelink.metrology.standards import Standard, Touch, Zero, sequence
from gaugelink.metrology.study import (
    Placed,
    Study,
    Trial,
    crossed_plan,
    placing_plan,
    solve_crossed,
    solve_placing,
)

Step = Touch | Zero | Trial | Placed

MOST_STEPS = 500
"""Readings in one series: more take longer than a gauge, or a hand, stays as it is."""


class Shown(msgspec.Struct, frozen=True, array_like=True):
    """A reading of a series."""

    hundredths: Decimal
    resolution: Decimal
    """The weight of the last digit."""
    at: float
    """Seconds on a monotonic clock."""


class ProofPlan(msgspec.Struct, frozen=True, tag="proof"):
    """A gauge is proved with shims or gauge blocks."""

    standards: tuple[Standard, ...]
    repeats: int = 3
    permitted: Permitted = Permitted()


class CrossedPlan(msgspec.Struct, frozen=True, tag="crossed"):
    """Several people each measure the same stations several times."""

    steps: tuple[Trial, ...]
    seed: int = 0
    """What the order was drawn with."""


class PlacingPlan(msgspec.Struct, frozen=True, tag="placing"):
    """One person alone lifts the spindle, and places the reed anew."""

    steps: tuple[Placed, ...]
    seed: int = 0


Plan = ProofPlan | CrossedPlan | PlacingPlan


def plan_crossed(
    stations: Sequence[str], people: Sequence[str], trials: int, seed: int
) -> CrossedPlan:
    """A study of several people; the same seed draws the same order.

    Raises MetrologyError for fewer than two of each, a name that stands twice, or too many steps.
    """
    _check_count(len(stations) * len(people) * trials)
    drawn = crossed_plan(stations, people, trials, Random(seed))
    return CrossedPlan(tuple(drawn), seed)


def plan_placing(stations: Sequence[str], placings: int, lifts: int, seed: int) -> PlacingPlan:
    """A study of one person alone; the same seed draws the same order.

    Raises MetrologyError for no station, fewer than two placings or lifts, or too many steps.
    """
    _check_count(len(stations) * placings * lifts)
    drawn = placing_plan(stations, placings, lifts, Random(seed))
    return PlacingPlan(tuple(drawn), seed)


def steps(plan: Plan) -> tuple[Step, ...]:
    """What is measured, in its order.

    Raises MetrologyError for a plan without steps or with too many, and for a proof of no standard
    or fewer than two repeats.
    """
    if isinstance(plan, ProofPlan):
        _check_count((2 * len(plan.standards) + 1) * plan.repeats + 1)
        return tuple(sequence(plan.standards, plan.repeats))
    if not plan.steps:
        raise MetrologyError("the plan has no steps; name what is to be measured")
    _check_count(len(plan.steps))
    return plan.steps


def solve(plan: Plan, readings: Sequence[Shown]) -> Proof | Study:
    """What the readings, one for each step and in their order, amount to.

    The coarsest resolution that was seen counts. Raises MetrologyError when readings are missing,
    and whatever the proof or the study finds wrong.
    """
    order = steps(plan)
    if len(readings) != len(order):
        raise MetrologyError(
            f"{len(readings)} of {len(order)} readings are there; make those that are missing"
        )
    step = max(each.resolution for each in readings)
    pairs = list(zip(order, readings, strict=True))
    if isinstance(plan, ProofPlan):
        return prove(
            plan.standards,
            [(each, shown.hundredths) for each, shown in pairs if isinstance(each, Touch)],
            step,
            [(shown.at, shown.hundredths) for each, shown in pairs if isinstance(each, Zero)],
            permitted=plan.permitted,
        )
    if isinstance(plan, CrossedPlan):
        trials = [(each, shown.hundredths) for each, shown in pairs if isinstance(each, Trial)]
        return solve_crossed(trials, float(step))
    placed = [(each, shown.hundredths) for each, shown in pairs if isinstance(each, Placed)]
    return solve_placing(placed, float(step))


def _check_count(count: int) -> None:
    if count > MOST_STEPS:
        raise MetrologyError(f"{count} readings are too many for one series; {MOST_STEPS} at most")
