"""A simulated maker's timing: when the hand moves and when the foot presses, from a seed."""

from __future__ import annotations

import random

import msgspec

from gaugelink.craft.reed import Station

TOO_EARLY = 0.03
"""The share of presses that come before the reading can stand still."""

DOUBLE = 0.03
"""The share of presses that the foot makes twice."""

STANDS = 0.85
"""Seconds after the touch at which the maker sees the reading stand still."""


class Placing(msgspec.Struct, frozen=True):
    """How exactly a hand finds a place: standard deviations."""

    along: float = 0.0
    """Millimetres along the blade. A hand is 0.5 off at times (from memory)."""
    across: float = 0.0
    """Across, as a share of the half width; assumed."""

    def found(self, station: Station, rng: random.Random) -> Station:
        """Where the hand comes down when it means `station`; on its own side, as is seen."""
        height = station.height + rng.gauss(0, self.along)
        across = station.across + rng.gauss(0, self.across)
        low, high = {"left": (-1.0, -0.05), "middle": (-0.05, 0.05), "right": (0.05, 1.0)}[
            station.side
        ]
        return Station(station.blade, height, min(max(across, low), high))


EXACT = Placing()


class Timing(msgspec.Struct, frozen=True):
    """One visit to a station; seconds."""

    think: float
    """With the spindle lifted: look, find the place, turn the reed."""
    press: float
    """From the touch to the press."""
    again: float | None = None
    """From the press to a second one that the foot did not mean, None for a single press."""


class Maker:
    """Draws the timing of each visit and each further press; the same seed, the same maker."""

    def __init__(self, seed: int) -> None:
        self._seed = seed

    def visit(self, number: int) -> Timing:
        """The timing of the visit of that number."""
        rng = random.Random(f"{self._seed}/visit/{number}")
        think = rng.uniform(0.35, 0.7)
        press = STANDS + rng.uniform(0.18, 0.45)
        slip = rng.random()
        if slip < TOO_EARLY:
            press = rng.uniform(0.05, 0.2)
        again = rng.uniform(0.15, 0.3) if TOO_EARLY <= slip < TOO_EARLY + DOUBLE else None
        return Timing(think, press, again)

    def press_again(self, number: int) -> float:
        """Seconds from hearing of a refusal to pressing once more."""
        return random.Random(f"{self._seed}/again/{number}").uniform(0.7, 1.1)
