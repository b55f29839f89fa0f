"""The simulated indicator as the practice command sees it: a process that it starts and tells.

This is the only place in gaugelink that starts a simulator, and it imports none: it runs
`python -m simulators`, is told the port, and sends commands to its standard input.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import sys
from collections.abc import AsyncIterator
from typing import Any, Literal

import msgspec

from gaugelink.reading import GaugelinkError

Over = Literal["serial", "bluetooth"]

BLUETOOTH_PORT = "ble:C4:5A:1E:00:00:01"
"""The simulated Bluetooth indicator, always at the same address."""

START_WITHIN = 20.0
"""Seconds; a cold start on a slow machine imports much."""

END_WITHIN = 5.0
"""Seconds; it has nothing to keep, so one that takes longer hangs."""

ENDED = "the simulated indicator ended: start again"


class SimulationError(GaugelinkError):
    """The simulator did not start, or ended."""


class Simulation:
    """A running simulated indicator with a maker's hand and knife."""

    def __init__(self, process: asyncio.subprocess.Process, port: str) -> None:
        self.port = port
        self._process = process
        self._answers: asyncio.Queue[dict[str, Any]] = asyncio.Queue()
        self._presses: asyncio.Queue[str | None] = asyncio.Queue()
        """None after the last."""
        self._one_at_a_time = asyncio.Lock()

    async def place(self, station: str) -> None:
        """Lift the spindle and set it down at a station."""
        await self._tell({"do": "place", "station": station})

    async def lift(self) -> None:
        """Lift the spindle off the reed."""
        await self._tell({"do": "lift"})

    async def scrape(self, station: str, zone: str, strokes: int) -> None:
        """Scrape a zone on the blade and side of a station."""
        await self._tell({"do": "scrape", "station": station, "zone": zone, "strokes": strokes})

    async def crow(self) -> tuple[float, float]:
        """Crow the reed: the cents from the style's goal, and its length in millimetres."""
        said = await self._tell({"do": "crow"})
        return said["cents"], said["length"]

    async def clip(self, millimetres: float) -> None:
        """Clip the reed's end."""
        await self._tell({"do": "clip", "mm": millimetres})

    async def visit(self, station: str) -> None:
        """Let the simulated maker go to a station; a press follows in human time."""
        await self._tell({"do": "visit", "station": station})

    async def press_again(self) -> None:
        """Let the simulated maker, told that it was refused, press once more."""
        await self._tell({"do": "press-again"})

    async def pressed(self) -> str:
        """Wait for the maker's next press; the station at which the maker believes to be.

        SimulationError when there will be none, for the simulator has ended.
        """
        station = await self._presses.get()
        if station is None:
            raise SimulationError(ENDED)
        return station

    async def _tell(self, command: dict[str, Any]) -> dict[str, Any]:
        stdin = self._process.stdin
        assert stdin is not None
        async with self._one_at_a_time:
            try:
                stdin.write(msgspec.json.encode(command) + b"\n")
                await stdin.drain()
            except (BrokenPipeError, ConnectionResetError) as error:
                raise SimulationError(ENDED) from error
            answer = await self._answers.get()
        if answer.get("is") == "ended":
            raise SimulationError(ENDED)
        if answer.get("is") == "error":
            raise SimulationError(f"the simulated indicator: {answer['text']}")
        return answer

    async def listen(self) -> None:
        """Sort what the simulator says into answers and presses, until it ends."""
        stdout = self._process.stdout
        assert stdout is not None
        while line := await stdout.readline():
            said = msgspec.json.decode(line)
            if said.get("is") == "press":
                self._presses.put_nowait(said["station"])
            else:
                self._answers.put_nowait(said)
        self._answers.put_nowait({"is": "ended"})
        self._presses.put_nowait(None)


@contextlib.asynccontextmanager
async def simulated(
    seed: int,
    style: str,
    stage: str,
    description: str,
    over: Over = "serial",
    lesson: str = "",
) -> AsyncIterator[Simulation]:
    """Start a simulated indicator, and end it when the block is left.

    Over Bluetooth it comes with a message bus of its own, through which this process, and whatever
    it starts, then reaches all of Bluetooth; it says by itself what it sends.

    `lesson` is the name or path of the lesson whose reed it begins with; over a serial port only.

    Raises SimulationError with its own words when it does not start.
    """
    process = await asyncio.create_subprocess_exec(
        sys.executable,
        "-m",
        "simulators",
        over,
        *(("--description", description) if over == "serial" else ()),
        *("--seed", str(seed)),
        *("--style", style),
        *("--stage", stage),
        *(("--lesson", lesson) if lesson else ()),
        "--until-eof",
        stdin=asyncio.subprocess.PIPE,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.PIPE,
    )
    assert process.stdout is not None
    listening: asyncio.Task[None] | None = None
    try:
        try:
            async with asyncio.timeout(START_WITHIN):
                first = await process.stdout.readline()
        except TimeoutError as error:
            raise SimulationError("the simulated indicator did not start in time") from error
        if not first:
            raise SimulationError(await _last_words(process))
        said = first.decode().strip()
        if over == "bluetooth":
            os.environ["DBUS_SYSTEM_BUS_ADDRESS"] = said
        simulation = Simulation(process, BLUETOOTH_PORT if over == "bluetooth" else said)
        listening = asyncio.create_task(simulation.listen())
        # It walks by itself until the first command; a maker begins with the spindle up.
        await simulation.lift()
        yield simulation
    finally:
        # It ends with its standard input.
        if process.stdin is not None:
            process.stdin.close()
        try:
            async with asyncio.timeout(END_WITHIN):
                await process.wait()
        except TimeoutError:
            process.kill()
            await process.wait()
        if listening is not None:
            await listening
        # Reading to the end closes the pipes' transports with the loop still there.
        if process.stderr is not None:
            await process.stderr.read()


async def _last_words(process: asyncio.subprocess.Process) -> str:
    assert process.stderr is not None
    said = (await process.stderr.read()).decode(errors="replace").strip().splitlines()
    return said[-1] if said else "the simulated indicator ended without a word"
