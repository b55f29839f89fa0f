"""The program on a real terminal, with one pedal before it that types a key."""

from __future__ import annotations

import asyncio
import contextlib
import fcntl
import os
import pty
import signal
import struct
import subprocess
import termios
from collections.abc import AsyncIterator

PAGE_DOWN = b"\x1b[6~"
"""What a foot switch types that is set to PgDn; xterm's control sequences, from memory."""


class Terminal:
    """A program on a pseudo-terminal of 80 by 24."""

    def __init__(self, words: list[str]) -> None:
        self._master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        env = {**os.environ, "TERM": "xterm-256color", "COLUMNS": "80", "LINES": "24"}
        self.process = subprocess.Popen(
            words, stdin=slave, stdout=slave, stderr=slave, env=env, start_new_session=True
        )
        os.close(slave)
        self.typed = b""
        self._shown = b""
        self._news = asyncio.Event()
        self._code: int | None = None
        os.set_blocking(self._master, False)
        asyncio.get_running_loop().add_reader(self._master, self._read)

    def _read(self) -> None:
        try:
            self._shown += os.read(self._master, 65536)
        except OSError:  # the program has ended
            asyncio.get_running_loop().remove_reader(self._master)
        self._news.set()

    async def sees(self, text: str) -> None:
        """Wait until it is painted, and forget what was painted before."""
        while text.encode() not in self._shown:
            assert self.process.poll() is None, self._shown[-2000:].decode(errors="replace")
            self._news.clear()
            await self._news.wait()
        self._shown = self._shown[self._shown.rindex(text.encode()) + len(text.encode()) :]

    async def press(self, times: int = 1) -> None:
        """Press the pedal, once or twice, and then not for a while."""
        for press in range(times):
            if press:
                await asyncio.sleep(0.22)
            self.typed += PAGE_DOWN
            os.write(self._master, PAGE_DOWN)
        await asyncio.sleep(0.9)

    async def end(self) -> int | None:
        if self._code is None:
            if self.process.poll() is None:
                self.process.send_signal(signal.SIGTERM)
            self._code = await asyncio.to_thread(self.process.wait, 15)
            asyncio.get_running_loop().remove_reader(self._master)
            os.close(self._master)
        return self._code


@contextlib.asynccontextmanager
async def on_terminal(*words: str) -> AsyncIterator[Terminal]:
    terminal = Terminal(list(words))
    try:
        yield terminal
    finally:
        await terminal.end()
