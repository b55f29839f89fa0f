"""Painting no more often than the eye can follow, and noticing that nothing comes any more."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from textual.message_pump import MessagePump
    from textual.timer import Timer

FRAME = 1 / 30
"""Seconds between two paintings: more often than the eye can follow helps nobody."""


class Pace:
    """Paints what was touched: the first at once, and what comes within a frame with the last.

    `frame` is seconds; with 0 every touch is painted. `timers` is whose timers are used, and whose
    end is the end of the painting.
    """

    def __init__(self, timers: MessagePump, frame: float, paint: Callable[[], None]) -> None:
        self._timers = timers
        self._frame = frame
        self._paint = paint
        self._resting = False
        self._unpainted = False

    def touch(self) -> None:
        """Something has changed."""
        if self._resting:
            self._unpainted = True
            return
        self._paint()
        if self._frame:
            self._resting = True
            self._timers.set_timer(self._frame, self._rested)

    def _rested(self) -> None:
        self._resting = False
        if self._unpainted:
            self._unpainted = False
            self.touch()


class Lapse:
    """Calls `lapsed` once when nothing has happened for so many seconds; with 0 never."""

    def __init__(self, timers: MessagePump, after: float, lapsed: Callable[[], None]) -> None:
        self._timers = timers
        self._after = after
        self._lapsed = lapsed
        self._timer: Timer | None = None

    def happened(self) -> None:
        """Something has happened."""
        if self._timer is not None:
            self._timer.reset()
        elif self._after:
            self._timer = self._timers.set_timer(self._after, self._over)

    def _over(self) -> None:
        self._timer = None
        self._lapsed()
