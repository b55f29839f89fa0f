"""What cane does besides being cut: how blanks differ, water, nights, and a spindle that presses.

Where a number was published, or is known from memory only, it says so; the others are assumed.
"""

from __future__ import annotations

import math

import msgspec


class Cane(msgspec.Struct, frozen=True):
    """How the blades of a blank differ; hundredths but for `tying`."""

    excess: tuple[float, float] = (3.5, 7.5)
    """Above the target, at which a zone of a blade begins; assumed. The rest comes on top."""
    uneven: float = 0.4
    """The height of each of two ripples along and across a blade; assumed."""
    tilt: float = 0.7
    """How much thicker one edge may be than the spine, and the other thinner; assumed."""
    gouge: float = 0.0
    """How much the gouge may change from one end of a blade to the other, both being of one piece.
    A piece with more than 2 is put aside (from memory)."""
    tying: float = 0.0
    """Millimetres by which a blade may lie beside the middle once it is tied; assumed."""


SORTED = Cane()
"""What is left once the crooked and uneven have been put aside."""

UNSORTED = Cane(excess=(2.5, 9.0), uneven=0.6, tilt=1.2, gouge=2.0, tying=0.3)
"""Blanks as they come. All assumed, but for the gouge."""


SWELLING = 0.05
"""The share of the dry thickness that a blade gains when it is soaked through: 3 to 8 %, 5 by
default (from memory, low confidence)."""

SOAKING = 78.0
"""Seconds in the water in which what is still dry falls to a third: 90 % wet in the 3 minutes for
which reeds are soaked. Assumed."""

DRYING = 5700.0
"""Seconds out of the water in which it dries to a third: a tenth is lost in the 10 minutes after
which a reed no longer counts as wet. Assumed."""


class Water(msgspec.Struct, frozen=True):
    """How wet a blade is: 0 dry, 1 soaked through."""

    moisture: float = 1.0

    def soaked(self, seconds: float) -> Water:
        """After that long in the water."""
        return Water(1 - (1 - self.moisture) * math.exp(-seconds / SOAKING))

    def dried(self, seconds: float) -> Water:
        """After that long out of it."""
        return Water(self.moisture * math.exp(-seconds / DRYING))

    @property
    def swelling(self) -> float:
        """The thickness as a share of that of a blade soaked through."""
        return (1 + SWELLING * self.moisture) / (1 + SWELLING)


GROWTH = (0.005, 0.02)
"""The share by which a blade has grown thicker for good after its first night. That it does is
published (Akahoshi and Obataya, abstract); a gouged piece gains 1 to 4 hundredths (from memory);
the amount of a blade is assumed, and so is that each further night adds half as much."""

RESTING = 0.4
"""Hundredths by which each quadrant may move either way in a night besides; assumed."""


USUAL_FORCE = 0.4
"""Newtons of the spindle for which the thicknesses hold: the gentle end of the 0.4 to 1.5 N of
common plunger indicators (from memory)."""

GIVES_DRY, GIVES_WET = 1.3, 2.6
"""Hundredths that cane gives way under 1 N on a ball of 1.5 mm: Hertz's estimate with moduli that
are assumed (own arithmetic). An order of magnitude."""


def gives_way(force: float, moisture: float) -> float:
    """Hundredths that cane gives way under a spindle of `force` newtons.

    Hertz's law of a ball on a flat: as the force to the power of two thirds (from memory).
    """
    return (GIVES_DRY + (GIVES_WET - GIVES_DRY) * moisture) * math.pow(force, 2 / 3)


def pressed(thickness: float, force: float, moisture: float) -> float:
    """What a calm spindle of that force shows on cane of `thickness` hundredths.

    The thickness is what the usual spindle shows on wet cane, as targets are: a heavier one shows
    less, and dry cane gives way less. Never below 0.
    """
    return max(0.0, thickness + gives_way(USUAL_FORCE, 1.0) - gives_way(force, moisture))
