"""Simulated Bluetooth indicators for tests: a process of their own, reached through bleak."""

from __future__ import annotations

import asyncio
import json
import os
import shutil
import subprocess
import sys
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest
from bleak.backends.bluezdbus import manager

from gaugelink.devices.bluetooth.policy import Policy
from gaugelink.devices.link import Chunk, Link
from gaugelink.devices.pipeline import Pipeline
from gaugelink.reading import Reading

ROOT = Path(__file__).parents[2]
DEADLINE = 30
"""Seconds for a whole test; a loaded machine takes a while to start Python."""

PORT = "ble:C4:5A:1E:00:00:01"
MARKS_PORT = "ble:C4:5A:1E:00:00:02"
ASKED_PORT = "ble:C4:5A:1E:00:00:03"
BARE_PORT = "ble:C4:5A:1E:00:00:04"
TEXTS = {
    MARKS_PORT: "marks-fields-xor",
    ASKED_PORT: "asked-question-cr",
    BARE_PORT: "bare-decimal-lf",
}
"""The shared simulator's indicators that send text, with the descriptions that they speak."""

PLACE = "crossed/53/-0.5"

QUICK = Policy(find=2.0, connect=2.0, answer=1.0, quiet=0.2, close=1.0)

needs_bus = pytest.mark.skipif(
    shutil.which("dbus-daemon") is None, reason="needs dbus-daemon; install the package dbus"
)


class Simulator:
    """A running simulator and its lines; it lives longer than the loop of one test."""

    def __init__(self, *options: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "simulators", "bluetooth", "--rate", "50", *options],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
        self.bus = ""
        self.peers = 1 + options.count("--also")

    def _ask(self, line: bytes) -> dict[str, Any]:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(line + b"\n")
        self.process.stdin.flush()
        found: dict[str, Any] = json.loads(self.process.stdout.readline())
        return found

    async def do(self, what: str, **more: object) -> dict[str, Any]:
        """The answer to a command."""
        return await asyncio.to_thread(self._ask, json.dumps({"do": what, **more}).encode())

    async def done(self, what: str, **more: object) -> None:
        """Do a command that cannot fail."""
        assert await self.do(what, **more) == {"is": "done", "do": what}

    async def as_new(self) -> None:
        """Undo every fault, and end what connection there is."""
        await self.do("replug")
        await self.done("sleep", seconds=0)
        await self.done("adapter", on=True)
        for peer in range(self.peers):
            await self.done("hang", on=False, peer=peer)
            await self.done("half-open", on=False, peer=peer)
            await self.done("slow", seconds=0, peer=peer)
            await self.done("drop", peer=peer)


@contextmanager
def running(*options: str) -> Iterator[Simulator]:
    """A simulator until the end of the block; it must end well."""
    simulator = Simulator(*options)
    with simulator.process as process:
        try:
            assert process.stdout is not None
            simulator.bus = process.stdout.readline().decode().strip()
            yield simulator
        finally:
            process.terminate()
            _, said = process.communicate(timeout=10)
    assert (process.returncode, said) == (0, b"")


@asynccontextmanager
async def bus_at(address: str) -> AsyncIterator[None]:
    """Have bleak reach the system through the message bus at that address."""
    with patch.dict(os.environ, {"DBUS_SYSTEM_BUS_ADDRESS": address}):
        try:
            yield
        finally:
            await close_bleak()


async def close_bleak() -> None:
    """Close bleak's own connection to the bus.

    It keeps one for each event loop until the program ends, with a task that watches it: right
    for a program, which has one loop, but in a test it is a file and a task left behind. bleak has
    no call to close it, so its insides are reached for here.
    """
    kept = manager._global_instances.pop(asyncio.get_running_loop(), None)
    if kept is not None and kept._bus is not None and kept._bus_watcher_task is not None:
        kept._bus.disconnect()
        await kept._bus_watcher_task


@asynccontextmanager
async def beside(simulator: Simulator) -> AsyncIterator[Simulator]:
    """bleak beside a simulator, which is as new again after the block."""
    async with asyncio.timeout(DEADLINE):
        try:
            async with bus_at(simulator.bus):
                yield simulator
        finally:
            await simulator.as_new()


@asynccontextmanager
async def simulated(*options: str) -> AsyncIterator[Simulator]:
    """A simulator of one's own, and bleak beside it."""
    with running(*options) as simulator:
        async with beside(simulator):
            yield simulator


async def readings(link: Link, pipeline: Pipeline, count: int) -> list[Reading]:
    """The next readings that come over a link."""
    found: list[Reading] = []
    while len(found) < count:
        chunk: Chunk = await link.read()
        found += pipeline.feed(chunk.data, chunk.at)
    return found
