"""A knife that takes cane off stroke by stroke, and grows dull on the way."""

from __future__ import annotations

import random

import msgspec

PER_STROKE = 0.6
"""Hundredths that a stroke of a sharp knife takes off; each takes a third more or less. Assumed."""

HALF_DULL = 400.0
"""Strokes at the usual pressure after which a stroke takes half of what it did; assumed."""

LIGHTEST, HEAVIEST = 0.1, 3.0
"""The pressures a hand scrapes with, as multiples of the usual one; assumed."""


class Edge(msgspec.Struct, frozen=True):
    """How a knife cuts before its first stroke."""

    per_stroke: float = PER_STROKE
    """Hundredths."""
    half_dull: float = HALF_DULL
    """Strokes."""
    worn: float = 0.0
    """Strokes that it has done already."""


class Knife:
    """Wears with every stroke until it is sharpened; the same seed, the same strokes.

    What a stroke takes off grows in proportion to the pressure and falls with the wear, and the
    wear grows in proportion to the pressure: as in Archard's law (1953, from memory).
    """

    def __init__(self, seed: int, edge: Edge | None = None) -> None:
        self._edge = edge or Edge()
        self._rng = random.Random(f"{seed}/knife")
        self._worn = self._edge.worn

    @property
    def sharpness(self) -> float:
        """What a stroke takes off, as a share of what it took with the knife sharp."""
        return float(0.5 ** (self._worn / self._edge.half_dull))

    def sharpen(self) -> None:
        """Make it as sharp as it can be."""
        self._worn = 0.0

    def strokes(self, count: int, pressure: float = 1.0) -> float:
        """The hundredths that so many strokes take off where they cut deepest."""
        depth = 0.0
        for _ in range(count):
            each = self._edge.per_stroke * self._rng.uniform(2 / 3, 4 / 3)
            depth += each * pressure * self.sharpness
            self._worn += pressure
        return depth
