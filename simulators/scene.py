"""The maker's table: a reed, a spindle and a hand, moved on sample by sample. No clock, no I/O.

Until it is told anything, the spindle walks by itself through the stage's stops for ever: lifted,
down, held, lifted.
"""

from __future__ import annotations

import math
import random

import msgspec

from gaugelink.craft.lessons import Start
from gaugelink.craft.reed import Station
from gaugelink.craft.style import Style
from simulators.cane import USUAL_FORCE
from simulators.commands import CommandError, Press
from simulators.maker import EXACT, Maker, Placing
from simulators.reed import Reed
from simulators.spindle import Spindle

LIFTED_FOR = 0.7
"""Seconds between two stops of the walk by itself."""

HELD_FOR = 2.0
"""Seconds of contact at each of its stops: long enough to settle and then to dwell."""


class _Visit(msgspec.Struct):
    """A visit under way; samples are counted down."""

    station: Station
    think: int | None
    """Samples until the hand comes down, None once it has."""
    presses: list[int]
    """Samples, counted from the touch, at which the foot presses."""
    since_touch: int = 0


class Scene:
    """What the indicator stands on, and who moves it. Raises StyleError for an unknown stage."""

    def __init__(
        self,
        style: Style,
        stage: str,
        seed: int,
        rate: float,
        *,
        start: Start | None = None,
        placing: Placing = EXACT,
    ) -> None:
        """`start` is the state of a lesson; `placing` how exactly the maker finds a station, which
        whoever places the spindle themselves does exactly."""
        self.reed = Reed(style, stage, seed, start=start)
        self._placing = placing
        self._hand = random.Random(f"{seed}/hand")
        self._stops = [stop.station for stop in style.stops(stage)]
        self._rate = rate
        self._spindle = Spindle(seed, rate)
        self._maker = Maker(seed)
        self._by_itself = True
        self._stop = 0
        self._left = self._samples(LIFTED_FOR)
        self._visits = 0
        self._repeats = 0
        self._visit: _Visit | None = None
        self._stuck = 0
        self.value = self._spindle.value
        """Hundredths that the indicator shows now."""

    def _samples(self, seconds: float) -> int:
        return max(1, math.ceil(seconds * self._rate))

    def steered(self) -> None:
        """Someone steers: the walk by itself ends, and the spindle stays where it is."""
        self._by_itself = False

    def place(self, station: Station, force: float = USUAL_FORCE) -> None:
        """Come down there and stay; whatever the maker was about is given up."""
        self._visit = None
        self._come_down(station, force)

    def _come_down(self, station: Station, force: float = USUAL_FORCE) -> None:
        # Only wet cane is soft enough to go on giving way.
        self._spindle.place(self.reed.reads(station, force), self.reed.water.moisture)

    def lift(self) -> None:
        """Lift; whatever the maker was about is given up."""
        self._visit = None
        self._spindle.lift()

    def visit(self, station: Station) -> None:
        """Let the maker go there and press in their own time."""
        self._visits += 1
        timing = self._maker.visit(self._visits)
        presses = [self._samples(timing.press)]
        if timing.again is not None:
            presses.append(presses[0] + self._samples(timing.again))
        self._spindle.lift()
        self._visit = _Visit(station, self._samples(timing.think), presses)

    def press_again(self) -> None:
        """Let the maker press once more where they are; CommandError when they are nowhere."""
        visit = self._visit
        if visit is None or visit.think is not None:
            raise CommandError("the maker holds no station; send a visit first")
        self._repeats += 1
        wait = self._samples(self._maker.press_again(self._repeats))
        visit.presses.append(visit.since_touch + wait)

    def stick(self, seconds: float) -> None:
        """Show the present value for that long."""
        self._stuck = self._samples(seconds)

    def tick(self) -> list[Press]:
        """Move on by one sample; the presses that come with it."""
        if self._by_itself:
            self._walk()
        presses = [] if self._visit is None else self._go_on(self._visit)
        moved = self._spindle.tick()
        if self._stuck:
            self._stuck -= 1
        else:
            self.value = moved
        return presses

    def _walk(self) -> None:
        self._left -= 1
        if self._left > 0:
            return
        if self._spindle.lifted:
            self._come_down(self._stops[self._stop])
            self._stop = (self._stop + 1) % len(self._stops)
            self._left = (self._spindle.touches or 0) + self._samples(HELD_FOR)
        else:
            self._spindle.lift()
            self._left = self._samples(LIFTED_FOR)

    def _go_on(self, visit: _Visit) -> list[Press]:
        if visit.think is not None:
            visit.think -= 1
            if visit.think > 0:
                return []
            visit.think = None
            self._come_down(self._placing.found(visit.station, self._hand))
            visit.since_touch = -(self._spindle.touches or 0)
        visit.since_touch += 1
        due = [sample for sample in visit.presses if sample == visit.since_touch]
        return [Press(visit.station.key) for _ in due]
