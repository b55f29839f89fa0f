"""Serves one simulated indicator until it is ended: the clock, the signals and the streams."""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import stat
import sys
from collections.abc import AsyncGenerator, Callable
from decimal import Decimal
from pathlib import Path

import msgspec

from gaugelink.craft.style import Style
from gaugelink.devices.description import Description
from simulators.commands import Command, CommandError, Failed, Said, line_of, parse, read_script
from simulators.encoding import Encoder
from simulators.indicator import Indicator, check
from simulators.scene import Scene
from simulators.schedule import Schedule
from simulators.serial_pty import PseudoTerminal

TRIAL = Decimal(43)
"""Hundredths that every indicator can say; one that cannot is not served."""

LONGEST_COMMAND = 65_536
"""Bytes in a line of standard input."""


class Setup(msgspec.Struct, frozen=True):
    """What to serve."""

    description: Description
    style: Style
    stage: str
    seed: int
    rate: float
    """Samples per second."""
    script: Path | None = None
    link: Path | None = None
    until_eof: bool = False
    """End with standard input, so that whoever holds its other end cannot leave it behind."""


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


async def serve(setup: Setup) -> None:
    """Serve until a signal, `quit`, or no one listening to the answers any more.

    Raises GaugelinkError, before anything is printed, for a setup that cannot be served.
    """
    loop = asyncio.get_running_loop()
    ended = asyncio.Event()

    def opened(master: int) -> None:
        loop.add_reader(master, lambda: indicator.heard(port.received()))

    def closing(master: int) -> None:
        loop.remove_reader(master)

    port = PseudoTerminal(setup.description.link, setup.link, opened, closing)
    scene = Scene(setup.style, setup.stage, setup.seed, setup.rate)
    script = (
        read_script(setup.script, lambda command: check(command, scene, setup.description))
        if setup.script
        else []
    )
    encoder = Encoder(setup.description)
    encoder.encode(TRIAL)
    indicator = Indicator(
        setup.description,
        encoder,
        scene,
        port,
        seed=setup.seed,
        rate=setup.rate,
        script=script,
    )
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, ended.set)
    try:
        say(port.plug())
        await _run(indicator, setup, ended)
    except* Hushed:
        # Nothing that it could answer would be read: that is an end, not a failure.
        pass
    finally:
        port.unplug()
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.remove_signal_handler(number)


async def _run(indicator: Indicator, setup: Setup, ended: asyncio.Event) -> None:
    """Samples and commands until `ended`."""

    def answer(said: Said) -> None:
        say(line_of(said))
        if indicator.ended:
            ended.set()

    async with asyncio.TaskGroup() as group:
        tasks = [
            group.create_task(_samples(indicator, setup.rate, answer)),
            group.create_task(_commands(indicator, answer)),
        ]
        if setup.until_eof:
            tasks[1].add_done_callback(lambda _: ended.set())
        await ended.wait()
        for task in tasks:
            task.cancel()


async def _samples(indicator: Indicator, rate: float, answer: Callable[[Said], None]) -> None:
    """One sample every 1/rate seconds, for ever."""
    loop = asyncio.get_running_loop()
    schedule = Schedule(rate, loop.time())
    while True:
        for said in indicator.tick():
            answer(said)
        await asyncio.sleep(schedule.wait(loop.time()))


async def _commands(indicator: Indicator, answer: Callable[[Said], None]) -> None:
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
                    answer(_do(indicator, line))
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


def _do(indicator: Indicator, line: bytes) -> Said:
    try:
        command: Command = parse(line)
    except CommandError as error:
        return Failed(str(error))
    return indicator.do(command)


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
