"""A bare switch on a control line of a serial port, through pyserial. It needs no electronics.

RTS and DTR are held high. A switch between one of them and CTS (or DSR, CD, RI) closes the line;
one that is closed until it is pressed does as well, for the line's level when the port is first
opened counts as up. On a nine-pin port those are pin 7 (RTS) or 4 (DTR), and 8 (CTS), 6 (DSR),
1 (CD) or 9 (RI), by TIA-574.
"""

from __future__ import annotations

import asyncio
import contextlib
import threading
import time
from collections.abc import Callable
from typing import Literal, Protocol

from gaugelink.capture.pedals.event import PedalError, PedalEvent

Line = Literal["cts", "dsr", "cd", "ri"]

EVERY = 0.005
"""Seconds between two looks at the line: far below what a hand or foot can tell."""

SETTLES = 0.1
"""Seconds from opening until RTS and DTR have come up at the other end of an adapter."""


class Port(Protocol):
    """As much of a pyserial port as is needed."""

    @property
    def cts(self) -> bool: ...
    @property
    def dsr(self) -> bool: ...
    @property
    def cd(self) -> bool: ...
    @property
    def ri(self) -> bool: ...
    def close(self) -> None: ...


def open_port(port: str) -> Port:
    """The serial port, for this program alone, with RTS and DTR held high."""
    import serial

    opened = serial.Serial()
    opened.port = port
    opened.exclusive = True
    opened.rts = opened.dtr = True
    opened.open()
    return opened


class ControlLine:
    """One switch on one line. A thread looks at it; nothing else is done with the port.

    `name` is what its events are to say. `rest` is the line's level while the pedal is up, None to
    go by what it is when the port is first opened.
    """

    def __init__(
        self,
        port: str,
        line: Line = "cts",
        name: str = "",
        rest: bool | None = None,
        opener: Callable[[str], Port] = open_port,
        clock: Callable[[], float] = time.monotonic,
        settles: float = SETTLES,
    ) -> None:
        self._port = port
        self._line = line
        self._name = name or port
        self._rest = rest
        self._opener = opener
        self._clock = clock
        self._settles = settles
        self._opened: Port | None = None
        self._thread: threading.Thread | None = None
        self._stop = threading.Event()
        self._queue: asyncio.Queue[PedalEvent | PedalError] = asyncio.Queue()

    @property
    def name(self) -> str:
        return self._name

    async def open(self) -> None:
        """Open the port; PedalError says what stands in the way, or that it has no such line."""
        self._stop = threading.Event()
        self._queue = asyncio.Queue()
        # Shielded, so that a port which opens just as this task is cancelled is not left held.
        opening = asyncio.ensure_future(asyncio.to_thread(self._open))
        try:
            self._opened = await asyncio.shield(opening)
        except asyncio.CancelledError:
            self._stop.set()
            with contextlib.suppress(PedalError):
                (await opening).close()
            raise
        self._thread = threading.Thread(
            target=self._watch,
            args=(self._opened, asyncio.get_running_loop(), self._queue, self._stop),
            name=f"pedal {self._name}",
            daemon=True,
        )
        self._thread.start()

    def _open(self) -> Port:
        try:
            port = self._opener(self._port)
        # Drivers say much else than SerialException, which is an OSError: termios.error when the
        # plug is pulled just now, ValueError for what is no port. None of it may end the keeper.
        except Exception as error:
            raise PedalError(
                f"{self._port}: cannot be opened ({error}); is it plugged in?"
            ) from error
        try:
            self._level(port)
            self._stop.wait(self._settles)
            level = self._level(port)
        except (OSError, TypeError, ValueError) as error:
            port.close()
            raise PedalError(
                f"{self._port}: has no control line {self._line.upper()} ({error}): "
                "use a serial port or adapter that has them"
            ) from error
        if self._rest is None:
            self._rest = level
        return port

    def _level(self, port: Port) -> bool:
        return bool(getattr(port, self._line))

    def _watch(
        self,
        port: Port,
        loop: asyncio.AbstractEventLoop,
        queue: asyncio.Queue[PedalEvent | PedalError],
        stop: threading.Event,
    ) -> None:
        """Runs in the thread: hand over every change until the port is lost or closed."""
        is_down = False
        while not stop.wait(EVERY):
            try:
                level = self._level(port)
            # pyserial lets a TypeError through when the port vanishes between two calls.
            except (OSError, TypeError, ValueError) as error:
                lost = PedalError(f"{self._port}: it was lost ({error}); is it plugged in?")
                _hand(loop, queue, lost)
                return
            if (level != self._rest) != is_down:
                is_down = not is_down
                _hand(loop, queue, PedalEvent(self._name, self._line, is_down, self._clock()))

    async def read(self) -> list[PedalEvent]:
        item = await self._queue.get()
        if isinstance(item, PedalError):
            raise item
        return [item]

    async def close(self) -> None:
        port, thread = self._opened, self._thread
        self._opened = self._thread = None
        self._stop.set()
        if port is not None:
            await asyncio.shield(asyncio.to_thread(_shut, port, thread))


def _hand(
    loop: asyncio.AbstractEventLoop,
    queue: asyncio.Queue[PedalEvent | PedalError],
    item: PedalEvent | PedalError,
) -> None:
    # The loop may have been closed under a switch that nobody waits for any more.
    with contextlib.suppress(RuntimeError):
        loop.call_soon_threadsafe(queue.put_nowait, item)


def _shut(port: Port, thread: threading.Thread | None) -> None:
    if thread is not None:
        thread.join()
    # Closing a port that has vanished may fail in as many ways as using it; it is gone either way.
    with contextlib.suppress(OSError, TypeError):
        port.close()
