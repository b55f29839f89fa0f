"""Practice lessons as data: a reed in a stated state, an aim, and what counts towards it.

A lesson is a TOML file, and meant to be copied and edited like a style. What came of a run is told
by `scoring`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from importlib import resources
from typing import Literal

import msgspec

from gaugelink.craft.reed import Blade
from gaugelink.craft.style import LONGEST, Stop, Style
from gaugelink.reading import GaugelinkError
from gaugelink.shelf import Shelf

WHOLE = 100
"""The points of a lesson that went as well as it can."""

FARTHEST = 60.0
"""Hundredths from its target at which no place of a lesson begins."""


class LessonError(GaugelinkError):
    """A lesson file that cannot be used; the text names the file, the path and the fault."""


class Off(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A part of the reed that begins thicker than the rest, or thinner."""

    hundredths: float
    """Thicker by so much; negative for thinner."""
    blade: Blade
    side: Literal["left", "middle", "right", "whole"] = "whole"
    zone: str = ""
    """All zones of the stage when empty."""

    def covers(self, stop: Stop) -> bool:
        """Whether a stop lies in it."""
        station = stop.station
        return (
            station.blade == self.blade
            and self.side in ("whole", station.side)
            and self.zone in ("", stop.zone)
        )


class Start(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The state in which the reed begins."""

    excess: float
    """Hundredths above its target, of every place."""
    off: tuple[Off, ...] = ()
    """On top of that; where two cover a place, both count."""
    length: float | None = None
    """Millimetres from the bottom of the tube; the stage's when not given."""
    crow: float | None = None
    """Cents from the style's goal; the reed's own when not given."""


class Counts(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The points that each part is worth; they add up to 100."""

    target: int = 0
    """Places on their target."""
    balance: int = 0
    """Mirrored places that are alike."""
    cane: int = 0
    """Places from which no cane was lost that cannot be put back."""
    care: int = 0
    """Measuring before each go of strokes, crowing before each clip, no clip larger than the last.
    """
    crow: int = 0
    """The crow at its goal."""


class Lesson(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A lesson, whole."""

    name: str
    title: str
    aim: str
    """What is to be reached, in a sentence."""
    style: str
    stage: str
    start: Start
    counts: Counts
    note: str = ""

    @property
    def clips(self) -> bool:
        """Whether it is about the length, and not about the knife."""
        return self.counts.crow > 0


def check(lesson: Lesson, source: str) -> None:
    """Refuse what the types alone cannot: LessonError names the file, the path and the fault."""
    for path, said in _faults(lesson):
        raise LessonError(f"{source}: {path}: {said}")


def _faults(lesson: Lesson) -> Iterator[tuple[str, str]]:
    start, counts = lesson.start, lesson.counts
    numbers = [("start.excess", start.excess, -FARTHEST, FARTHEST)]
    numbers += [
        (f"start.off[{place}].hundredths", off.hundredths, -FARTHEST, FARTHEST)
        for place, off in enumerate(start.off)
    ]
    if start.length is not None:
        numbers.append(("start.length", start.length, 1, LONGEST))
    if start.crow is not None:
        numbers.append(("start.crow", start.crow, -400, 400))
    for path, value, low, high in numbers:
        if not (math.isfinite(value) and low <= value <= high):
            yield path, f"{value} must lie from {low:g} to {high:g}"
    parts = msgspec.structs.asdict(counts)
    for name, points in parts.items():
        if points < 0:
            yield f"counts.{name}", "points are 0 or more"
    if sum(parts.values()) != WHOLE:
        yield "counts", f"the points add up to {sum(parts.values())}; make it {WHOLE}"
    if counts.crow and (counts.target or counts.balance or counts.cane):
        yield (
            "counts.crow",
            "a lesson is about the crow or about the knife; give one of them points",
        )
    if counts.crow and start.crow is None:
        yield "start.crow", "is needed where the crow counts"


def fits(lesson: Lesson, style: Style) -> None:
    """Refuse a lesson whose stage, zones, mirrored places or length its style does not have.

    Raises StyleError for an unknown stage or zone, LessonError for the rest.
    """
    stage = style.stage(lesson.stage)
    stops = style.stops(stage.name)
    for off in lesson.start.off:
        if off.zone:
            style.zone(off.zone)
        if not any(off.covers(stop) for stop in stops):
            raise LessonError(
                f"lesson {lesson.name}: stage {stage.name} measures nothing in {off.blade}, "
                f"{off.side}{', ' + off.zone if off.zone else ''}"
            )
    keys = {stop.station.key for stop in stops}
    mirrors = {
        mirror.key
        for stop in stops
        for mirror in (stop.station.mirrored(), stop.station.opposite())
        if mirror.key != stop.station.key
    }
    if lesson.counts.balance and not mirrors & keys:
        raise LessonError(
            f"lesson {lesson.name}: stage {stage.name} measures no places that mirror each other; "
            "give counts.balance no points"
        )
    length, lengths = lesson.start.length, style.lengths
    if length is not None and not lengths.tip_line < length <= lengths.blank:
        raise LessonError(
            f"lesson {lesson.name}: a length of {length:g} mm is none of {style.name}, from "
            f"{lengths.tip_line:g} to {lengths.blank:g} mm"
        )
    if style.cane is not None and lesson.start.crow is not None:
        raise LessonError(f"lesson {lesson.name}: the gouged cane of {style.name} does not crow")


SHELF = Shelf(
    "lesson", Lesson, LessonError, check, lambda: [resources.files("gaugelink.craft") / "lessons"]
)
"""The shipped lessons."""

parse = SHELF.parse
lessons = SHELF.all
find = SHELF.find
