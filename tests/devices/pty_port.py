"""A pseudo-terminal for the tests of the serial link: its master side is the indicator."""

from __future__ import annotations

import os
import pty
import tty
from pathlib import Path
from types import TracebackType


class PtyPort:
    """An indicator's side of a line; `path` is what the program under test opens.

    With a `link` the path stays the same when it is plugged in again, as a port's name does.
    """

    def __init__(self, link: Path | None = None) -> None:
        self._link = link
        self._master = self._slave = -1
        self.plug()

    @property
    def path(self) -> str:
        return str(self._link) if self._link else os.ttyname(self._slave)

    def plug(self) -> None:
        self._master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        if self._link is not None:
            self._link.unlink(missing_ok=True)
            self._link.symlink_to(os.ttyname(self._slave))

    def unplug(self) -> None:
        if self._master >= 0:
            os.close(self._master)
            os.close(self._slave)
            self._master = self._slave = -1
        if self._link is not None:
            self._link.unlink(missing_ok=True)

    def send(self, data: bytes) -> None:
        os.write(self._master, data)

    def received(self, count: int) -> bytes:
        got = b""
        while len(got) < count:
            got += os.read(self._master, count - len(got))
        return got

    def __enter__(self) -> PtyPort:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.unplug()
