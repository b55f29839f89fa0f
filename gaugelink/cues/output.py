"""The face of whatever lets a cue be heard, and the simplest of them, the terminal's bell."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Protocol

from gaugelink.cues.cue import Cue, CueError


class Output(Protocol):
    """A way to be heard."""

    async def open(self) -> None:
        """Make ready; CueError says in one sentence why it cannot be and what to do.

        Whoever calls it calls `close` too, also when it has failed or was cancelled.
        """
        ...

    async def say(self, cue: Cue) -> None:
        """Let a cue be heard, and return when it is over; cancelling it cuts it off.

        CueError when it was not heard this time.
        """
        ...

    async def close(self) -> None:
        """Let go of everything that is held; may be called without `open`."""
        ...


class Bell:
    """The terminal's bell, which sounds as the terminal likes."""

    def __init__(self, ring: Callable[[], None] | None = None) -> None:
        """`ring` rings it where the terminal belongs to somebody, such as a screen."""
        self._ring = ring

    async def open(self) -> None:
        if self._ring is None and not (sys.stderr and sys.stderr.isatty()):
            raise CueError("bell: there is no terminal to ring; start it in one, or turn bell off")

    async def say(self, cue: Cue) -> None:
        if self._ring is not None:
            self._ring()
        else:
            sys.stderr.write("\a")
            sys.stderr.flush()

    async def close(self) -> None:
        """There is nothing to let go of."""
