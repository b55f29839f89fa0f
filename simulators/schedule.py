"""When the next sample is due, so that lateness does not add up."""

from __future__ import annotations

MOST_BEHIND = 0.25
"""Seconds. Whoever was held up longer than this lets the lost time go."""


class Schedule:
    """Samples at `rate` per second, the first at `start` seconds; the clock is the caller's."""

    def __init__(self, rate: float, start: float) -> None:
        self._rate = rate
        self._start = start
        self._count = 0

    def wait(self, now: float) -> float:
        """Seconds from `now` until the next sample is due, 0 when it is due already.

        Each sample is due by its number: one that came late is followed by shorter waits.
        """
        self._count += 1
        due = self._start + self._count / self._rate
        if now - due > MOST_BEHIND:
            self._start += now - due
        return max(0.0, due - now)
