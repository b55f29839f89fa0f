"""Balance: left against right on a blade, and blade against blade.

Only a place and its mirror are compared: the other side of the spine, what lies over it on the
other blade, and what lies across from it there. So a middle or a spine that is thicker by design is
no fault. A fault of the indicator's zero is in both places and falls out of their difference.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from itertools import combinations
from typing import Literal

import msgspec

from gaugelink.craft.measured import COVERAGE, Measured, told, trusted
from gaugelink.craft.reed import BLADES, Blade, Station
from gaugelink.craft.rules import Balancing
from gaugelink.craft.style import Stop

Word = Literal["alike", "thicker", "thinner", "can't tell"]
Part = tuple[Blade, Literal["left", "right", "whole"]]
"""A quadrant, or a whole blade."""

QUADRANTS: tuple[Part, ...] = tuple((blade, side) for blade in BLADES for side in ("left", "right"))
WHOLE: tuple[Part, Part] = (BLADES[0], "whole"), (BLADES[1], "whole")


class Difference(msgspec.Struct, frozen=True):
    """One part against another, by their mirrored places."""

    one: Part
    other: Part
    zone: str
    """Empty for all zones of the stage together."""
    hundredths: float
    """The mean of one minus other, place by place."""
    uncertainty: float
    """Its standard uncertainty, in hundredths."""
    pairs: int
    """The pairs of places that were measured."""
    word: Word
    """What the first is against the other."""

    @property
    def text(self) -> str:
        """In words, such as `windows: crossed left is thicker than crossed right by 3`."""
        where = f"{self.zone}: " if self.zone else ""
        one, other = _name(self.one), _name(self.other)
        by = f"{abs(self.hundredths):.1f} ± {COVERAGE * self.uncertainty:.1f}"
        if self.word == "alike":
            return f"{where}{one} and {other} are alike ({by})"
        if self.word == "can't tell":
            return f"{where}can't tell {one} from {other} ({by})"
        return f"{where}{one} is {self.word} than {other} by {by}"


class Balance(msgspec.Struct, frozen=True):
    """Every comparison that the measured places allow."""

    sides: tuple[Difference, ...]
    """Left against right on each blade, zone by zone."""
    blades: tuple[Difference, ...]
    """Blade against blade, zone by zone."""
    quadrants: tuple[Difference, ...]
    """Each quadrant against each other, over all zones."""
    whole: tuple[Difference, ...]
    """The crossed blade against the uncrossed, over all zones."""


def balance(
    stops: Sequence[Stop], taken: Mapping[str, Measured], uncertainty: float, rule: Balancing
) -> Balance:
    """How the quadrants stand against each other.

    `taken` has the newest value by station key, `uncertainty` is the standard uncertainty of one in
    hundredths. A difference of two has the root of the sum of their squares, the mean of n such
    differences 1/n of the root of the sum of theirs (JCGM 100:2008, 5.1.2). Within twice that it
    cannot be told, unless all that it may be is small enough to need nothing.
    """
    compare = _Comparing(stops, taken, uncertainty, rule)
    zones = list(dict.fromkeys(stop.zone for stop in stops))
    sides = [compare((blade, "left"), (blade, "right"), zone) for zone in zones for blade in BLADES]
    blades = [compare(*WHOLE, zone) for zone in zones]
    quadrants = [compare(one, other, "") for one, other in combinations(QUADRANTS, 2)]
    return Balance(_found(sides), _found(blades), _found(quadrants), _found([compare(*WHOLE, "")]))


def partner(one: Part, other: Part) -> Callable[[Station], Station]:
    """What turns a place of one part into the mirrored place of the other.

    The two blades are seen from their own bark: what lies over the left of one is the right of the
    other. So do whole blades compare; the two lefts lie across from each other.
    """
    if one[0] == other[0]:
        return Station.mirrored
    if one[1] == other[1] != "whole":
        return lambda station: station.opposite().mirrored()
    return Station.opposite


def difference_word(hundredths: float, uncertainty: float, rule: Balancing) -> Word:
    """What a difference amounts to: it needs nothing, it cannot be told, or it is there."""
    small = float(rule.within)
    if told(hundredths, uncertainty):
        if abs(hundredths) <= small:
            return "alike"
        return "thicker" if hundredths > 0 else "thinner"
    return "alike" if abs(hundredths) + COVERAGE * uncertainty <= small else "can't tell"


class _Comparing:
    """Compares parts of one reed."""

    def __init__(
        self,
        stops: Sequence[Stop],
        taken: Mapping[str, Measured],
        uncertainty: float,
        rule: Balancing,
    ) -> None:
        self._stops = {stop.station.key: stop for stop in stops if stop.station.key in taken}
        self._taken = taken
        self._uncertainty = uncertainty
        self._rule = rule

    def __call__(self, one: Part, other: Part, zone: str) -> Difference | None:
        mirror = partner(one, other)
        differences = []
        variance = 0.0
        for stop in self._stops.values():
            if not (_in(stop.station, one) and zone in ("", stop.zone)):
                continue
            across = self._stops.get(mirror(stop.station).key)
            # Where the style wants the two to differ, their difference is no fault.
            if across is None or (across.zone, across.target) != (stop.zone, stop.target):
                continue
            first, second = (self._taken[each.station.key] for each in (stop, across))
            differences.append(float(first.hundredths - second.hundredths))
            variance += sum(trusted(each, self._uncertainty) ** 2 for each in (first, second))
        if not differences:
            return None
        count = len(differences)
        mean, spread = math.fsum(differences) / count, math.sqrt(variance) / count
        word = difference_word(mean, spread, self._rule)
        return Difference(one, other, zone, mean, spread, count, word)


def _in(station: Station, part: Part) -> bool:
    return station.blade == part[0] and part[1] in ("whole", station.side)


def _found(differences: Sequence[Difference | None]) -> tuple[Difference, ...]:
    return tuple(each for each in differences if each is not None)


def _name(part: Part) -> str:
    return f"{part[0]} blade" if part[1] == "whole" else f"{part[0]} {part[1]}"
