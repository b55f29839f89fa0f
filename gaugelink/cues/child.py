"""Processes that let one cue be heard each; the next is made ready while the last is at work.

Sound libraries are kept out of this process. They write on the terminal and so over the screen,
they hold threads that never end, some cannot be cut off or want the main thread, and one that
crashes would take the bench with it. A process is ended together with whatever plays for it.

A script that is run so says `ready` and a word on its first line once it has loaded what it needs,
takes what to do from its standard input, and ends with 0 once that is over. What it and its
libraries write to standard error says why it did not.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import re
import signal
import sys
import tempfile
from asyncio.subprocess import PIPE, Process
from collections.abc import Callable
from pathlib import Path

import msgspec

from gaugelink.cues.cue import CueError

STARTING = 20.0
"""Seconds that a script may take to be ready; cold, on a slow machine, it takes two or three."""


class Ready(msgspec.Struct, frozen=True):
    """A process that waits for what to do."""

    process: Process
    word: str
    """What it said of itself."""


class Ended(msgspec.Struct, frozen=True):
    """How a process ended."""

    code: int
    said: str
    """Its standard error."""

    @property
    def why(self) -> str:
        """The line that says what was wrong: an exception's, else the last one."""
        lines = [line.strip() for line in self.said.splitlines() if line.strip()]
        raised = [line for line in lines if re.match(r"[\w.]+(Error|Exception): ", line)]
        return [f"it ended with {self.code}", *lines, *raised][-1]


class Standby:
    """Keeps one process of a script ready."""

    def __init__(self, script: Path, explain: Callable[[Ended], str]) -> None:
        """`explain` says in one sentence why the script did not get ready, and what to do."""
        self._script = script
        self._explain = explain
        self._next: asyncio.Task[Ready] | None = None
        self._scratch: tempfile.TemporaryDirectory[str] | None = None
        """Where the libraries keep what they play: one that is ended does not tidy up."""

    async def open(self) -> None:
        """Make one ready; CueError when it cannot be."""
        try:
            self._scratch = tempfile.TemporaryDirectory(prefix="gaugelink-cues-")
        except OSError as error:
            raise _no_room(error) from error
        await asyncio.shield(self._prepare())

    async def ready(self) -> Ready:
        """The one that is ready, to be given to `work`, while another is made so; CueError."""
        # What was made ready may have failed since: then it is tried once more, here and now.
        failed = self._next is None or (self._next.done() and self._next.exception() is not None)
        waiting = self._prepare() if failed or self._next is None else self._next
        found = await asyncio.shield(waiting)
        self._prepare()
        return found

    async def close(self) -> None:
        """End the one that is ready, and tidy up."""
        task, self._next = self._next, None
        try:
            if task is not None:
                task.cancel()
                await asyncio.wait({task})
                if not task.cancelled() and task.exception() is None:
                    await end(task.result().process)
        finally:
            if self._scratch is not None:
                self._scratch.cleanup()
                self._scratch = None

    def _prepare(self) -> asyncio.Task[Ready]:
        self._next = asyncio.create_task(self._start())
        return self._next

    async def _start(self) -> Ready:
        process = await self._spawn()
        assert process.stdout is not None
        try:
            async with asyncio.timeout(STARTING):
                first = await process.stdout.readline()
        except BaseException as error:
            await end(process)
            if isinstance(error, TimeoutError):
                late = Ended(-1, f"it was not ready after {STARTING:g} s")
                raise CueError(self._explain(late)) from error
            raise
        if not first.startswith(b"ready"):
            raise CueError(self._explain(await end(process)))
        return Ready(process, first.decode().removeprefix("ready").strip())

    async def _spawn(self) -> Process:
        assert self._scratch is not None, "opened first"
        try:
            return await asyncio.create_subprocess_exec(
                # Without the script's folder on its path (-P): a module there is called as one of
                # Python's own.
                *(sys.executable, "-P", str(self._script)),
                stdin=PIPE,
                stdout=PIPE,
                stderr=PIPE,
                env={**os.environ, "TMPDIR": self._scratch.name},
                # A group of its own: what plays for it is ended with it, and Ctrl-C reaches it
                # through us only.
                start_new_session=True,
            )
        except OSError as error:
            raise _no_room(error) from error


def _no_room(error: OSError) -> CueError:
    return CueError(f"no cue can be sounded ({error}); make room, or turn tones and voice off")


async def work(process: Process, data: bytes) -> Ended:
    """Let a process that is ready do what `data` says, and wait; cancelling it cuts it off."""
    try:
        _, said = await process.communicate(data)
    except asyncio.CancelledError:
        await end(process)
        raise
    return _ended(process, said)


async def end(process: Process) -> Ended:
    """End a process and all that it started, and wait until they are gone."""
    if process.returncode is None:
        with contextlib.suppress(ProcessLookupError):
            if sys.platform == "win32":
                process.kill()
            else:
                os.killpg(process.pid, signal.SIGKILL)
    _, said = await process.communicate()
    return _ended(process, said)


def _ended(process: Process, said: bytes) -> Ended:
    code = process.returncode
    return Ended(-1 if code is None else code, said.decode(errors="replace"))
