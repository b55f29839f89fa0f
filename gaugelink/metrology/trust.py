"""How unsure a reading of a gauge is, by what was proved and studied, and what follows from it.

Needs no distribution beyond the normal one: it is asked for at the bench. Lengths are hundredths
of a millimetre.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal
from typing import Literal

import msgspec

from gaugelink.metrology.conformity import Limits, Shares, how_many_more, judge, shares
from gaugelink.metrology.proving import Proof, shared_by_readings
from gaugelink.metrology.samples import MetrologyError, mean
from gaugelink.metrology.study import Study, told_apart
from gaugelink.metrology.uncertainty import combined_standard

Word = Literal["take", "leave", "over"]
Source = Literal["proof and study", "proof", "study", "last digit"]

TOO_MANY = 20
"""More readings of one place than these do the cane no good; common practice, no source."""

OF_ONE_HAND = ("repeatability", "placing")
"""Components of a study that measuring again, placed anew, makes smaller."""


class Trust(msgspec.Struct, frozen=True):
    """How unsure one reading is; both parts are standard uncertainties."""

    repeatability: float
    """What differs from reading to reading of one place, placed anew each time."""
    systematic: float
    """What all readings share, so that no repeating lessens it."""
    source: Source

    def of_mean(self, readings: int = 1) -> float:
        """The standard uncertainty of the mean of so many readings."""
        if readings < 1:
            raise MetrologyError("no reading was made yet; make one to begin with")
        return math.hypot(self.repeatability / math.sqrt(readings), self.systematic)

    @property
    def standard(self) -> float:
        """The standard uncertainty of one reading."""
        return self.of_mean()


class Judged(msgspec.Struct, frozen=True):
    """What the readings of one place say, and how surely."""

    finding: Literal["take", "leave", "over", "cannot tell"]
    mean: float
    uncertainty: float
    """The standard uncertainty of the mean."""
    readings: int
    """How many the mean is of; those that were slips are left out."""
    more: int | None
    """How many more would settle it; 0 when it is settled, None when no number would."""
    shares: Shares
    """The probabilities of too thin, on target and too thick."""


def trust(proof: Proof | None, study: Study | None, resolution: float) -> Trust:
    """How unsure one reading is, by the newest proof and study of its gauge.

    With neither, it is the indicator's last digit alone: the step divided by √12 (JCGM 100:2008,
    F.2.2.1), and it is never less. A proof's error is not corrected and counts as a half-width.
    Of its repeatability and the study's, which hold the same scatter, the greater counts.
    """
    last_digit = resolution / math.sqrt(12)
    if proof is None and study is None:
        return Trust(0.0, last_digit, "last digit")
    repeats = proof.repeatability_deviation if proof else 0.0
    shared = combined_standard(shared_by_readings(proof)) if proof else last_digit
    if study is not None:
        parts = {each.name: each.deviation for each in study.components}
        hand = [parts.get(name, 0.0) for name in OF_ONE_HAND]
        repeats = max(repeats, math.hypot(*hand))
        # Whoever measures measures always as this person does.
        others = math.sqrt(max(0.0, study.gauge.deviation**2 - math.hypot(*hand) ** 2))
        shared = math.hypot(shared, others)
    source: Source = "study" if proof is None else "proof" if study is None else "proof and study"
    return Trust(repeats, max(shared, last_digit), source)


def judge_place(
    readings: Sequence[Decimal],
    target: Decimal,
    tolerance: Decimal,
    resolution: Decimal,
    known: Trust,
) -> Judged:
    """What is known of a place from its readings, oldest first, since it was last scraped.

    Readings further from the newest than chance explains were slips, and are left out. The
    tolerance is never less than half the indicator's step, as in a verdict. Raises MetrologyError
    when there is no reading.
    """
    if not readings:
        raise MetrologyError("no reading was made yet; make one to begin with")
    step = float(resolution)
    apart = told_apart(known.repeatability, step)
    used = [each for each in readings if abs(float(each - readings[-1])) <= apart]
    middle, unsure = mean(used), known.of_mean(len(used))
    allowed = max(float(tolerance), step / 2)
    limits = Limits(float(target) - allowed, float(target) + allowed)
    found = judge(middle, unsure, float(target), allowed)
    more: int | None = 0
    if found.finding == "cannot tell":
        more = how_many_more(middle, len(used), known.repeatability, known.systematic, limits)
    return Judged(found.finding, middle, unsure, len(used), more, shares(middle, unsure, limits))


def say_judged(found: Judged, word: Word) -> str:
    """How far the verdict `word` can be trusted, in a few words for one line."""
    if found.finding == word:
        return "sure"
    if found.finding != "cannot tell":
        return {
            "take": "sure, but it is less than a hundredth too thick",
            "leave": "on target, going by all readings",
            "over": "sure that it is too thin",
        }[found.finding]
    if found.more is None or found.more > TOO_MANY:
        return "can't tell: the gauge does not see so fine a difference"
    return f"can't tell yet: measure {_times(max(1, found.more))} more"


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")
