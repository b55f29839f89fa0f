"""Cues: what there is to tell a maker whose eyes are on the cane, as plain values.

A cue says what happened and nothing of how it sounds. `phrases` puts it in words, `tones` in notes,
`queue` decides what is still worth saying, and `speaker` lets it be heard.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Literal, get_args

import msgspec

from gaugelink.craft.reed import Station
from gaugelink.craft.verdict import LEAVE, Verdict
from gaugelink.reading import GaugelinkError

Kind = Literal["take", "leave", "over", "refused", "zone", "next", "lost", "back", "soak"]
"""A capture is heard by its verdict, so each verdict is a kind of its own."""

KINDS: tuple[Kind, ...] = get_args(Kind)


class CueError(GaugelinkError):
    """Settings of cues that cannot be used, or an output that cannot be heard."""


class Captured(msgspec.Struct, frozen=True):
    """A capture that is on disk."""

    station: Station
    zone: str
    """The zone's title."""
    hundredths: Decimal
    verdict: Verdict

    @property
    def kind(self) -> Kind:
        return self.verdict.word

    @property
    def about(self) -> str:
        return self.station.key


class Refused(msgspec.Struct, frozen=True):
    """A press that did nothing."""

    text: str
    """Why, and what to do, in a sentence."""
    capture: bool = True
    """It was meant to capture; False when it was to move the walk."""

    @property
    def kind(self) -> Kind:
        return "refused"

    @property
    def about(self) -> str:
        return "press"


class OnTarget(msgspec.Struct, frozen=True):
    """Every station of a zone is measured and is to be left."""

    zone: str
    """The zone's title."""

    @property
    def kind(self) -> Kind:
        return "zone"

    @property
    def about(self) -> str:
        return f"zone {self.zone}"


class ZoneOver(msgspec.Struct, frozen=True):
    """A zone that is watched lies below its target already."""

    zone: str
    """The zone's title."""
    verdict: Verdict

    @property
    def kind(self) -> Kind:
        return "over"

    @property
    def about(self) -> str:
        return f"zone {self.zone}"


class NextStation(msgspec.Struct, frozen=True):
    """Where the spindle goes now."""

    station: Station
    zone: str
    """The zone's title."""

    @property
    def kind(self) -> Kind:
        return "next"

    @property
    def about(self) -> str:
        return "next"


class LinkLost(msgspec.Struct, frozen=True):
    """A gauge is heard no more."""

    gauge: str

    @property
    def kind(self) -> Kind:
        return "lost"

    @property
    def about(self) -> str:
        return f"link {self.gauge}"


class LinkBack(msgspec.Struct, frozen=True):
    """A gauge that was lost is heard again."""

    gauge: str

    @property
    def kind(self) -> Kind:
        return "back"

    @property
    def about(self) -> str:
        return f"link {self.gauge}"


class SoakReminder(msgspec.Struct, frozen=True):
    """A reed has been out of the water for so long that its thickness no longer compares."""

    reed: str
    minutes: int
    """Whole minutes since it was last soaked."""

    @property
    def kind(self) -> Kind:
        return "soak"

    @property
    def about(self) -> str:
        return f"soak {self.reed}"


Cue = Captured | Refused | OnTarget | ZoneOver | NextStation | LinkLost | LinkBack | SoakReminder
"""`kind` picks how it sounds; of two cues with the same `about` only the newer is still true."""


def _example(hundredths: int, verdict: Verdict) -> Captured:
    return Captured(Station("crossed", 53, -0.5), "windows", Decimal(hundredths), verdict)


EXAMPLES: dict[Kind, Cue] = {
    "take": _example(43, Verdict("take", 3)),
    "leave": _example(40, LEAVE),
    "over": _example(38, Verdict("over", 2)),
    "refused": Refused("not settled yet: hold still and press again"),
    "zone": OnTarget("windows"),
    "next": NextStation(Station("crossed", 56, -0.5), "windows"),
    "lost": LinkLost("gauge"),
    "back": LinkBack("gauge"),
    "soak": SoakReminder("R07", 20),
}
"""One of each, invented: to try them, and to know what fields a wording has."""
