"""What a proof and a study found, in words first, and the figures of it when they are asked for.

Each function gives short sentences, without capital and full stop, as `words` does. Lengths are
hundredths of a millimetre, said as bare numbers.
"""

from __future__ import annotations

import math

from gaugelink.metrology.conformity import Outcome
from gaugelink.metrology.proving import Check, Proof
from gaugelink.metrology.study import Study
from gaugelink.metrology.uncertainty import Budget
from gaugelink.metrology.words import Sentences, amount

FEW_GROUPS = 5
"""Fewer groups of stations told apart than this are poor; from memory, common practice."""

OUTCOMES: dict[Outcome, str] = {
    "pass": "it passes: every limit is kept, as surely as these standards can show",
    "fail": "it fails",
    "cannot tell": "cannot tell: the standards or the repeats are too coarse for these limits",
}

CAUSES: dict[str, str] = {
    "repeatability": "measuring the same place again",
    "placing": "placing the reed anew",
    "people": "one person's hand against another's",
    "people at stations": "people who differ at some stations and not at others",
}
"""What a component of a study is, at the bench."""


def say_proof(proof: Proof) -> Sentences:
    """Whether the gauge keeps its limits, and what it does wrong."""
    said = [_outcome(proof)]
    worst = max(proof.points, key=lambda point: _furthest(point.error_up, point.error_down))
    if proof.greatest_error:
        which = "much" if proof.greatest_error > 0 else "little"
        said.append(
            f"at worst it shows {amount(proof.greatest_error)} too {which}, "
            f"at {worst.nominal.normalize():f}"
        )
    else:
        said.append("it shows every standard as it is marked")
    said.append(f"the same standard read again differs by {_at_most(proof.repeatability)}")
    if proof.hysteresis is not None:
        said.append(f"coming up and coming down differ by {_at_most(proof.hysteresis)}")
    if proof.linearity is not None:
        said.append(f"its errors lie within {amount(proof.linearity)} of a straight line")
    if proof.drift is not None:
        said.append(f"its zero moved by {amount(proof.drift.departure)} meanwhile")
    said.append(
        f"its errors are known to within {amount(proof.budget.expanded)} "
        f"({proof.budget.coverage * 100:.0f} times in 100)"
    )
    return tuple(said)


def figures_of_proof(proof: Proof) -> Sentences:
    """Every point, every check and the budget, one to a line."""
    said = ["  nominal   error up  error down  repeatability  hysteresis"]
    said += [
        f"  {point.nominal:>7}   {_cell(point.error_up, 8)}  {_cell(point.error_down, 10)}  "
        f"{point.repeatability:>13.3f}  {_cell(point.hysteresis, 10)}"
        for point in proof.points
    ]
    said += [_check(each) for each in proof.checks]
    if proof.span is not None:
        said.append(f"error of indication over the range {proof.span:.3f}")
    if proof.slope is not None:
        said.append(f"slope {proof.slope:+.5f} by the {proof.line} line")
    if proof.drift is not None and proof.drift.per_hour is not None:
        said.append(f"zero drift {proof.drift.per_hour:+.3f} an hour, span {proof.drift.span:.3f}")
    said.append(f"resolution {proof.resolution:g}")
    return (*said, *figures_of_budget(proof.budget))


def figures_of_budget(budget: Budget) -> Sentences:
    """What makes a value unsure, by standard uncertainties, and what they amount to."""
    degrees = budget.degrees_of_freedom
    free = "infinitely many" if degrees is None else f"{degrees:.1f}"
    return (
        *(
            f"  {each.name:<20} type {each.kind}, {each.distribution:<11} "
            f"{abs(each.contribution):.4f}"
            for each in budget.components
        ),
        f"combined {budget.combined:.4f}, degrees of freedom {free}; expanded "
        f"{budget.expanded:.3f} with k {budget.coverage_factor:.2f}",
    )


def say_study(found: Study) -> Sentences:
    """What the gauge in these hands can tell apart, and what stands in its way."""
    said = [
        f"two readings that differ by less than {_up(found.told_apart)} may be of one thickness"
    ]
    parts = [each for each in found.components if each.name in CAUSES]
    greatest = max(parts, key=lambda each: each.deviation)
    if greatest.deviation > 0:
        said.append(f"most of that comes from {CAUSES[greatest.name]}")
    else:
        said.append("no reading differed from another of the same place")
    people = [each for each in parts if each.name.startswith("people")]
    if people and not any(each.deviation for each in people):
        said.append("the people do not differ, as far as this shows")
    groups = found.distinct_categories
    if groups == 1:
        said.append("it does not tell these stations apart")
    elif groups is not None:
        few = ": few to judge a blade by" if groups < FEW_GROUPS else ""
        said.append(f"it tells {groups} groups of these stations apart{few}")
    return tuple(said)


def figures_of_study(found: Study) -> Sentences:
    """Each component as a standard deviation with its interval, and the table behind them."""
    said = [
        f"standard deviations, each with where it lies {found.confidence * 100:.0f} times in 100"
    ]
    said += [
        f"  {each.name:<20} {each.deviation:.3f} ({each.low:.3f} to {each.high:.3f})"
        for each in (*found.components, found.gauge)
    ]
    said.append("analysis of variance: sum of squares, degrees of freedom, F, p")
    for term in found.table:
        f = "" if term.f is None else f"  F {term.f:.2f}"
        p = "" if term.p is None else f"  p {term.p:.2g}"
        said.append(f"  {term.name:<20} {term.sum_of_squares:.4f}  {term.degrees_of_freedom}{f}{p}")
    if found.pooled:
        said.append("people at stations made no difference and is pooled with repeatability")
    return tuple(said)


def _outcome(proof: Proof) -> str:
    if proof.outcome is None:
        return "no limits were set: this is what was found"
    if proof.outcome == "pass":
        return OUTCOMES["pass"]
    why = ", ".join(
        f"{each.name} {amount(each.value)} against {amount(each.limit)}"
        for each in proof.checks
        if each.outcome == proof.outcome
    )
    return f"{OUTCOMES[proof.outcome]} ({why})"


def _check(each: Check) -> str:
    return (
        f"  {each.name}: {each.value:.3f}, limit {each.limit:g}: {each.outcome} "
        f"(kept with a probability of {each.probability:.3f})"
    )


def _at_most(size: float) -> str:
    said = amount(size)
    return said if said.startswith("less") else f"{said} at most"


def _up(size: float) -> str:
    """Rounded up: to a tenth, from ten on to a whole."""
    return f"{math.ceil(size)}" if size >= 10 else f"{math.ceil(size * 10 - 1e-9) / 10:g}"


def _cell(value: float | None, width: int) -> str:
    return f"{'-':>{width}}" if value is None else f"{value:>+{width}.3f}"


def _furthest(*errors: float | None) -> float:
    return max((abs(each) for each in errors if each is not None), default=-math.inf)
