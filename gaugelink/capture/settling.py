"""When a reading stands still enough to be taken, as a pure function of the readings.

A hand trembles, and soft wet cane gives way under the spindle: a true contact is still but for a
slow sinking. So the newest `still_for` seconds count as still when, after taking off the sinking
(at most `creep` hundredths per second, downwards only), what remains spans no more than `within`
and one step of the indicator. The settled value is the median of that stretch.

It stands as long as the spindle does. Two readings in a row further off than that spread mean that
it stood only on the way, hovering perhaps: it has to settle anew, in the same contact. Two in a row
that are `lift` or more off mean that it has lifted or moved on, and only then can a new contact
begin. What the cane gives way by meanwhile is followed, so that creep alone is never a lift.

A new contact is not always another place. One that begins sooner after the last than a hand can
find one, and at nearly the same thickness, was a slip: the spindle lost hold for an instant. One
that was reached straight downwards is where a spindle came to stand that had hovered before.
"""

from __future__ import annotations

from collections import deque
from decimal import Decimal
from statistics import median
from typing import Literal, NamedTuple

import msgspec

from gaugelink.craft.style import Settling
from gaugelink.reading import Reading

Standing = Literal["moving", "settling", "settled"]

LONGEST_GAP = 1.0
"""Seconds between two readings beyond which nothing is known of what happened between them."""

FEWEST = 3
"""Readings that a still stretch needs: two that agree may do so by chance."""

SLIP = 1.6
"""Times `still_for` that may pass from leaving a place to standing still again, if it was a slip:
0.6 s by the usual rule. To lift, find another place, come down and stop trembling takes longer;
common practice, no source."""

HOVERING = 100.0
"""Hundredths above a place at which a spindle may seem to stand on it; higher it is lifted."""

LEFT = 3
"""Contacts that may have ended within that time: also a spindle held still in the air is one."""

MOST = 200
"""Readings that are looked at in a still stretch: of a faster stream, the newest of each moment."""

ROUNDING = 1e-9
"""Hundredths: what binary floats may add to a difference of decimals."""


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
    """Counts the contacts that the spindle stood in; a new one means that it has been lifted."""
    still: float = 0.0
    """Seconds for which it has stood still so far."""
    since: float = 0.0
    """Seconds, monotonic, at which it settled."""
    unlifted: int = 0
    """How many contacts just before this one were of the same visit, for want of a true lift: it
    slipped off and back, or sank on from where it had hovered."""
    earlier: float = 0.0
    """Seconds from when the first of those contacts began to stand until this still stretch did."""


class Settler:
    """Follows the readings of one gauge and says whether the newest stands still."""

    def __init__(self, rule: Settling) -> None:
        self._rule = rule
        self._window: deque[tuple[float, Decimal]] = deque()
        self._value: Decimal | None = None
        self._since = 0.0
        self._stood_from = 0.0
        self._contact = 0
        self._anchor: _Anchor | None = None
        self._visit = _Visit(0, 0.0)
        self._left: deque[tuple[_Anchor, _Visit]] = deque(maxlen=LEFT)
        """The newest contacts that have ended."""
        self._low = self._high = Decimal(0)
        """What has been read since the newest of them ended."""

    @property
    def contact(self) -> int:
        """How many contacts the spindle has stood in so far."""
        return self._contact

    def feed(self, reading: Reading) -> Settled:
        """What the newest reading, added to those before it, amounts to."""
        if reading.pushed:
            return self._pushed(reading)
        self._check_anchor(reading)
        if self._value is not None:
            return self._say("settled", reading, max(0.0, reading.at - self._stood_from))
        self._push(reading.at, reading.hundredths)
        still, count = self._stretch(reading.resolution)
        if still >= self._rule.still_for and count >= FEWEST:
            self._settle(reading, self._median(), still)
            return self._say("settled", reading, still)
        return self._say("settling" if still > 0 else "moving", reading, still)

    def retune(self, rule: Settling) -> None:
        """Go by another style's rule from now on; contacts go on counting."""
        self._rule = rule
        self.interrupt()

    def interrupt(self) -> None:
        """The link was lost: what stood still has to be seen standing still again.

        Until a lift is seen it counts as the same contact, for none can be ruled out.
        """
        self._window.clear()
        self._value = None

    def _pushed(self, reading: Reading) -> Settled:
        # Pressed once on the indicator itself: there is no stream, so it counts as it is, and each
        # press for a contact.
        self._anchor = None
        self._left.clear()
        self._settle(reading, reading.hundredths, 0.0)
        return self._say("settled", reading, 0.0)

    def _settle(self, reading: Reading, value: Decimal, still: float) -> None:
        self._value = value
        self._since = reading.at
        self._stood_from = reading.at - still
        if self._anchor is None:
            self._contact += 1
            self._visit = self._visit_at(float(value), self._lift(reading.resolution))
        self._anchor = _Anchor(value, reading.at)
        self._window.clear()

    def _visit_at(self, value: float, lift: float) -> _Visit:
        """The visit that the contact beginning at `value` goes on with, for want of a true lift."""
        soon = SLIP * self._rule.still_for
        found = [
            visit
            for left, visit in self._left
            if self._stood_from - left.last_there < soon and left.near(value, lift)
        ]
        if self._left:
            left, visit = self._left[-1]
            low, high = float(self._low), float(self._high)
            # Straight down: never above where it was, nor below where it has come to.
            if left.top - HOVERING < value < left.top > high - lift and low > value - lift:
                found.append(visit)
        return min(found, default=_Visit(self._contact, self._stood_from))

    def _lift(self, resolution: Decimal) -> float:
        # A coarse indicator flickers between two digits without being lifted.
        return float(max(self._rule.lift, 2 * resolution))

    def _check_anchor(self, reading: Reading) -> None:
        """Follow the present contact, and notice when it has ended or never was at rest."""
        if self._anchor is None:
            self._low = min(self._low, reading.hundredths)
            self._high = max(self._high, reading.hundredths)
            return
        rule, anchor = self._rule, self._anchor
        lift = self._lift(reading.resolution)
        anchor.follow(reading, float(rule.creep), lift)
        if anchor.beyond(lift):
            self._left.append((anchor, self._visit))
            self._low = self._high = reading.hundredths
            self._anchor = self._value = None
        elif anchor.off(float(rule.within + reading.resolution)):
            self._value = None

    def _push(self, at: float, value: Decimal) -> None:
        window = self._window
        # Time that steps back says as little about what lies between as a gap does.
        if window and not 0 <= at - window[-1][0] <= LONGEST_GAP:
            window.clear()
        if len(window) > FEWEST and at - window[-2][0] < self._rule.still_for / MOST:
            window.pop()
        window.append((at, value))
        # Keep one reading beyond the stretch: it is the one that makes the stretch long enough.
        while len(window) > FEWEST and at - window[1][0] >= self._rule.still_for:
            window.popleft()

    def _stretch(self, resolution: Decimal) -> tuple[float, int]:
        """Seconds up to now for which the spindle has stood still, and the readings in them."""
        window = self._window
        if len(window) < FEWEST:
            return 0.0, len(window)
        allowed = float(self._rule.within + resolution) + ROUNDING
        now, newest = window[-1]
        # A stretch is the longest that ends now and stays within what tremor and creep allow.
        points = [(at - now, float(value - newest)) for at, value in window]
        slope = _sinking(points, float(self._rule.creep))
        low = high = still = 0.0
        count = 0
        for at, value in reversed(points):
            level = value - slope * at
            low, high = min(low, level), max(high, level)
            if high - low > allowed:
                break
            still, count = -at, count + 1
        # What came before the break is over: the next stretch begins after it.
        while len(window) > count:
            window.popleft()
        return still, count

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
            self._contact - self._visit.first,
            self._stood_from - self._visit.since,
        )


class _Visit(NamedTuple):
    """The contacts at one place without a true lift in between."""

    first: int
    """The number of the first."""
    since: float
    """Seconds, monotonic: when that began to stand."""


class _Anchor:
    """Where the present contact stands: the settled value, and how far the cane has given way."""

    def __init__(self, value: Decimal, at: float) -> None:
        self.top = self._level = float(value)
        self._at = at
        self._distances = (0.0, 0.0)
        """Hundredths of the newest two readings from the level."""
        self.last_there = at
        """Seconds, monotonic: the newest reading that was no lift."""

    def follow(self, reading: Reading, creep: float, lift: float) -> None:
        """Sink towards the reading by at most `creep` hundredths a second, never above the top."""
        value = float(reading.hundredths)
        most = creep * min(max(reading.at - self._at, 0.0), LONGEST_GAP)
        moved = min(max(value, self._level - most), self._level + most)
        self._level = min(moved, self.top)
        self._at = reading.at
        self._distances = (self._distances[1], abs(value - self._level))
        if self._distances[1] < lift - ROUNDING:
            self.last_there = reading.at

    def near(self, value: float, lift: float) -> bool:
        """Whether a place of that thickness may be this one, which comes up again when let go."""
        return self._level - lift < value < self.top + lift

    def off(self, slack: float) -> bool:
        """Whether the newest two readings lie further off than `slack` hundredths."""
        return min(self._distances) > slack + ROUNDING

    def beyond(self, lift: float) -> bool:
        """Whether the newest two lie `lift` or more off; one may be the line's fault."""
        return min(self._distances) >= lift - ROUNDING


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
