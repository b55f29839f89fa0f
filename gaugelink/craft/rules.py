"""How a maker wants to be advised: the optional tables of a style, each with its defaults.

Every number here is a maker's own to change. A default that was published says where; the others
are common practice or an assumption, and say that.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from decimal import Decimal
from typing import Literal

import msgspec

from gaugelink.craft.pitch import TUNING, PitchError, parse_note


class Risk(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The chances that the maker is ready to take; each above 0 and below 0.5.

    One in twenty is the default of ISO 14253-1:2017 for a decision (from memory).
    """

    under: float = 0.05
    """That a place ends below the lower limit of its target when the advice is followed."""
    past: float = 0.05
    """That a clip takes the crow past its goal."""


class Scraping(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What is known of a maker's knife before any of it has been learned."""

    removal: float = 0.25
    """Standard uncertainty of what a scrape takes off, as a share of what was meant. An
    assumption, no source."""
    steep: float = 12.0
    """Hundredths per millimetre along the blade: a fall steeper than this is blended first.
    A blend falls by 5 to 10 (from memory)."""
    per_stroke: float = 0.5
    """Hundredths that a stroke is thought to take off, until strokes are counted. An assumption,
    no source."""
    per_stroke_spread: float = 0.3
    """The standard deviation of that belief."""
    scatter: float = 1.0
    """Hundredths: standard deviation of what a pass takes off about its strokes. An assumption."""
    worth: float = 4.0
    """How many passes the belief about the scatter is worth, 3 at least."""


class Balancing(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What counts as balanced, and what to do when one side is already over."""

    when_over: Literal["stop", "meet"] = "stop"
    """Stop at the target and leave the two apart, or let the other side meet it."""
    meet_within: Decimal = Decimal(2)
    """Hundredths below its target to which a side may go to meet another."""
    within: Decimal = Decimal(2)
    """Hundredths: a difference as small needs nothing. Tip 1, heart 2, back 3 (from memory)."""


class Clipping(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Where the crow should end, and in which steps the reed is clipped towards it."""

    goal: str = "C5"
    """The crow's lower note; its octave sounds with it. For long scrapes (common practice, no
    source); makers of short ones often do not ask for a C (from memory)."""
    tuning: float = TUNING
    """Hertz of A4."""
    first_day: Decimal = Decimal("-16.5")
    """Cents from the goal at which the reed rests after the first day; 15 to 18 flat (common
    practice, no source)."""
    first_day_within: Decimal = Decimal("1.5")
    within: Decimal = Decimal(5)
    """Cents from the goal that still are on it at the end. Makers accept 10 to 20 (from memory)."""
    steps: tuple[Decimal, ...] = tuple(map(Decimal, ("2", "0.5", "0.25", "0.125", "0.015625")))
    """Millimetres, ever smaller: 2, a half, a quarter, an eighth, at the end 1/64 (common practice,
    no source)."""
    shortest: Decimal | None = None
    """Millimetres from the bottom of the tube; the style's finished length when not given."""
    per_mm: float = 25.0
    """Cents by which a crow rises for a millimetre clipped. Length alone makes it 25 on a 70 mm
    reed, 1200 log2(70/69) (own arithmetic); the thin end that goes too is not in that."""
    per_mm_spread: float = 10.0
    """The standard deviation of that belief. An assumption, no source."""
    per_mm_between: float = 5.0
    """Standard deviation from reed to reed. An assumption, no source."""
    scatter: float = 4.0
    """Cents: standard deviation of one crow about the reed's line. An assumption, no source."""


class Soaking(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Times in minutes; a reed is only measured wet."""

    soak: float = 3.0
    """In the water until a reed counts as wet (common practice, no source). A gouged piece needs
    20 or until it sinks (published, dirigent63.de/6.html)."""
    remind: float = 5.0
    """Out of the water until the maker is reminded (common practice, no source)."""
    wet_for: float = 10.0
    """Out of the water until it no longer counts as wet (common practice, no source)."""


class Slipping(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Millimetres by which one blade is slipped sideways over the other (from memory)."""

    least: Decimal = Decimal("0.1")
    most: Decimal = Decimal("0.5")


class Cane(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A style that has this table measures gouged cane before it is tied.

    Its blades are the two halves of the piece, and its heights go in millimetres from the end of
    a half to the fold, which lies at the length of the blank.
    """

    length: float
    """Millimetres of the whole piece, unfolded."""


Wrong = tuple[str, str]
"""The path of a fault in the file, and what is expected there."""


def faults(
    risk: Risk,
    scraping: Scraping,
    balancing: Balancing,
    clipping: Clipping,
    soaking: Soaking,
    slipping: Slipping,
) -> Iterator[Wrong]:
    """What the types alone cannot refuse in these tables."""
    for path, value, low, high in (
        ("scraping.removal", scraping.removal, 0, 1),
        ("scraping.steep", scraping.steep, 0, 200),
        ("scraping.per_stroke", scraping.per_stroke, 0.01, 20),
        ("scraping.per_stroke_spread", scraping.per_stroke_spread, 0.01, 20),
        ("scraping.scatter", scraping.scatter, 0.01, 20),
        ("scraping.worth", scraping.worth, 3, 1000),
        ("balancing.meet_within", balancing.meet_within, 0, 50),
        ("balancing.within", balancing.within, 0, 50),
        ("clipping.tuning", clipping.tuning, 380, 480),
        ("clipping.first_day", clipping.first_day, -200, 200),
        ("clipping.first_day_within", clipping.first_day_within, 0, 100),
        ("clipping.within", clipping.within, 0, 100),
        ("clipping.per_mm", clipping.per_mm, 1, 500),
        ("clipping.per_mm_spread", clipping.per_mm_spread, 0.1, 500),
        ("clipping.per_mm_between", clipping.per_mm_between, 0, 500),
        ("clipping.scatter", clipping.scatter, 0.1, 100),
        ("soaking.soak", soaking.soak, 0, 600),
        ("soaking.remind", soaking.remind, 0.1, 600),
        ("soaking.wet_for", soaking.wet_for, 0.1, 600),
        ("slipping.least", slipping.least, 0, 3),
        ("slipping.most", slipping.most, 0, 3),
    ):
        if not (math.isfinite(value) and low <= value <= high):
            yield path, f"{value} must lie from {low} to {high}"
    for path, chance in (("risk.under", risk.under), ("risk.past", risk.past)):
        if not 0 < chance < 0.5:
            yield path, f"{chance} must lie above 0 and below 0.5"
    if not slipping.least <= slipping.most:
        yield "slipping.most", f"must not be below least, {slipping.least}"
    yield from _clipping_faults(clipping)


def _clipping_faults(clipping: Clipping) -> Iterator[Wrong]:
    try:
        parse_note(clipping.goal)
    except PitchError as error:
        yield "clipping.goal", str(error)
    if not clipping.steps:
        yield "clipping.steps", "needs at least one step"
    last = Decimal(10)
    for place, step in enumerate(clipping.steps):
        if not (step.is_finite() and 0 < step <= last):
            yield f"clipping.steps[{place}]", f"is in mm, above 0, and {last} at most"
            return
        last = step
