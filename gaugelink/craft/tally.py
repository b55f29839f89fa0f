"""From strokes that were counted and captures before and after them to what a pass took off.

The stations of a zone on one side of one blade are scraped in one go: of the strokes between two
measurements of theirs the removal is the mean over the stations. Whatever was taken over a night,
or measured wet before and dry after, is no pass, since the cane itself moves.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Literal

import msgspec

from gaugelink.craft.reed import Blade, Station
from gaugelink.craft.soaking import Wetness
from gaugelink.craft.strokes import Pass

SITTING = timedelta(hours=4)
"""What lies farther apart belongs to another sitting. An assumption, no source."""


class Counted(msgspec.Struct, frozen=True):
    """Strokes that were counted over each place of a zone."""

    entry: int
    zone: str
    blade: str
    """Empty: on both."""
    side: str
    """Empty: on all."""
    count: int
    after: int
    """The number of the newest capture before them."""

    def covers(self, zone: str, station: Station) -> bool:
        """Whether a station was under the knife."""
        return (
            self.zone == zone
            and self.blade in ("", station.blade)
            and self.side in ("", station.side)
        )


class Capture(msgspec.Struct, frozen=True):
    """A capture that stands."""

    number: int
    station: Station
    zone: str
    hundredths: float
    at: datetime
    state: Wetness = "unknown"


class Told(msgspec.Struct, frozen=True):
    """A pass, and when it was known what it had taken off."""

    made: Pass
    number: int
    """The newest of the captures that ended it."""
    at: datetime


_Scraped = tuple[str, Blade, Literal["left", "middle", "right"], tuple[int, ...]]
"""A zone on one side of one blade, and the entries of the strokes over it."""


def passes(captures: Sequence[Capture], counted: Sequence[Counted]) -> tuple[Told, ...]:
    """The passes of one reed, in the order in which they were measured.

    `captures` are in their order, without those that a retake has superseded.
    """
    places: dict[tuple[str, Station], list[Capture]] = {}
    for each in captures:
        places.setdefault((each.zone, each.station), []).append(each)
    found: dict[_Scraped, list[tuple[float, Capture]]] = {}
    for (zone, station), values in places.items():
        for before, after in pairwise(values):
            between = tuple(
                each.entry
                for each in counted
                if before.number <= each.after < after.number and each.covers(zone, station)
            )
            if between and _comparable(before, after):
                key = (zone, station.blade, station.side, between)
                found.setdefault(key, []).append((before.hundredths - after.hundredths, after))
    count = {each.entry: each.count for each in counted}
    told = []
    for (zone, _, _, between), members in found.items():
        removed = math.fsum(each for each, _ in members) / len(members)
        newest = max((each for _, each in members), key=lambda each: each.number)
        strokes = sum(count[entry] for entry in between)
        told.append(Told(Pass(zone, strokes, removed), newest.number, newest.at))
    return tuple(sorted(told, key=lambda each: each.number))


def since(captures: Sequence[Capture], counted: Sequence[Counted]) -> dict[str, int]:
    """Strokes over each measured station since its newest capture, by station key."""
    newest = {each.station.key: each for each in captures}
    return {
        key: sum(
            strokes.count
            for strokes in counted
            if strokes.after >= each.number and strokes.covers(each.zone, each.station)
        )
        for key, each in newest.items()
    }


def _comparable(before: Capture, after: Capture) -> bool:
    alike = before.state == after.state or "unknown" in (before.state, after.state)
    return alike and abs(after.at - before.at) <= SITTING
