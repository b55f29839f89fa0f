"""Places on a reed.

A reed has two blades. The one whose side the thread crosses on is the crossed side, the other the
uncrossed. A station is a place on one blade: its height in millimetres from the bottom of the
tube, and its place across, from -1 at the left edge over 0 on the spine to +1 at the right edge,
seen from the bark of that blade with the tip up.
"""

from __future__ import annotations

import math
from typing import Literal, get_args

import msgspec

Blade = Literal["crossed", "uncrossed"]
BLADES: tuple[Blade, ...] = get_args(Blade)


def other_blade(blade: Blade) -> Blade:
    """The blade on the other side of the reed."""
    return "uncrossed" if blade == "crossed" else "crossed"


class Station(msgspec.Struct, frozen=True, order=True, forbid_unknown_fields=True):
    """A place on a blade where thickness is measured."""

    blade: Blade
    height: float
    """Millimetres from the bottom of the tube."""
    across: float = 0.0
    """-1 left edge, 0 spine, +1 right edge, seen from the bark, tip up."""

    @property
    def key(self) -> str:
        """A short text that names the station: `crossed/53/-0.5`."""
        across = _shortest(self.across)
        sign = "" if across.startswith("-") else "+"
        return f"{self.blade}/{_shortest(self.height)}/{sign}{across}"

    @property
    def side(self) -> Literal["left", "middle", "right"]:
        """Which side of the blade it lies on."""
        if abs(self.across) < 0.05:
            return "middle"
        return "left" if self.across < 0 else "right"

    @property
    def spoken(self) -> str:
        """The place in words, as one says it at the bench: `crossed, left, 53`."""
        return f"{self.blade}, {self.side}, {self.height:g}"

    def mirrored(self) -> Station:
        """The station at the other side of the spine on the same blade; itself on the spine."""
        return Station(self.blade, self.height, -self.across if self.across else 0.0)

    def opposite(self) -> Station:
        """The station that lies over it on the other blade.

        Both blades are seen from their own bark, so the left of one lies over the right of the
        other.
        """
        return Station(other_blade(self.blade), self.height, -self.across if self.across else 0.0)


def parse_key(key: str) -> Station:
    """The station that a key names; ValueError when it names none."""
    parts = key.split("/")
    if len(parts) != 3:
        raise ValueError(f"{key!r} is not a station; write it as crossed/53/-0.5")
    blade, height, across = parts[0], float(parts[1]), float(parts[2])
    if blade not in BLADES:
        raise ValueError(f"{blade!r} is not a blade; use crossed or uncrossed")
    if not (math.isfinite(height) and math.isfinite(across)):
        raise ValueError(f"{key!r} is not a station; its numbers must be finite")
    return Station(blade, height, across or 0.0)


def _shortest(number: float) -> str:
    """The fewest digits that name this number and no other; a zero has no sign."""
    return repr(float(number) or 0.0).removesuffix(".0")
