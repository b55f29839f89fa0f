"""What every simulator's process does: the clock, the signals and the streams."""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import stat
import sys
from collections.abc import AsyncGenerator, Callable, Iterator
from typing import Protocol

from simulators.commands import Failed, Said, line_of
from simulators.schedule import Schedule

LONGEST_COMMAND = 65_536
"""Bytes in a line of standard input."""


class Served(Protocol):
    """A simulation that is moved on by samples and steered by lines."""

    @property
    def ended(self) -> bool:
        """Whether it has been told to quit."""
        ...

    def tick(self) -> list[Said]:
        """Move on by one sample; what is to be said."""
        ...

    def obey(self, line: bytes) -> Said:
        """Do what a line says, and answer it."""
        ...


class Hushed(Exception):
    """No one reads standard output any more."""


def say(line: str) -> None:
    """Print a line at once; Hushed when there is no one left to read it."""
    try:
        print(line, flush=True)
    except BrokenPipeError as error:
        # What is still buffered could not be written at exit either.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise Hushed from error


@contextlib.contextmanager
def until_told() -> Iterator[asyncio.Event]:
    """An event that a signal to end sets, for as long as the block lasts."""
    loop = asyncio.get_running_loop()
    ended = asyncio.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, ended.set)
    try:
        yield ended
    finally:
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.remove_signal_handler(number)


async def attend(served: Served, rate: float, ended: asyncio.Event, *, until_eof: bool) -> None:
    """Samples and commands until `ended`, or the end of the commands if so wished.

    Raises Hushed, in a group, when no one reads the answers any more.
    """

    def answer(said: Said) -> None:
        say(line_of(said))
        if served.ended:
            ended.set()

    async with asyncio.TaskGroup() as group:
        tasks = [
            group.create_task(_samples(served, rate, answer)),
            group.create_task(_commands(served, answer)),
        ]
        if until_eof:
            tasks[1].add_done_callback(lambda _: ended.set())
        await ended.wait()
        for task in tasks:
            task.cancel()


async def _samples(served: Served, rate: float, answer: Callable[[Said], None]) -> None:
    """One sample every 1/rate seconds, for ever."""
    loop = asyncio.get_running_loop()
    schedule = Schedule(rate, loop.time())
    while True:
        for said in served.tick():
            answer(said)
        await asyncio.sleep(schedule.wait(loop.time()))


async def _commands(served: Served, answer: Callable[[Said], None]) -> None:
    """Do what standard input says, line by line, to its end; a terminal is not listened to."""
    stream = await _standard_input()
    if stream is None:
        return
    reader, transport = stream
    try:
        async with contextlib.aclosing(_lines(reader)) as lines:
            async for line in lines:
                if line is None:
                    answer(Failed(f"a command is at most {LONGEST_COMMAND} bytes long"))
                elif line.strip():
                    answer(served.obey(line))
    finally:
        transport.close()


async def _lines(reader: asyncio.StreamReader) -> AsyncGenerator[bytes | None, None]:
    """Each line to the end of the stream; None in place of one that is too long."""
    rest = b""
    overlong = False
    while data := await reader.read(LONGEST_COMMAND):
        *whole, rest = (rest + data).split(b"\n")
        for line in whole:
            yield None if overlong or len(line) > LONGEST_COMMAND else line
            overlong = False
        if len(rest) > LONGEST_COMMAND:
            overlong, rest = True, b""
    if rest:
        yield rest


async def _standard_input() -> tuple[asyncio.StreamReader, asyncio.ReadTransport] | None:
    """Standard input when it is a pipe or a socket; None for anything else."""
    if sys.stdin is None:
        return None
    mode = os.fstat(sys.stdin.fileno()).st_mode
    reader = asyncio.StreamReader()
    if not (stat.S_ISFIFO(mode) or stat.S_ISSOCK(mode)):
        return None
    transport, _ = await asyncio.get_running_loop().connect_read_pipe(
        lambda: asyncio.StreamReaderProtocol(reader), sys.stdin
    )
    return reader, transport
