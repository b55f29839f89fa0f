"""What a client asks and is told of the craft: advice, the workbook, the rack's next steps."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

import msgspec

from gaugelink.craft.advice import StationAdvice, Step, ZoneAdvice
from gaugelink.craft.balance import Part
from gaugelink.craft.balance import Word as BalanceWord
from gaugelink.craft.mirroring import Proposal
from gaugelink.craft.reed import Station
from gaugelink.daemon.messages.base import Message
from gaugelink.daemon.messages.requests import Request
from gaugelink.daemon.messages.results import ReedRecord

# Requests


class Advise(Request, frozen=True, kw_only=True, tag="advise"):
    """What remains on a reed at its present stage; answered with an `advice`.

    By the newest captures, or, with a `bench`, by those of the walk there. A follower gets an
    `advice` by itself whenever a pass of a walk is done.
    """

    reed: str = ""
    """Empty: the one at `bench`."""
    bench: str = ""
    uncertainty: float | None = None
    """The standard uncertainty of one value in hundredths, null for the usual one."""


class NoteStrokes(Request, frozen=True, kw_only=True, tag="note-strokes"):
    """Note strokes over each place of a zone; answered with a `stroke-advice`."""

    reed: str
    zone: str
    count: int
    blade: Literal["", "crossed", "uncrossed"] = ""
    """Empty: on both."""
    side: Literal["", "left", "middle", "right"] = ""
    """Empty: on all."""
    correct: bool = False
    """In place of the newest entry; a count of 0 takes that back."""


class Strokes(Request, frozen=True, kw_only=True, tag="strokes"):
    """What a stroke takes off and how many are needed; answered with a `stroke-advice`."""

    reed: str
    zone: str = ""
    """Empty: every zone of the present stage."""


class NoteLength(Request, frozen=True, kw_only=True, tag="note-length"):
    """Note a reed's length in millimetres; answered with a `clip-plan`."""

    reed: str
    length: Decimal
    how: Literal["typed", "gauge"] = "typed"
    correct: bool = False


class NoteCrow(Request, frozen=True, kw_only=True, tag="note-crow"):
    """Note a crow, as a note with cents or in hertz; answered with a `clip-plan`."""

    reed: str
    pitch: str = ""
    """As a maker writes it: `C5 -15` or `518.7 Hz`; used when `hertz` is null."""
    hertz: float | None = None
    tuning: float | None = None
    """Hertz of A4 that the note was read by; null: that of the style."""
    source: Literal["typed", "wav"] = "typed"
    correct: bool = False


class PlanClip(Request, frozen=True, kw_only=True, tag="plan-clip"):
    """The next clip of a reed; answered with a `clip-plan`."""

    reed: str


class NoteTest(Request, frozen=True, kw_only=True, tag="note-test"):
    """Note how a reed played on a day; answered with a list of `playing-test`, oldest first."""

    reed: str
    day: str
    """Of the maker's calendar, such as 2031-05-04."""
    grades: dict[str, int] = msgspec.field(default_factory=dict)
    """Aspect to grade, 1 to 5; what was not tested is left out."""
    note: str = ""
    correct: bool = False


class Tests(Request, frozen=True, kw_only=True, tag="tests"):
    """How a reed played; answered with a list of `playing-test`, oldest first."""

    reed: str


class Changes(Request, frozen=True, kw_only=True, tag="changes"):
    """A reed's states, stages and notes; answered with a list of `reed-change`, oldest first."""

    reed: str


class Agenda(Request, frozen=True, kw_only=True, tag="agenda"):
    """The reeds with what comes next; answered with a list of `rack-entry`."""

    all: bool = False
    """With those handed over or set aside."""


class Overnight(Request, frozen=True, kw_only=True, tag="overnight"):
    """What moved on a reed since its last sitting; answered with a `moved`."""

    reed: str
    uncertainty: float | None = None


# Events and answers


class Compared(msgspec.Struct, frozen=True):
    """One part of a reed against its mirror; in hundredths."""

    one: Part
    other: Part
    zone: str
    """Empty for all zones of the stage together."""
    hundredths: float
    """The mean of one minus other."""
    uncertainty: float
    """Its standard uncertainty."""
    pairs: int
    word: BalanceWord
    text: str


class SpineSeen(msgspec.Struct, frozen=True):
    """Where the top of the spine lies at one height."""

    station: Station
    word: Literal["middle", "leans left", "leans right", "can't tell"]
    across: float | None
    """From -1 (left edge) to 1; null when there is no ridge to see."""
    uncertainty: float | None
    text: str


class Advice(Message, frozen=True, tag="advice"):
    """What remains on a reed at a stage, and in which order to take it."""

    bench: str
    """Where the pass was done; empty when it was asked for by the reed's name."""
    reed: str
    style: str
    stage: str
    title: str
    uncertainty: float
    """The standard uncertainty that one value was taken to have, in hundredths."""
    trusted: str
    """Where that comes from."""
    lines: list[str]
    """What to take, a step a line, and what is not measured; whose judgement counts last."""
    steps: list[Step]
    stations: list[StationAdvice]
    zones: list[ZoneAdvice]
    over: list[Proposal]
    """What the style says where a mirrored place is already over."""
    sides: list[Compared]
    """Left against right on each blade, zone by zone."""
    blades: list[Compared]
    """Blade against blade, zone by zone."""
    quadrants: list[Compared]
    whole: list[Compared]
    spines: list[SpineSeen]


class Needed(msgspec.Struct, frozen=True):
    """Strokes that a place still needs."""

    station: Station
    zone: str
    likely: int | None
    """Null when it must be measured first, or when the passes show no removal."""
    safe: int
    """Measure after these."""
    low: int | None
    high: int | None
    since: int
    """Strokes over it since it was measured; when there are any, measure first."""
    text: str


class StrokeRate(msgspec.Struct, frozen=True):
    """What a stroke takes off in a zone; hundredths."""

    zone: str
    per_stroke: float
    uncertainty: float
    passes: int
    text: str


class StrokeAdvice(Message, frozen=True, tag="stroke-advice"):
    """Strokes: what one takes off, how many are needed, and how the knife fares."""

    reed: str
    noted: str
    """What was noted, in words; empty when nothing was."""
    rates: list[StrokeRate]
    needed: list[Needed]
    knife: str
    """A hint, in words; empty when there is nothing to say."""


class ClipPlan(Message, frozen=True, tag="clip-plan"):
    """A reed's length and crow, and the next clip."""

    reed: str
    noted: str
    """What was noted, in words; empty when nothing was."""
    length: Decimal | None
    """Millimetres that it has now, as far as noted."""
    crow: str
    """The newest crow in words; empty before the first."""
    cents: Decimal | None
    """Of that crow from the goal; flat is negative."""
    hertz: float | None
    why: str
    """`clip`, `on goal`, `again`, `sharp`, `shortest`, `risk`; `crow it` or `length` when one is
    wanting."""
    step: Decimal | None
    """Millimetres to clip."""
    expected: float | None
    """Cents from the goal that are expected then."""
    spread: float | None
    """The standard deviation of that."""
    text: str


class PlayingTest(Message, frozen=True, tag="playing-test"):
    """How a reed played on a day."""

    reed: str
    day: str
    grades: dict[str, int]
    mean: Decimal | None
    note: str
    text: str
    at: str
    """When it was noted; UTC."""


class ReedChange(Message, frozen=True, tag="reed-change"):
    """How a reed stood after something about it had changed."""

    state: str
    stage: str
    note: str
    at: str
    """UTC."""


class RackEntry(ReedRecord, frozen=True, tag="rack-entry"):
    """A reed on the rack with what comes next."""

    since: str = ""
    """When it came into its state; UTC."""
    next: str = ""
    """What to do, in words."""
    next_stage: str = ""
    due: str = ""
    """UTC; empty when nothing is waited for."""
    waits: bool = False
    """That is still to come."""


class MovedPlace(msgspec.Struct, frozen=True):
    """How one place changed; hundredths."""

    station: Station
    zone: str
    hundredths: float | None
    """Null when it was not compared."""
    uncertainty: float | None
    word: Literal["thicker", "thinner", "can't tell", "not compared"]
    text: str


class Moved(Message, frozen=True, tag="moved"):
    """What moved on a reed between its last two sittings, wet against wet only."""

    reed: str
    before: str
    """When the earlier sitting was measured last; UTC."""
    after: str
    """When the later one was measured first; UTC."""
    uncertainty: float
    """The standard uncertainty that one value was taken to have, in hundredths."""
    trusted: str
    """Where that comes from."""
    places: list[MovedPlace]


CraftRequest = (
    Advise
    | NoteStrokes
    | Strokes
    | NoteLength
    | NoteCrow
    | PlanClip
    | NoteTest
    | Tests
    | Changes
    | Agenda
    | Overnight
)
CraftAnswer = Advice | StrokeAdvice | ClipPlan | PlayingTest | ReedChange | RackEntry | Moved
