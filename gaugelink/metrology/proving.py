"""Proving a gauge with shims or gauge blocks: what its indication is worth, and how surely.

Terms are those of ISO/DIS 463:2025 for indicators, as far as its contents list
and public glossaries give them. All lengths are hundredths of a millimetre.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Literal, TypedDict

import msgspec

from gaugelink.metrology.conformity import RISK, Decision, Limits, Outcome, decide
from gaugelink.metrology.fitting import end_point_line, fit_line
from gaugelink.metrology.samples import (
    MetrologyError,
    Value,
    mean,
    pooled_deviation,
    span,
    standard_deviation,
)
from gaugelink.metrology.standards import Direction, Standard, Touch
from gaugelink.metrology.uncertainty import (
    COVERAGE,
    Budget,
    Component,
    budget,
    normal,
    rectangular,
    repeated,
    resolution,
)

LineKind = Literal["least-squares", "end-point"]

GOOD_FOR = timedelta(days=90)
"""How long a proof is relied on; common practice, no source. A fall ends it at once."""


class Drift(msgspec.Struct, frozen=True):
    """What the zero did through a session."""

    departure: float
    """The reading furthest from the first one, minus it."""
    span: float
    """The largest zero reading minus the smallest."""
    per_hour: float | None
    """The slope of the least-squares line; None when no time passed between readings."""


class Point(msgspec.Struct, frozen=True):
    """What was found at one standard."""

    nominal: Decimal
    error_up: float | None
    """The mean error of indication going up, shown minus nominal; None when not measured so."""
    error_down: float | None
    error: float
    """The mean of the two."""
    repeatability: float
    """The greater of the two ranges of readings from one side, largest minus smallest."""
    hysteresis: float | None
    """Error going up minus error going down; None unless both were measured."""
    uncertainty: float
    """The standard uncertainty of a mean error from one side."""
    fewest: int
    """The fewest readings from one side."""


class Permitted(msgspec.Struct, frozen=True):
    """The limits that the maker sets; None for what is not judged."""

    error: float | None = None
    """Every mean error lies within plus or minus this."""
    span: float | None = None
    repeatability: float | None = None
    hysteresis: float | None = None
    linearity: float | None = None


class Check(msgspec.Struct, frozen=True):
    """One figure held against its limit."""

    name: str
    value: float
    limit: float
    uncertainty: float
    """The standard uncertainty of the value."""
    outcome: Outcome
    probability: float
    """That the true figure keeps the limit."""


class Proof(msgspec.Struct, frozen=True):
    """What is known of a gauge after proving it."""

    points: tuple[Point, ...]
    """By rising nominal."""
    resolution: float
    greatest_error: float
    """The mean error, from either side, that is furthest from 0."""
    span: float | None
    """Error of indication over the range: highest minus lowest mean error going up."""
    repeatability: float
    """The greatest range of readings at one point from one side."""
    repeatability_deviation: float
    """The standard deviation of one reading, pooled over all points and sides."""
    repeatability_degrees: int
    """The degrees of freedom of that deviation."""
    hysteresis: float | None
    """The greatest difference between going up and going down at one point, without sign."""
    linearity: float | None
    """The greatest departure of a point's error from the line; None below three points."""
    line: LineKind
    """How the line of the linearity is laid."""
    slope: float | None
    """Hundredths of error for each hundredth of travel, by that line."""
    drift: Drift | None
    budget: Budget
    """Of the mean error from one side, at the point where it is least sure."""
    checks: tuple[Check, ...] = ()
    outcome: Outcome | None = None
    """Of all checks together; None when no limit was set."""


def drift(zeros: Sequence[tuple[float, Value]]) -> Drift:
    """What the zero did, from pairs of time in seconds and zero reading.

    Raises MetrologyError when there is no reading.
    """
    if not zeros:
        raise MetrologyError("the zero was not read; read the bare tongue")
    times, values = [at for at, _ in zeros], [value for _, value in zeros]
    away = [float(value) - float(values[0]) for value in values]
    passed = max(times) > min(times)
    return Drift(
        max(away, key=abs),
        span(values),
        fit_line(times, values).slope * 3600 if passed else None,
    )


def prove(
    standards: Sequence[Standard],
    readings: Iterable[tuple[Touch, Value]],
    step: Value,
    zeros: Sequence[tuple[float, Value]] = (),
    *,
    permitted: Permitted | None = None,
    line: LineKind = "least-squares",
    more: Sequence[Component] = (),
    coverage: float = COVERAGE,
    risk: float = RISK,
) -> Proof:
    """What the readings of the standards say of the gauge.

    `step` is the weight of the indicator's last digit; `zeros` are pairs of seconds and zero
    reading; `more` are components of uncertainty that the readings do not show, as warmth. Nothing
    is corrected: the error is shown minus nominal, and a moved zero counts as uncertainty. Raises
    MetrologyError for a standard without readings, or when nothing was repeated from one side.
    """
    sides = _sides(standards, readings)
    repeats = [values for side in sides for values in side.values() if len(values) > 1]
    spread = [(standard_deviation(values), len(values) - 1) for values in repeats]
    deviation, degrees = pooled_deviation(spread), sum(each for _, each in spread)
    moved = drift(zeros) if zeros else None
    common = [
        *_of_indicator(float(step)),
        *([rectangular("zero drift", abs(moved.departure))] if moved else []),
        *more,
    ]
    points, budgets = [], []
    for standard, side in zip(standards, sides, strict=True):
        fewest = min(map(len, side.values()))
        repeatability = repeated("repeatability", deviation, fewest, degrees)
        budgets.append(budget([_of_standard(standard), repeatability, *common], coverage))
        points.append(_point(standard, side, budgets[-1].combined, fewest))
    points.sort(key=lambda point: point.nominal)
    proof = Proof(
        points=tuple(points),
        resolution=float(step),
        repeatability_deviation=deviation,
        repeatability_degrees=degrees,
        line=line,
        drift=moved,
        budget=max(budgets, key=lambda each: each.combined),
        **_figures(points, line),
    )
    checks = _checks(proof, permitted or Permitted(), risk)
    return msgspec.structs.replace(proof, checks=tuple(checks), outcome=_worst(checks))


def reading_budget(
    proof: Proof, readings: int = 1, more: Sequence[Component] = (), coverage: float = COVERAGE
) -> Budget:
    """The uncertainty of the mean of `readings` later readings with the gauge as it was proved.

    They are not corrected, so the greatest error found counts as a half-width. What a study found
    of the hand that places the reed belongs in `more`.
    """
    alone = repeated(
        "repeatability", proof.repeatability_deviation, readings, proof.repeatability_degrees
    )
    return budget([*shared_by_readings(proof), alone, *more], coverage)


def shared_by_readings(proof: Proof) -> list[Component]:
    """What makes every later reading unsure alike, so that no repeating lessens it."""
    return [
        rectangular("error of indication", abs(proof.greatest_error)),
        normal("proving", proof.budget.combined, 1, proof.budget.degrees_of_freedom),
        *_of_indicator(proof.resolution),
    ]


def old(proved_at: datetime, now: datetime, good_for: timedelta = GOOD_FOR) -> bool:
    """Whether a proof is too old to rely on; so is one from the future, whose clock was wrong.

    Raises MetrologyError for times without a time zone.
    """
    if proved_at.tzinfo is None or now.tzinfo is None:
        raise MetrologyError("the times of a proof need a time zone; give them in UTC")
    return not timedelta(0) <= now - proved_at <= good_for


Sides = dict[Direction, list[Value]]


class Figures(TypedDict):
    """What `_figures` puts into a proof."""

    greatest_error: float
    span: float | None
    repeatability: float
    hysteresis: float | None
    linearity: float | None
    slope: float | None


def _sides(standards: Sequence[Standard], readings: Iterable[tuple[Touch, Value]]) -> list[Sides]:
    """The errors, shown minus nominal, of each standard from each side."""
    if not standards:
        raise MetrologyError("a proof needs one standard or more; name the blocks")
    found: list[Sides] = [{} for _ in standards]
    seen = set()
    for touch, shown in readings:
        if not 0 <= touch.standard < len(standards):
            raise MetrologyError(f"there is no standard {touch.standard}; they count from 0")
        if touch in seen:
            raise MetrologyError(
                f"repeat {touch.repeat} of standard {touch.standard} going {touch.direction} "
                "stands twice; keep one of them"
            )
        seen.add(touch)
        nominal = standards[touch.standard].nominal
        # Decimals subtract exactly; a float is one already rounded.
        error = shown - nominal if isinstance(shown, Decimal) else shown - float(nominal)
        found[touch.standard].setdefault(touch.direction, []).append(error)
    for standard, side in zip(standards, found, strict=True):
        if not side:
            raise MetrologyError(
                f"standard {standard.nominal} has no reading; measure it or leave it out"
            )
    return found


def _point(standard: Standard, side: Sides, uncertainty: float, fewest: int) -> Point:
    means = {direction: mean(values) for direction, values in side.items()}
    up, down = means.get("up"), means.get("down")
    return Point(
        nominal=standard.nominal,
        error_up=up,
        error_down=down,
        error=math.fsum(means.values()) / len(means),
        repeatability=max(map(span, side.values())),
        hysteresis=None if up is None or down is None else up - down,
        uncertainty=uncertainty,
        fewest=fewest,
    )


def _of_standard(standard: Standard) -> Component:
    doubt = float(standard.doubt)
    if standard.doubt_is == "tolerance":
        return rectangular("standard", doubt)
    return normal("standard", doubt, standard.k)


def _of_indicator(step: float) -> list[Component]:
    # Both the reading and the zero that it counts from are rounded to the last digit.
    return [resolution("resolution", step), resolution("zero setting", step)]


def _errors(point: Point) -> list[float]:
    return [each for each in (point.error_up, point.error_down) if each is not None]


def _figures(points: Sequence[Point], line: LineKind) -> Figures:
    """The figures of a proof that need no more than its points."""
    up = [point.error_up for point in points if point.error_up is not None]
    gaps = [abs(point.hysteresis) for point in points if point.hysteresis is not None]
    linearity, slope = _linearity(points, line)
    return {
        "greatest_error": max((each for point in points for each in _errors(point)), key=abs),
        "span": max(up) - min(up) if up else None,
        "repeatability": max(point.repeatability for point in points),
        "hysteresis": max(gaps, default=None),
        "linearity": linearity,
        "slope": slope,
    }


def _linearity(points: Sequence[Point], kind: LineKind) -> tuple[float | None, float | None]:
    """The greatest departure from the line, and its slope."""
    if len({point.nominal for point in points}) < 3:
        return None, None
    nominals, errors = [float(each.nominal) for each in points], [each.error for each in points]
    if kind == "end-point":
        intercept, slope = end_point_line(nominals, errors)
    else:
        fitted = fit_line(nominals, errors)
        intercept, slope = fitted.intercept, fitted.slope
    away = [
        abs(error - intercept - slope * nominal)
        for nominal, error in zip(nominals, errors, strict=True)
    ]
    return max(away), slope


def _checks(proof: Proof, permitted: Permitted, risk: float) -> list[Check]:
    rounding = proof.resolution / math.sqrt(6)
    """Of the difference of two readings, each rounded to the step."""
    unsure = proof.budget.combined
    fewest = min(point.fewest for point in proof.points)
    apart = proof.repeatability_deviation * math.sqrt(2 / fewest)
    checks = []
    if permitted.error is not None:
        checks.append(_error_check(proof, permitted.error, risk))
    # A block's own doubt cancels where the same block is compared with itself.
    for name, value, limit, uncertainty in (
        ("span", proof.span, permitted.span, unsure * math.sqrt(2)),
        ("repeatability", proof.repeatability, permitted.repeatability, rounding),
        ("hysteresis", proof.hysteresis, permitted.hysteresis, math.hypot(apart, rounding)),
        ("linearity", proof.linearity, permitted.linearity, unsure),
    ):
        if limit is not None:
            if value is None:
                raise MetrologyError(
                    f"the readings do not show the {name}; measure three standards, from both "
                    "sides, or set no limit on it"
                )
            decision = decide(value, uncertainty, Limits(None, limit), risk)
            checks.append(_check(name, value, limit, uncertainty, decision))
    return checks


def _error_check(proof: Proof, limit: float, risk: float) -> Check:
    """The error least likely to keep the limit; one that fails speaks for all."""
    found = [
        _check("error", error, limit, point.uncertainty, decision)
        for point in proof.points
        for error in _errors(point)
        for decision in [decide(error, point.uncertainty, Limits(-limit, limit), risk)]
    ]
    worst = _worst(found)
    alike = (each for each in found if each.outcome == worst)
    return min(alike, key=lambda each: (each.probability, -abs(each.value)))


def _check(name: str, value: float, limit: float, uncertainty: float, decision: Decision) -> Check:
    return Check(name, value, limit, uncertainty, decision.outcome, decision.probability)


def _worst(checks: Sequence[Check]) -> Outcome | None:
    outcomes = {each.outcome for each in checks}
    order: tuple[Outcome, ...] = ("fail", "cannot tell", "pass")
    return next((each for each in order if each in outcomes), None)
