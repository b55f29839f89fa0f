"""A serial line, through pyserial.

A thread waits for bytes in the system's own blocking read and hands them to the event loop the
moment they come, so nothing is polled. It works alike on every system that pyserial supports.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import os
import threading
import time
from collections.abc import Callable

import serial

from gaugelink.devices.description import LinkSettings
from gaugelink.devices.discovery import Lister, holders, moved, serial_ports
from gaugelink.devices.framing import with_parity
from gaugelink.devices.link import Chunk, LinkError

_PARITY = {
    "none": serial.PARITY_NONE,
    "even": serial.PARITY_EVEN,
    "odd": serial.PARITY_ODD,
    "mark": serial.PARITY_MARK,
    "space": serial.PARITY_SPACE,
}

MOST_WAITING = 512
"""Bytes taken in one read: more than any burst, little enough to be handled at once."""

MOST_CHUNKS = 4096
"""Chunks that may wait to be handled: seconds of the fastest stream. A port that floods is not
read any further until they have been, and loses on the line what it sends meanwhile."""


class SerialLink:
    """A serial port with a description's settings.

    Seven bits with parity are opened as eight without: on the wire they are the same, and the
    parity arrives as bit 7, where `SevenBitFramer` checks it; what is sent gets its parity here.

    A device that the system can tell apart is found again when it is plugged in elsewhere and so
    comes back under another name.
    """

    def __init__(
        self,
        port: str,
        settings: LinkSettings,
        clock: Callable[[], float] = time.monotonic,
        lister: Lister = serial_ports,
    ) -> None:
        self._name = port
        self._lister = lister
        self.identity = ""
        """What the system told the device by when the port was last open; empty when by nothing."""
        self.on_identified: Callable[[str, str], None] = lambda identity, port: None
        """Called with the identity and the port whenever a device that has one was opened."""
        self._settings = settings
        self._clock = clock
        self._serial: serial.Serial | None = None
        self._thread: threading.Thread | None = None
        self._queue: asyncio.Queue[Chunk | LinkError] = asyncio.Queue()
        self._room = threading.Semaphore(MOST_CHUNKS)
        self._sending: asyncio.Future[int | None] | None = None
        self._closing = False

    @property
    def port(self) -> str:
        return self._name

    async def open(self) -> None:
        """Open the port for this program alone; LinkError says what stands in the way."""
        self._closing = False
        self._queue = asyncio.Queue()
        self._room = threading.Semaphore(MOST_CHUNKS)
        # Opening may block in the driver. Shielded, so that a port which opens just as this task
        # is cancelled is still closed and not left held.
        opening = asyncio.ensure_future(asyncio.to_thread(self._open))
        try:
            self._serial, self._name, self.identity = await asyncio.shield(opening)
        except asyncio.CancelledError:
            with contextlib.suppress(LinkError):
                (await opening)[0].close()
            raise
        if self.identity:
            self.on_identified(self.identity, self._name)
        self._thread = threading.Thread(
            target=self._pump,
            args=(self._serial, asyncio.get_running_loop(), self._queue, self._room),
            name=f"serial {self._name}",
            daemon=True,
        )
        self._thread.start()

    def _open(self) -> tuple[serial.Serial, str, str]:
        """The port, its name, and what its device is told by."""
        wanted, name = self._settings, self._where()
        in_bit_7 = wanted.bits == 7 and wanted.parity != "none"
        port = serial.Serial()
        try:
            port.port = name
            port.baudrate = wanted.baud
            port.bytesize = 8 if in_bit_7 else wanted.bits
            port.parity = serial.PARITY_NONE if in_bit_7 else _PARITY[wanted.parity]
            port.stopbits = wanted.stop
            port.exclusive = True
            port.write_timeout = 1.0
            port.dtr = wanted.dtr
            port.rts = wanted.rts
            port.open()
        # SerialException is an OSError, but drivers say much else: termios.error when the plug is
        # pulled just now, NotImplementedError for a speed. None of it may end the supervisor.
        except Exception as error:
            raise LinkError(explain(self._name, error)) from error
        known = (each.identity for each in self._lister() if each.port == name)
        return port, name, next(known, self.identity)

    def _where(self) -> str:
        """The port's name, or the one under which its device is now."""
        if not self.identity:
            return self._name
        ports = self._lister()
        if (place := moved(self.identity, ports)) is not None:
            return place
        other = next((each for each in ports if each.port == self._name), None)
        if other is not None and other.identity not in ("", self.identity):
            raise LinkError(
                f"{self._name}: another device is there now ({other.title or other.usb}); plug in "
                "the gauge's own, or connect this one under a name of its own"
            )
        return self._name

    def _pump(
        self,
        port: serial.Serial,
        loop: asyncio.AbstractEventLoop,
        queue: asyncio.Queue[Chunk | LinkError],
        room: threading.Semaphore,
    ) -> None:
        """Runs in the thread: hand over what comes until the line is lost or closed."""
        # Looked at before every read: the one that `close` called off may be the one before.
        while not self._closing:
            try:
                data = port.read(1)
                at = self._clock()
                if not data:
                    continue
                if waiting := port.in_waiting:
                    data += port.read(min(waiting, MOST_WAITING))
            # pyserial lets a TypeError through when the port vanishes between two calls, and a
            # ValueError when so many files are open that it cannot wait for one more.
            except (OSError, TypeError, ValueError) as error:
                lost = LinkError(f"{self._name}: the line was lost ({error}); is it plugged in?")
                self._hand(loop, queue, lost)
                return
            self._hand(loop, queue, Chunk(data, at))
            room.acquire()

    @staticmethod
    def _hand(
        loop: asyncio.AbstractEventLoop,
        queue: asyncio.Queue[Chunk | LinkError],
        item: Chunk | LinkError,
    ) -> None:
        # The loop may have been closed under a reader that nobody waits for any more.
        with contextlib.suppress(RuntimeError):
            loop.call_soon_threadsafe(queue.put_nowait, item)

    async def read(self) -> Chunk:
        item = await self._queue.get()
        if isinstance(item, LinkError):
            raise item
        self._room.release()
        return item

    async def write(self, data: bytes) -> None:
        port = self._serial
        if port is None:
            raise LinkError(f"{self._name}: not open")
        if self._settings.bits == 7:
            data = with_parity(data, self._settings.parity)
        self._sending = asyncio.ensure_future(asyncio.to_thread(port.write, data))
        try:
            # Shielded: the thread goes on sending whoever is cancelled, and `close` waits for it.
            await asyncio.shield(self._sending)
        except (OSError, TypeError, ValueError) as error:
            raise LinkError(f"{self._name}: could not send ({error})") from error

    async def close(self) -> None:
        port, thread, sending = self._serial, self._thread, self._sending
        self._serial = self._thread = self._sending = None
        self._closing = True
        if port is None:
            return
        self._room.release()
        await asyncio.shield(_shut_after(sending, port, thread))


async def _shut_after(
    sending: asyncio.Future[int | None] | None,
    port: serial.Serial,
    thread: threading.Thread | None,
) -> None:
    if sending is not None:
        # Were it closed under a send, the descriptor could by then be another file's. Sending
        # takes no longer than the port's write timeout, and what it raises has been said.
        await asyncio.gather(sending, return_exceptions=True)
    await asyncio.to_thread(_shut, port, thread)


def _shut(port: serial.Serial, thread: threading.Thread | None) -> None:
    # Closing a port that has vanished may fail in as many ways as using it; it is gone either way.
    with contextlib.suppress(OSError, TypeError, AttributeError):
        port.cancel_read()
    if thread is not None:
        thread.join()
    with contextlib.suppress(OSError, TypeError):
        port.close()


def explain(port: str, error: Exception) -> str:
    """One line that says why a port cannot be opened and what to do about it."""
    number = getattr(error, "errno", None)
    said = str(error).lower()
    if number == errno.ENOENT or "filenotfounderror" in said:
        return f"{port}: there is no such port; plug the indicator in, or give another port"
    if number == errno.EACCES or "permission" in said:
        return f"{port}: permission denied; {_who_may(port)}"
    if number in (errno.EBUSY, errno.EWOULDBLOCK) or "exclusively lock" in said:
        who = ", ".join(holders([port]).get(port, [])) or "another program"
        return f"{port}: held by {who}; close that one first"
    if isinstance(error, ValueError):
        return f"{port}: the port does not take these settings ({error})"
    return f"{port}: cannot be opened ({error})"


def _who_may(port: str) -> str:
    try:
        import grp

        group = grp.getgrgid(os.stat(port).st_gid).gr_name
    except (ImportError, OSError, KeyError):
        return "run it as a user who may use serial ports"
    return f"join the group that may use it (sudo usermod -aG {group} $USER), then log in again"
