"""A whole reed by one pedal: the real program on a real terminal, and nothing but its key typed.

The hand and the knife are a simulated maker's, who goes where the hub says; the foot sees only what
is on the screen and in the readings.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import signal
import subprocess
import sys
from collections.abc import AsyncGenerator, AsyncIterator
from pathlib import Path
from typing import Any

from gaugelink.cli.practice import DESCRIPTION
from gaugelink.cli.simulation import Simulation, simulated
from gaugelink.daemon.address import address_in
from gaugelink.daemon.client import connect
from gaugelink.daemon.messages import Captured, Event, Follow, ReadingEvent, Refused, WalkEvent
from gaugelink.store.store import Store
from tests.tui.terminal import PAGE_DOWN, Terminal, on_terminal

STYLE = """
name = "short-day"
title = "Two stages on one day, and one on the next (invented)"
lengths = { tube = 47.0, blank = 73.0, tip_line = 66.0, first_day = 70.0, finished = 69.0 }
settling = { still_for = 0.15 }
walking = { gesture = 0.2 }
[[zones]]
name = "windows"
title = "windows"
heights = [53]
across = [0.5]
[[stages]]
name = "rough"
title = "Rough"
day = 1
targets = [{ zone = "windows", target = 40, tolerance = 2 }]
[[stages]]
name = "level"
title = "Level"
day = 1
targets = [{ zone = "windows", target = 40, tolerance = 4 }]
[[stages]]
name = "rested"
title = "After the night"
day = 2
targets = [{ zone = "windows", target = 38, tolerance = 1 }]
"""

STATIONS = {"crossed/53/+0.5", "uncrossed/53/+0.5"}


def program(home: Path, *words: str) -> list[str]:
    return [sys.executable, "-m", "gaugelink", "--home", str(home), *words]


def answer(home: Path, *words: str) -> Any:
    done = subprocess.run(program(home, *words), capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


@contextlib.asynccontextmanager
async def following(home: Path) -> AsyncIterator[AsyncGenerator[Event, None]]:
    """What the hub says that the bench hosts."""
    while (client := await connect(address_in(home / "run"))) is None:
        await asyncio.sleep(0.05)
    async with contextlib.AsyncExitStack() as stack:
        stack.push_async_callback(client.close)
        await client.ask(Follow())
        yield await stack.enter_async_context(contextlib.aclosing(client.events()))


class Maker:
    """Sets the spindle down where the walk stands, presses when it has settled, and scrapes."""

    def __init__(
        self, simulation: Simulation, terminal: Terminal, events: AsyncGenerator[Event, None]
    ) -> None:
        self._simulation = simulation
        self._terminal = terminal
        self._events = events

    async def pass_from(self, walk: WalkEvent) -> WalkEvent:
        """Measure what is left of a pass; the walk at its end."""
        while walk.at_stop is not None:
            await self._simulation.place(walk.stops[walk.at_stop].station)
            await self._still()
            await self._terminal.press()
            walk = await self.walk()
        await self._simulation.lift()
        return walk

    async def walk(self) -> WalkEvent:
        """What the walk has come to by the press."""
        async for event in self._events:
            assert not isinstance(event, Refused) or event.why == "done", event
            if isinstance(event, WalkEvent):
                return event
        raise AssertionError("the hub went away")

    async def scrape(self, walk: WalkEvent) -> None:
        for stop in walk.stops:
            if stop.verdict is not None and stop.verdict.word == "take":
                strokes = 3 * max(1, round(float(stop.verdict.amount)))
                await self._simulation.scrape(stop.station, stop.zone, strokes)

    async def _still(self) -> None:
        up = False
        async for event in self._events:
            if isinstance(event, ReadingEvent):
                up = up or event.hundredths > 200
                if up and event.standing == "settled" and event.hundredths < 150:
                    return
            assert not isinstance(event, Captured), "nobody has pressed"


async def test_a_reed_is_made_and_the_next_one_chosen_by_one_pedal(tmp_path: Path) -> None:
    home = tmp_path / "home"
    (home / "config" / "styles").mkdir(parents=True)
    style = home / "config" / "styles" / "short-day.toml"
    style.write_text(STYLE)
    await asyncio.to_thread(
        answer, home, "rack", "add", "R", "--count", "2", "--style", "short-day", "--json"
    )
    async with (
        asyncio.timeout(60),
        simulated(3, str(style), "rough", DESCRIPTION) as simulation,
        on_terminal(
            *program(home, "bench", "--port", simulation.port, "--description", DESCRIPTION)
        ) as terminal,
    ):
        await terminal.sees("Before you begin")
        await terminal.press()
        await terminal.sees("Which reed")
        async with following(home) as events:
            maker = Maker(simulation, terminal, events)
            await terminal.press(2)  # the first reed
            await terminal.press(2)  # its first stage
            walk = await maker.walk()
            assert (walk.reed, walk.stage) == ("R01", "rough")
            walk = await maker.pass_from(walk)
            assert walk.to_go > 0, "there is cane to take"
            passes = 1
            while not walk.complete:
                await maker.scrape(walk)
                await terminal.press()
                walk = await maker.walk()
                assert (walk.in_pass, walk.at_stop) == (passes + 1, 0)
                walk = await maker.pass_from(walk)
                passes += 1
            await terminal.press()
            walk = await maker.walk()
            assert (walk.reed, walk.stage) == ("R01", "level")
            walk = await maker.pass_from(walk)
            assert walk.complete
            assert walk.overnight
            await terminal.press()
            await terminal.sees("Which reed")
            await terminal.press(2)  # at the reed that follows
            await terminal.press(2)
            walk = await maker.walk()
            assert (walk.reed, walk.stage) == ("R02", "rough")
        assert await terminal.end() == 128 + signal.SIGTERM
        assert terminal.typed.replace(PAGE_DOWN, b"") == b""

    (reed,) = await asyncio.to_thread(answer, home, "reed", "R01", "--json")
    captures = reed["captures"]
    for stage in ("rough", "level"):
        newest = {each["station"]: each for each in captures if each["stage"] == stage}
        assert newest.keys() == STATIONS
        assert all(each["verdict"]["word"] != "take" for each in newest.values())
    assert passes > 1
    rough = [each["in_pass"] for each in captures if each["stage"] == "rough"]
    assert set(rough) == set(range(1, passes + 1))
    with contextlib.closing(Store.open(home / "data" / "gaugelink.db")) as store:
        for stage in ("rough", "level"):
            assert store.unfinished_walk("R01", "short-day", stage) is None, "it is closed"
        assert store.unfinished_walk("R02", "short-day", "rough") is not None


async def test_in_practice_by_dwell_a_pass_is_walked_without_a_hand(tmp_path: Path) -> None:
    home = tmp_path / "home"
    (home / "config" / "styles").mkdir(parents=True)
    (home / "config" / "styles" / "short-day.toml").write_text(STYLE)
    words = ("practice", "--trigger", "dwell", "--style", "short-day", "--stage", "rough")
    async with asyncio.timeout(60), on_terminal(*program(home, *words)) as terminal:
        await terminal.sees("Before you begin")
        await terminal.press()
        await terminal.sees("takes at 0.8 s")
        await terminal.sees("takes in 0.")
        await terminal.sees("PASS 1 DONE")
        assert terminal.typed == PAGE_DOWN, "for the words on safety"
        assert await terminal.end() == 128 + signal.SIGTERM
