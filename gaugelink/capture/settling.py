"""When a reading stands still enough to be taken, as a pure function of the readings.

A hand trembles, and soft wet cane gives way under the spindle: a true contact is still but for a
slow sinking. So the newest `still_for` seconds count as still when, after taking off the sinking
(at most `creep` hundredths per second, downwards only), what remains spans no more than `within`
and one step of the indicator. The settled value is the median of that stretch. It then stands
until the spindle has lifted or moved on: two readings in a row `lift` or more away from it.
"""

from __future__ import annotations

from collections import deque
from decimal import Decimal
from statistics import median
from typing import Literal

import msgspec

from gaugelink.craft.style import Settling
from gaugelink.reading import Reading

Standing = Literal["moving", "settling", "settled"]

LONGEST_GAP = 1.0
"""Seconds between two readings beyond which nothing is known of what happened between them."""

FEWEST = 3
"""Readings that a still stretch needs: two that agree may do so by chance."""


class Settled(msgspec.Struct, frozen=True):
    """What a gauge's newest reading amounts to."""

    standing: Standing
    at: float
    """Seconds, monotonic: when the newest reading came."""
    hundredths: Decimal
    """The newest reading as it came."""
    resolution: Decimal
    value: Decimal | None = None
    """The settled value, the median of the still stretch; None while moving."""
    contact: int = 0
    """Counts the times that the spindle has come to stand; a new one means it has been lifted."""
    still: float = 0.0
    """Seconds for which it has stood still so far."""
    since: float = 0.0
    """Seconds, monotonic, at which it settled."""


class Settler:
    """Follows the readings of one gauge and says whether the newest stands still."""

    def __init__(self, rule: Settling) -> None:
        self._rule = rule
        self._window: deque[tuple[float, Decimal]] = deque()
        self._value: Decimal | None = None
        self._since = 0.0
        self._contact = 0
        self._away = 0

    @property
    def contact(self) -> int:
        """How many times the spindle has come to stand so far."""
        return self._contact

    def feed(self, reading: Reading) -> Settled:
        """What the newest reading, added to those before it, amounts to."""
        if reading.pushed:
            return self._pushed(reading)
        value = reading.hundredths
        if self._value is not None:
            if not self._moved_on(value):
                return self._say("settled", reading, reading.at - self._since)
            self._value = None
        self._push(reading.at, value)
        still = self._still_for(reading.resolution)
        if still >= self._rule.still_for:
            self._settle(reading, self._median())
            return self._say("settled", reading, still)
        return self._say("settling" if still > 0 else "moving", reading, still)

    def interrupt(self) -> None:
        """The link was lost: what stood still has to be seen standing still again."""
        self._window.clear()
        self._value = None
        self._away = 0

    def _pushed(self, reading: Reading) -> Settled:
        # Pressed once on the indicator itself: there is no stream, so it counts as it is.
        self._settle(reading, reading.hundredths)
        return self._say("settled", reading, 0.0)

    def _settle(self, reading: Reading, value: Decimal) -> None:
        self._value = value
        self._since = reading.at
        self._contact += 1
        self._away = 0
        self._window.clear()

    def _moved_on(self, value: Decimal) -> bool:
        assert self._value is not None
        # One wild reading is the line's fault, two are the hand's.
        self._away = self._away + 1 if abs(value - self._value) >= self._rule.lift else 0
        return self._away >= 2

    def _push(self, at: float, value: Decimal) -> None:
        window = self._window
        if window and at - window[-1][0] > LONGEST_GAP:
            window.clear()
        window.append((at, value))
        # Keep one reading beyond the stretch: it is the one that makes the stretch long enough.
        while len(window) > FEWEST and at - window[1][0] >= self._rule.still_for:
            window.popleft()

    def _still_for(self, resolution: Decimal) -> float:
        """Seconds up to now for which the window is still; 0 when its newest step was not."""
        window = self._window
        if len(window) < FEWEST:
            return 0.0
        allowed = float(self._rule.within + resolution)
        now, newest = window[-1]
        # A stretch is the longest that ends now and stays within what tremor and creep allow.
        # Going back in time creep can only add, so the bounds widen by it in one direction.
        creep = float(self._rule.creep)
        points = [(at - now, float(value - newest)) for at, value in window]
        slope = _sinking(points, creep)
        low = high = 0.0
        still = 0.0
        for at, value in reversed(points):
            level = value - slope * at
            low, high = min(low, level), max(high, level)
            if high - low > allowed:
                break
            still = -at
        if still < self._rule.still_for:
            # What came before the break is over: the next stretch begins after it.
            while window and now - window[0][0] > still:
                window.popleft()
        return still

    def _median(self) -> Decimal:
        middle = median(value for _, value in self._window)
        return Decimal(middle)

    def _say(self, standing: Standing, reading: Reading, still: float) -> Settled:
        return Settled(
            standing,
            reading.at,
            reading.hundredths,
            reading.resolution,
            self._value,
            self._contact,
            still,
            self._since,
        )


def _sinking(points: list[tuple[float, float]], most: float) -> float:
    """The slope of the least-squares line, kept between -`most` and 0 (hundredths per second)."""
    count = len(points)
    mean_t = sum(at for at, _ in points) / count
    mean_v = sum(value for _, value in points) / count
    spread = sum((at - mean_t) ** 2 for at, _ in points)
    if spread == 0:
        return 0.0
    slope = sum((at - mean_t) * (value - mean_v) for at, value in points) / spread
    return max(-most, min(0.0, slope))
