"""What moved overnight: yesterday's values against today's, place by place, wet against wet only.

Cane swells as it soaks and gives way as it rests, so a wet value and a dry one say nothing about
each other. Wetted again and again a blade grows thicker for good (Akahoshi and Obataya, published
abstract): thicker by a little without any fault is nothing strange.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Literal

import msgspec

from gaugelink.craft.measured import COVERAGE, told, trusted
from gaugelink.craft.reed import Station
from gaugelink.craft.soaking import Wetness
from gaugelink.craft.style import Stop


class Condition(msgspec.Struct, frozen=True):
    """A value, and whether the blade was wet."""

    hundredths: Decimal
    resolution: Decimal
    state: Wetness = "unknown"


class Moved(msgspec.Struct, frozen=True):
    """How one place changed."""

    station: Station
    zone: str
    hundredths: float
    """Today's value minus yesterday's."""
    uncertainty: float
    """Its standard uncertainty."""
    word: Literal["thicker", "thinner", "can't tell"]

    @property
    def text(self) -> str:
        """In words."""
        by = f"{abs(self.hundredths):.1f} ± {COVERAGE * self.uncertainty:.1f}"
        if self.word == "can't tell":
            return f"{self.station.spoken}: can't tell, it moved {by}"
        return f"{self.station.spoken}: {self.word} by {by}"


class NotCompared(msgspec.Struct, frozen=True):
    """A place that says nothing, and why."""

    station: Station
    zone: str
    why: str


class Overnight(msgspec.Struct, frozen=True):
    """The night, whole."""

    moved: tuple[Moved, ...]
    """Largest first, those that cannot be told last; ties in the order of the walk."""
    not_compared: tuple[NotCompared, ...]


def overnight(
    stops: Sequence[Stop],
    before: Mapping[str, Condition],
    after: Mapping[str, Condition],
    uncertainty: float,
) -> Overnight:
    """What moved at the stops that were measured on both days.

    `before` and `after` hold the last value of the one day and the first of the other, by station
    key; `uncertainty` is the standard uncertainty of one, in hundredths. A difference has the root
    of the sum of the squares (JCGM 100:2008, 5.1.2), and within twice that it cannot be told.
    """
    moved, silent = [], []
    for stop in stops:
        first, second = before.get(stop.station.key), after.get(stop.station.key)
        if first is None or second is None:
            day = "the first day" if first is None else "this day"
            silent.append(NotCompared(stop.station, stop.zone, f"not measured on {day}"))
        elif why := _unlike(first.state, second.state):
            silent.append(NotCompared(stop.station, stop.zone, why))
        else:
            by = float(second.hundredths - first.hundredths)
            spread = math.hypot(trusted(first, uncertainty), trusted(second, uncertainty))
            sure = told(by, spread)
            word: Literal["thicker", "thinner", "can't tell"] = "can't tell"
            if sure:
                word = "thicker" if by > 0 else "thinner"
            moved.append(Moved(stop.station, stop.zone, by, spread, word))
    moved.sort(key=lambda each: (each.word == "can't tell", -abs(each.hundredths)))
    return Overnight(tuple(moved), tuple(silent))


def _unlike(first: Wetness, second: Wetness) -> str:
    """Why two values cannot be compared; empty when they can."""
    if first == second == "wet":
        return ""
    if "unknown" in (first, second):
        days = " and ".join(
            day for day, state in (("then", first), ("now", second)) if state == "unknown"
        )
        return f"not known whether it was wet {days}; soak it, and say so"
    if first == second:
        return "dry on both days; soak it and measure it wet"
    return f"{first} then, {second} now; only wet is compared with wet"
