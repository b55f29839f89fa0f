"""A simulated foot on a switch: when it goes down and up, and how the contact bounces meanwhile.

The bounces of a switch were measured by J. Ganssle, "A Guide to Debouncing" (2004): most below
10 ms, from memory. A bare foot switch on a serial line has nothing that smooths them.
"""

from __future__ import annotations

import random
import struct
from collections.abc import Iterable

import msgspec

TAP = (0.08, 0.25)
"""Seconds that a foot keeps a pedal down for a short press; assumed."""

BOUNCE = 0.012
"""Seconds, at the most, between two edges of a contact that bounces."""

MOST_BOUNCES = 3

EV_SYN, EV_KEY, SYN_REPORT = 0, 1, 0
"""Of the kernel's input-event-codes.h."""


class Edge(msgspec.Struct, frozen=True):
    """The contact closes or opens."""

    at: float
    """Seconds."""
    is_down: bool


class Foot:
    """Presses pedals; the same seed, the same foot."""

    def __init__(self, seed: object) -> None:
        self._rng = random.Random(f"{seed}/foot")

    def press(self, at: float, held: float | None = None) -> list[Edge]:
        """One press that begins at `at` seconds, for `held` seconds, or as long as a tap takes."""
        up = at + (self._rng.uniform(*TAP) if held is None else held)
        return [*self._bouncing(at, True), *self._bouncing(up, False)]

    def _bouncing(self, at: float, is_down: bool) -> list[Edge]:
        edges = [Edge(at, is_down)]
        for _ in range(2 * self._rng.randint(0, MOST_BOUNCES)):
            at += self._rng.uniform(0.0005, BOUNCE)
            edges.append(Edge(at, not edges[-1].is_down))
        return edges


def input_events(edges: Iterable[Edge], key: int) -> bytes:
    """The edges as the kernel reports a key: `struct input_event`, of input.h, one report each."""
    data = b""
    for edge in edges:
        seconds, microseconds = divmod(round(edge.at * 1_000_000), 1_000_000)
        for kind, code, value in ((EV_KEY, key, int(edge.is_down)), (EV_SYN, SYN_REPORT, 0)):
            data += struct.pack("@llHHi", seconds, microseconds, kind, code, value)
    return data
