"""One reading after another, each from a contact of its own: how a series is walked."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from gaugelink.daemon.messages import ReadingEvent

Trigger = Literal["dwell", "lines"]
Doubt = Callable[["ReadingEvent"], str]
"""Why a settled reading cannot be what is asked for; empty when it can."""

DWELL = 0.8
"""Seconds that a settled reading must stand to be taken by itself; as in a style's walk."""

STALE = 1.0
"""Seconds: an older reading is not taken on a line; as in a style's walk."""

LIFTED = 6
"""Hundredths from where the spindle was first seen: it has been lifted; as in a style."""


class Taker:
    """Says of each reading of one gauge whether it is to be taken. One contact gives one reading.

    Times are seconds on one clock, given with each call: when a reading was heard here, not when
    another process says that it came.
    """

    def __init__(self, trigger: Trigger) -> None:
        self._trigger = trigger
        self._live: ReadingEvent | None = None
        self._heard = 0.0
        self._first: ReadingEvent | None = None
        self._armed = False
        self._used: int | None = None
        self._doubted: int | None = None

    def hear(
        self, event: ReadingEvent, now: float, doubt: Doubt, same_place: bool = False
    ) -> ReadingEvent | str | None:
        """The reading, when it takes itself: by dwell, or pushed by the indicator's own button.

        Instead, once in each contact, why it cannot be what is asked for. With `same_place` the
        next reading is of the place of the last one: a short lift counts.
        """
        self._live, self._heard = event, now
        if self._first is None:
            self._first = event
        # What stood there from the start may be anything: a lift has to be seen first.
        self._armed |= abs(event.hundredths - self._first.hundredths) >= LIFTED
        dwelt = (
            self._trigger == "dwell"
            and self._armed
            and event.standing == "settled"
            and event.still >= DWELL
            and not self._is_used(event, same_place)
        )
        if not event.pushed and not dwelt:
            return None
        if not (said := doubt(event)):
            return self._take(event)
        told, self._doubted = self._doubted, event.contact
        return said if told != event.contact else None

    def press(self, now: float, doubt: Doubt) -> ReadingEvent | str:
        """The reading that a line takes, or why it takes none."""
        live = self._live
        if live is None:
            return "the gauge has sent nothing yet"
        if now - self._heard > STALE and not live.pushed:
            return f"the last reading is {now - self._heard:.1f} s old: nothing taken"
        if live.standing != "settled" or live.settled is None:
            return "not settled yet: hold still and press again"
        if self._is_used(live, same_place=True):
            return "not lifted since the last one: lift, and set down again"
        return doubt(live) or self._take(live)

    def lost(self) -> None:
        """The link is down: nothing that came before may be taken."""
        self._live = None

    def _take(self, event: ReadingEvent) -> ReadingEvent:
        self._used = event.contact
        return event

    def _is_used(self, event: ReadingEvent, same_place: bool) -> bool:
        if self._used is None:
            return False
        first = event.contact - (0 if same_place else event.unlifted)
        return first <= self._used
