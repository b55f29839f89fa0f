"""A serial port's other end, as a pseudo-terminal: the only file here that needs a POSIX system.

The client opens the slave side with pyserial as it would a real port. The master side can read
the speed that the client set; what is sent at another speed arrives as a receiver at that speed
would have heard it. The data bits and parity of a pseudo-terminal have no effect.
"""

from __future__ import annotations

import array
import contextlib
import errno
import fcntl
import os
import pty
import termios
import tty
from collections.abc import Callable
from pathlib import Path

from gaugelink.devices.description import LinkSettings
from gaugelink.reading import GaugelinkError
from simulators.line import heard

MOST_UNREAD = 3072
"""Bytes. Beyond this what no one reads is lost; the kernel would hold some thousand more."""

OUTPUT_SPEED = 5
"""Where the output speed stands in what tcgetattr returns."""

_SPEEDS = {
    getattr(termios, name): int(name[1:])
    for name in dir(termios)
    if name.startswith("B") and name[1:].isdecimal()
}


class PortError(GaugelinkError):
    """A port, or the symbolic link to it, cannot be made."""


class PseudoTerminal:
    """A port that can be plugged and unplugged.

    `link` is a symbolic link that is kept pointing at the present port; it goes when the port
    goes. `opened` and `closing` are told the master's file descriptor: one may read from it in
    between.
    """

    def __init__(
        self,
        settings: LinkSettings,
        link: Path | None = None,
        opened: Callable[[int], None] = lambda fd: None,
        closing: Callable[[int], None] = lambda fd: None,
    ) -> None:
        self._settings = settings
        self._link = link
        self._opened = opened
        self._closing = closing
        self._ends: tuple[int, int] | None = None

    @property
    def plugged(self) -> bool:
        """Whether there is a port at present."""
        return self._ends is not None

    def plug(self) -> str:
        """Open a new port in raw mode; returns the path for the client.

        Raises PortError when the system gives none, or the link cannot be made.
        """
        try:
            master, slave = pty.openpty()
        except OSError as error:
            raise PortError(f"no pseudo-terminal: {error.strerror}") from error
        try:
            tty.setraw(slave)
            os.set_blocking(master, False)
            path = self._point_link(os.ttyname(slave))
        except BaseException:
            os.close(master)
            os.close(slave)
            raise
        # The slave is kept open too: without a client the master would report an error.
        self._ends = master, slave
        self._opened(master)
        return path

    def _point_link(self, path: str) -> str:
        if self._link is None:
            return path
        if os.path.lexists(self._link) and not self._link.is_symlink():
            raise PortError(f"{self._link}: is there and is not a link; choose another path")
        fresh = self._link.with_name(f".{self._link.name}.{os.getpid()}")
        try:
            fresh.symlink_to(path)
            fresh.replace(self._link)
        except OSError as error:
            raise PortError(f"{self._link}: cannot be made: {error.strerror}") from error
        return str(self._link)

    def unplug(self) -> None:
        """Take the port away: a client that has it open gets an error. Nothing if there is none."""
        if self._ends is None:
            return
        master, slave = self._ends
        if self._link is not None and self._points_to(self._link, os.ttyname(slave)):
            self._link.unlink()
        self._ends = None
        self._closing(master)
        os.close(slave)
        os.close(master)

    @staticmethod
    def _points_to(link: Path, path: str) -> bool:
        """Whether the link is still ours: another simulator may have taken its name."""
        return link.is_symlink() and str(link.readlink()) == path

    def _client_speed(self, master: int) -> int | None:
        """The speed that the client set; None for one without a name of its own."""
        return _SPEEDS.get(termios.tcgetattr(master)[OUTPUT_SPEED])

    def send(self, data: bytes) -> None:
        """Put bytes on the line; they are lost, all together, when no one reads."""
        if self._ends is None:
            return
        master, slave = self._ends
        unread = array.array("i", [0])
        fcntl.ioctl(slave, termios.FIONREAD, unread)
        if unread[0] + len(data) > MOST_UNREAD:
            return
        arriving = self._heard(data, self._settings.baud, self._client_speed(master))
        # A write to a full buffer loses the bytes, as a line that no one listens to does.
        with contextlib.suppress(BlockingIOError):
            os.write(master, arriving)

    def received(self) -> bytes:
        """What the client has sent since, as it is heard at the indicator's speed."""
        if self._ends is None:
            return b""
        master, _ = self._ends
        try:
            data = os.read(master, 4096)
        except BlockingIOError:
            return b""
        except OSError as error:
            if error.errno != errno.EIO:
                raise
            return b""
        return self._heard(data, self._client_speed(master), self._settings.baud)

    def _heard(self, data: bytes, sent: int | None, read: int | None) -> bytes:
        known = self._settings.baud in _SPEEDS.values()
        if sent and read:
            return heard(data, sent, read, self._settings.stop)
        # A speed without a name can only be the right one when the indicator's has none either.
        return b"" if known else data
