"""How a spindle comes down on a reed in a maker's hand, as a function of time.

It is lifted and drifts, comes down, perhaps fumbles above the place, touches, trembles, and then
sinks slowly into the soft wet cane. `approaches` strings many together with the truth about each,
to measure what a settling rule makes of them.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator

import msgspec

LIFTED = 600.0
"""Hundredths that a lifted spindle shows."""

TOUCHING = 0.08
"""Seconds of the last way down."""

RISING = 0.12
"""Seconds to lift the spindle off."""


class Hand(msgspec.Struct, frozen=True):
    """A maker's hand: (lowest, highest) of what differs from one visit to the next."""

    descent: tuple[float, float] = (0.25, 0.4)
    """Seconds from lifted to just above the place."""
    hover: tuple[float, float] = (0.0, 0.12)
    """Seconds of fumbling above it."""
    above: tuple[float, float] = (20.0, 60.0)
    """Hundredths above the place during that."""
    wobble: tuple[float, float] = (6.0, 12.0)
    """Hundredths either way during that."""
    tremor: tuple[float, float] = (2.0, 4.0)
    """Hundredths either way at the touch."""
    calming: tuple[float, float] = (0.08, 0.13)
    """Seconds in which the tremor falls to a third."""
    rest: tuple[float, float] = (0.03, 0.12)
    """Hundredths of tremor that stay."""
    creep: tuple[float, float] = (0.15, 0.45)
    """Hundredths per second that the cane gives way at the touch."""
    relaxing: tuple[float, float] = (1.0, 2.0)
    """Seconds in which the creep falls to a third."""
    seat: float = 0.15
    """Hundredths either way that the tongue sits differently each time."""


CALM = Hand()
"""A practised maker's."""

FUMBLING = Hand(
    hover=(0.0, 1.2),
    above=(5.0, 80.0),
    wobble=(1.0, 8.0),
    tremor=(2.0, 8.0),
    calming=(0.1, 0.3),
    rest=(0.05, 0.35),
    creep=(0.1, 0.9),
)
"""A beginner's, with cane that was soaked too long."""


class Swing(msgspec.Struct, frozen=True):
    """The drift of a lifted spindle: never still for as long as a settling rule looks."""

    slow: float
    """Cycles per second of the wide swing."""
    fast: float
    """Cycles per second of the small one on top."""
    phase: float

    def at(self, seconds: float) -> float:
        """Hundredths that the indicator shows."""
        wide = 25 * math.sin(math.tau * self.slow * seconds + self.phase)
        small = 4 * math.sin(math.tau * self.fast * seconds)
        return LIFTED + wide + small

    def rising(self, seconds: float, start: float) -> float:
        """Hundredths `seconds` after it began to lift from `start`."""
        share = _ease(seconds / RISING)
        return (1 - share) * start + share * self.at(seconds)


class Approach(msgspec.Struct, frozen=True):
    """One visit to a place, from lifted to in contact."""

    thickness: float
    """Hundredths: the truth."""
    swing: Swing
    descent: float
    hover: float
    above: float
    wobble: float
    tremor: float
    calming: float
    rest: float
    creep: float
    relaxing: float
    seat: float
    pace: float
    """Cycles per second of the tremor."""
    phase: float

    @property
    def touches(self) -> float:
        """Seconds from the beginning at which the spindle touches."""
        return self.descent + self.hover + TOUCHING

    def at(self, seconds: float) -> float:
        """Hundredths that the indicator shows `seconds` from the beginning."""
        if seconds >= self.touches:
            return self._contact(seconds - self.touches)
        over = self.thickness + self.above
        over += self.wobble * math.sin(math.tau * 2.3 * seconds + self.phase)
        if seconds < self.descent:
            share = _ease(seconds / self.descent)
            return (1 - share) * self.swing.at(seconds) + share * over
        share = max(0.0, (seconds - self.descent - self.hover) / TOUCHING)
        return (1 - share) * over + share * self._contact(0.0)

    def _contact(self, since: float) -> float:
        shake = self.tremor * math.exp(-since / self.calming) + self.rest
        trembling = shake * (
            0.6 * math.sin(math.tau * self.pace * since + self.phase)
            + 0.4 * math.sin(math.tau * 0.37 * self.pace * since)
        )
        sunk = self.creep * self.relaxing * (1 - math.exp(-since / self.relaxing))
        return self.thickness + self.seat + trembling - sunk


def _ease(share: float) -> float:
    """0 to 1, gently at both ends; kept there outside."""
    share = min(max(share, 0.0), 1.0)
    return share * share * (3 - 2 * share)


def draw_swing(rng: random.Random) -> Swing:
    """A drift of its own for one lift."""
    return Swing(rng.uniform(0.8, 1.1), rng.uniform(2.0, 3.0), rng.uniform(0, math.tau))


def draw(hand: Hand, thickness: float, rng: random.Random) -> Approach:
    """One visit by that hand to a place of `thickness` hundredths."""
    return Approach(
        thickness=thickness,
        swing=draw_swing(rng),
        descent=rng.uniform(*hand.descent),
        hover=rng.uniform(*hand.hover),
        above=rng.uniform(*hand.above),
        wobble=rng.uniform(*hand.wobble),
        tremor=rng.uniform(*hand.tremor),
        calming=rng.uniform(*hand.calming),
        rest=rng.uniform(*hand.rest),
        creep=rng.uniform(*hand.creep),
        relaxing=rng.uniform(*hand.relaxing),
        seat=rng.uniform(-hand.seat, hand.seat),
        pace=rng.uniform(7.0, 11.0),
        phase=rng.uniform(0, math.tau),
    )


class Approached(msgspec.Struct, frozen=True):
    """One visit as an indicator showed it, with the truth about it."""

    samples: list[tuple[float, float]]
    """(seconds, hundredths), lifted at both ends."""
    thickness: float
    """Hundredths: the truth."""
    touched: float
    """Seconds at which contact began."""
    left: float
    """Seconds at which it ended."""


def approaches(
    seed: int,
    rate: float,
    hand: Hand = FUMBLING,
    lifted: tuple[float, float] = (0.4, 1.0),
    held: tuple[float, float] = (0.8, 2.5),
    thickness: tuple[float, float] = (15.0, 60.0),
) -> Iterator[Approached]:
    """Visits without end, sampled at `rate` per second; the seconds run on from one to the next.

    The spindle is lifted and kept in contact for a time drawn from `lifted` and `held`.
    """
    rng = random.Random(f"{seed}/approaches")
    begun = 0
    while True:
        approach = draw(hand, rng.uniform(*thickness), rng)
        up = rng.uniform(*lifted)
        touched = up + approach.touches
        left = touched + rng.uniform(*held)
        count = math.ceil((left + RISING) * rate)
        last = approach.at(left - up)
        samples = []
        for index in range(count):
            seconds = index / rate
            if seconds < up:
                # Runs into the approach's own first value.
                value = approach.swing.at(seconds - up)
            elif seconds < left:
                value = approach.at(seconds - up)
            else:
                value = approach.swing.rising(seconds - left, last)
            samples.append(((begun + index) / rate, value))
        start = begun / rate
        yield Approached(samples, approach.thickness, start + touched, start + left)
        begun += count
