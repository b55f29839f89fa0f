"""The simulated indicator as the practice command sees it: a process that it starts and tells.

This is the only place in gaugelink that starts a simulator, and it imports none: it runs
`python -m simulators`, is told the port, and sends commands to its standard input.
"""

from __future__ import annotations

import asyncio
import contextlib
import sys
from collections.abc import AsyncIterator
from typing import Any

import msgspec

from gaugelink.reading import GaugelinkError

START_WITHIN = 20.0
"""Seconds; a cold start on a slow machine imports much."""


class SimulationError(GaugelinkError):
    """The simulator did not start, or ended."""


class Simulation:
    """A running simulated indicator with a maker's hand and knife."""

    def __init__(self, process: asyncio.subprocess.Process, port: str) -> None:
        self.port = port
        self._process = process
        self._answers: asyncio.Queue[dict[str, Any]] = asyncio.Queue()
        self._presses: asyncio.Queue[str] = asyncio.Queue()
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

    async def visit(self, station: str) -> None:
        """Let the simulated maker go to a station; a press follows in human time."""
        await self._tell({"do": "visit", "station": station})

    async def press_again(self) -> None:
        """Let the simulated maker, told that it was refused, press once more."""
        await self._tell({"do": "press-again"})

    async def pressed(self) -> str:
        """Wait for the maker's next press; the station at which the maker believes to be."""
        return await self._presses.get()

    async def _tell(self, command: dict[str, Any]) -> dict[str, Any]:
        stdin = self._process.stdin
        assert stdin is not None
        async with self._one_at_a_time:
            try:
                stdin.write(msgspec.json.encode(command) + b"\n")
                await stdin.drain()
            except (BrokenPipeError, ConnectionResetError) as error:
                raise SimulationError("the simulated indicator ended: start again") from error
            answer = await self._answers.get()
        if answer.get("is") in ("error", "ended"):
            raise SimulationError(f"the simulated indicator: {answer.get('text', 'ended')}")
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


@contextlib.asynccontextmanager
async def simulated(
    seed: int, style: str, stage: str, description: str
) -> AsyncIterator[Simulation]:
    """Start a simulated indicator, and end it when the block is left.

    Raises SimulationError with its own words when it does not start.
    """
    process = await asyncio.create_subprocess_exec(
        sys.executable,
        "-m",
        "simulators",
        "serial",
        *("--description", description),
        *("--seed", str(seed)),
        *("--style", style),
        *("--stage", stage),
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
        simulation = Simulation(process, first.decode().strip())
        listening = asyncio.create_task(simulation.listen())
        # It walks by itself until the first command; a maker begins with the spindle up.
        await simulation.lift()
        yield simulation
    finally:
        if process.returncode is None:
            process.terminate()
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
