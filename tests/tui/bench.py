"""A bench on a scripted hub, for the tests of the screen."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from typing import Any

from textual.app import App
from textual.pilot import Pilot

from gaugelink.daemon.client import Client
from gaugelink.daemon.messages import Event, Press
from gaugelink.reading import GaugelinkError
from tui import scene
from tui.app import BenchApp
from tui.plan import Plan
from tui.scene import SceneClient
from tui.widgets.pane import Pane


class Terminal(App[None]):
    """An app on a terminal that counts how often its bell was rung."""

    rung = 0

    def bell(self) -> None:
        self.rung += 1


class RungApp(BenchApp, Terminal):
    """A bench that counts how often it rang the bell."""

    async def quiet(self) -> None:
        """Return once nothing sounds or waits to be heard."""
        if self._sound is not None:
            await self._sound.quiet()


def make(
    clients: Sequence[SceneClient | GaugelinkError], plan: Plan = scene.PLAN, **options: Any
) -> RungApp:
    """A bench that gets these clients, or errors, one after another, the last for ever."""
    left = list(clients)

    async def factory() -> Client:
        found = left.pop(0) if len(left) > 1 else left[0]
        if isinstance(found, GaugelinkError):
            raise found
        return found

    steady: dict[str, Any] = {"frame": 0, "quiet_after": 0, "retry": 0.01}
    return RungApp(factory, plan, **{**steady, **options})


class Spindle:
    """The hands of practice mode, written down."""

    def __init__(self) -> None:
        self.did: list[tuple[object, ...]] = []

    async def place(self, station: str) -> None:
        self.did.append(("place", station))

    async def lift(self) -> None:
        self.did.append(("lift",))

    async def scrape(self, station: str, zone: str, strokes: int) -> None:
        self.did.append(("scrape", station, zone, strokes))


class Bench:
    """A running bench, and the hub's side of it."""

    def __init__(self, app: RungApp, client: SceneClient, pilot: Pilot[None]) -> None:
        self.app, self.client, self.pilot = app, client, pilot

    async def hear(self, *events: Event) -> None:
        """Have the hub say this, until it is on the screen."""
        self.client.say(*events)
        await self.client.heard()
        await self.app.quiet()
        await self.pilot.pause()

    async def press(self, *keys: str) -> None:
        """Press keys, until what they led to is done."""
        await self.pilot.press(*keys)
        await self.pilot.pause()
        await self.pilot.pause()

    async def until(self, true: Callable[[], bool]) -> None:
        """Wait until something holds."""
        async with asyncio.timeout(10):
            while not true():
                await self.pilot.pause()

    def text(self, kind: type[Pane]) -> str:
        """What a part of the bench says."""
        bench = self.app.screen_stack[0]
        return bench.query_one(kind).said.plain

    @property
    def presses(self) -> list[tuple[str, str]]:
        """The gestures that reached the hub, with the station of a goto."""
        return [(each.gesture, each.station) for each in self.client.asked(Press)]


@asynccontextmanager
async def bench(
    client: SceneClient | None = None,
    *,
    size: tuple[int, int] = (80, 24),
    plan: Plan = scene.PLAN,
    clients: Sequence[SceneClient | GaugelinkError] = (),
    **options: Any,
) -> AsyncIterator[Bench]:
    """A bench that has found its hub and, unless the plan is empty, started its walk."""
    client = client or SceneClient()
    app = make(clients or [client], plan, **options)
    async with asyncio.timeout(60), app.run_test(size=size) as pilot:
        running = Bench(app, client, pilot)
        await running.until(lambda: app.state is not None)
        if not clients and plan.ready:
            await running.until(lambda: app.state is not None and app.state.walk is not None)
        await pilot.pause()
        yield running
