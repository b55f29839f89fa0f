"""The simulated indicator's spindle: what it shows at each sample, and nothing of the clock.

The value depends only on the seed, on how many commands came before, and on the number of samples
since the last one. A run therefore repeats itself however late its samples are sent.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import msgspec

from simulators.approach import CALM, Hand, draw, draw_swing


class Spindle:
    """Lifted at first; `tick` moves it on by one sample."""

    def __init__(self, seed: int, rate: float, hand: Hand = CALM) -> None:
        self._seed = seed
        self._rate = rate
        self._hand = hand
        self._motions = 0
        self._sample = 0
        self._touches: int | None = None
        self._thickness: float | None = None
        swing = draw_swing(self._next_motion())
        self._motion: Callable[[float], float] = swing.at

    def _next_motion(self) -> random.Random:
        """Begin a motion: its own chance, and its samples counted from 0."""
        self._motions += 1
        self._sample = 0
        return random.Random(f"{self._seed}/motion/{self._motions}")

    @property
    def lifted(self) -> bool:
        """Whether it has been told to be lifted."""
        return self._thickness is None

    @property
    def touches(self) -> int | None:
        """The sample, counted from the last command, that first shows contact; None if lifted."""
        return self._touches

    @property
    def value(self) -> float:
        """What the indicator shows now, hundredths."""
        return self._motion(self._sample / self._rate)

    def place(self, thickness: float, softness: float = 1.0) -> None:
        """Come down, from lifted, on a place of `thickness` hundredths, and stay.

        `softness` is 1 on wet cane, which goes on giving way, and 0 on dry.
        """
        approach = draw(self._hand, thickness, self._next_motion())
        approach = msgspec.structs.replace(approach, creep=softness * approach.creep)
        self._thickness = thickness
        self._touches = math.ceil(approach.touches * self._rate)
        self._motion = approach.at

    def lift(self) -> None:
        """Rise, and drift; nothing new when it is lifted already."""
        if self._thickness is None:
            return
        start = self._thickness
        swing = draw_swing(self._next_motion())
        self._thickness = None
        self._touches = None
        self._motion = lambda seconds: swing.rising(seconds, start)

    def tick(self) -> float:
        """Move on by one sample and show its value."""
        self._sample += 1
        return self.value
