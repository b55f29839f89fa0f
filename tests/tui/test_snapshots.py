"""Every state of the screen as a picture, compared with the one that was looked at and kept.

`pytest tests/tui/test_snapshots.py --snapshot-update` makes them anew.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Sequence
from typing import Any

import msgspec
import pytest
from textual.pilot import Pilot
from textual.widgets import Input, OptionList

from gaugelink.capture.pedals.mapping import TWO_PEDALS
from gaugelink.capture.pedals.setup import InputAt, PedalSetup
from gaugelink.daemon.client import HubGone
from gaugelink.daemon.messages import Event, Refused, ZoneAlert
from tests.tui.bench import RungApp, make
from tui import scene
from tui.plan import Plan
from tui.scene import SceneClient
from tui.screens.choose import ChooseScreen

Snap = Callable[..., bool]
SMALL, LARGE = (80, 24), (120, 40)

MIDWAY = scene.walk(22)
SOFAR = [scene.captured(MIDWAY, index) for index in range(22)]
SETTLED = scene.reading("42", "settled", 0.6)
ALL = scene.walk(34)
LEVEL = scene.walk(34, offsets=(0, 1, -1))
LEFT = [stop.verdict is not None and stop.verdict.word == "take" for stop in ALL.stops]
SECOND = msgspec.structs.replace(
    ALL,
    stops=[
        msgspec.structs.replace(stop, queued=queued, in_pass=2 if index < 4 else 1)
        for index, (stop, queued) in enumerate(zip(ALL.stops, LEFT, strict=True))
    ],
    at_stop=4,
    next_stop=6,
    in_pass=2,
    done=2,
    of=sum(LEFT),
)


STATES: dict[str, Sequence[Event]] = {
    "no_reading": [MIDWAY],
    "moving": [MIDWAY, scene.reading("57", "moving")],
    "settling": [MIDWAY, scene.reading("43", "settling", 0.3)],
    "settled": [MIDWAY, *SOFAR[:-1], SETTLED],
    "spindle_up": [MIDWAY, scene.reading("1240", "moving")],
    "refused": [
        MIDWAY,
        scene.reading("44", "moving"),
        Refused("bench", "moving", "not settled yet: hold still and press again"),
    ],
    "captured": [MIDWAY, *SOFAR, scene.reading("41", "moving")],
    "over": [MIDWAY, *SOFAR, scene.reading("37", "settled", 0.5)],
    "zone_alert": [
        scene.walk(29, offsets=(0, 1, -1)),
        scene.captured(scene.walk(29, offsets=(0, 1, -1)), 28),
        ZoneAlert("bench", scene.REED, "blend", "blend"),
        scene.reading("36", "settled", 1.1),
    ],
    "link_down": [
        MIDWAY,
        SETTLED,
        scene.gauge("down", "/dev/ttyUSB0 is gone: plug the cable in", 2.0),
    ],
    "bounced": [
        MIDWAY,
        *SOFAR,
        scene.reading("41", "moving"),
        Refused("bench", "too soon", "second press: not taken"),
    ],
    "to_lift": [MIDWAY, *SOFAR, msgspec.structs.replace(SETTLED, at=SOFAR[-1].at)],
    "pushed": [MIDWAY, *SOFAR, scene.reading("42", "settled", pushed=True)],
    "last_stage": [scene.walk(99, stage="finish", offsets=(0,)), scene.reading("1240", "moving")],
    "battery_low": [MIDWAY, SETTLED, scene.gauge(status="battery low")],
    "paused": [scene.walk(22, paused=True), SETTLED],
    "skipped": [scene.walk(22, skipped=(3, 20)), SETTLED],
    "pass_done": [ALL, scene.captured(ALL, 33), scene.reading("25", "settled", 0.9)],
    "second_pass": [SECOND, scene.reading("41", "settled", 0.6)],
    "complete": [LEVEL, scene.captured(LEVEL, 33), scene.reading("23", "settled", 0.9)],
    "dwell": [scene.walk(22, dwell=True), scene.reading("42", "settled", 0.55)],
    "three_across": [
        scene.walk(9, stage="sort", offsets=(14, 3, 12, 11, 2, 10)),
        scene.reading("72", "settled", 0.6),
    ],
    "first_station": [scene.walk(0, stage="finish"), scene.reading("46", "settled", 0.6)],
}


def feed(client: SceneClient, events: Sequence[Event]) -> Callable[[Pilot[None]], Awaitable[None]]:
    """Has the hub say these once the bench has found it."""

    async def run_before(pilot: Pilot[None]) -> None:
        await walking(pilot)
        client.say(*events)
        async with asyncio.timeout(30):
            await client.heard()
        await pilot.pause()

    return run_before


async def walking(pilot: Pilot[None]) -> None:
    """Wait until the walk is on the screen."""
    app = pilot.app
    assert isinstance(app, RungApp)
    async with asyncio.timeout(30):
        while app.state is None or app.state.walk is None:
            await pilot.pause()
    await pilot.pause()


@pytest.mark.parametrize("state", STATES)
def test_state(state: str, snap_compare: Snap) -> None:
    client = SceneClient()
    run_before = feed(client, STATES[state])
    assert snap_compare(make([client]), terminal_size=SMALL, run_before=run_before)


@pytest.mark.parametrize(
    "state", ["settled", "moving", "pushed", "spindle_up", "three_across", "pass_done", "complete"]
)
def test_state_with_room(state: str, snap_compare: Snap) -> None:
    client = SceneClient()
    run_before = feed(client, STATES[state])
    assert snap_compare(make([client]), terminal_size=LARGE, run_before=run_before)


@pytest.mark.parametrize("state", ["settled", "three_across", "pass_done"])
def test_state_in_a_middling_size(state: str, snap_compare: Snap) -> None:
    client = SceneClient()
    run_before = feed(client, STATES[state])
    assert snap_compare(make([client]), terminal_size=(100, 30), run_before=run_before)


@pytest.mark.parametrize("state", ["settled", "over", "refused", "zone_alert", "second_pass"])
def test_without_colour(state: str, snap_compare: Snap, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    client = SceneClient()
    run_before = feed(client, STATES[state])
    assert snap_compare(make([client]), terminal_size=SMALL, run_before=run_before)


DWELLING: dict[str, Sequence[Event]] = {
    "settling": [scene.walk(22, dwell=True), scene.reading("42", "settling", 0.3)],
    "running": [scene.walk(22, dwell=True), scene.reading("42", "settled", 0.6)],
    "lifted": [scene.walk(22, dwell=True), scene.reading("1240", "moving")],
    "taken": [
        scene.walk(22, dwell=True),
        *SOFAR,
        msgspec.structs.replace(SETTLED, at=SOFAR[-1].at, still=0.9),
    ],
}


@pytest.mark.parametrize("size", [SMALL, LARGE], ids=["small", "large"])
@pytest.mark.parametrize("state", DWELLING)
def test_dwelling(state: str, size: tuple[int, int], snap_compare: Snap) -> None:
    client = SceneClient()
    run_before = feed(client, DWELLING[state])
    assert snap_compare(make([client]), terminal_size=size, run_before=run_before)


def test_dwelling_without_colour(snap_compare: Snap, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    client = SceneClient()
    run_before = feed(client, DWELLING["running"])
    assert snap_compare(make([client]), terminal_size=SMALL, run_before=run_before)


def test_waiting_for_the_hub(snap_compare: Snap) -> None:
    async def factory() -> Any:
        return await asyncio.get_running_loop().create_future()

    app = RungApp(factory, scene.PLAN, frame=0, quiet_after=0)
    assert snap_compare(app, terminal_size=SMALL, run_before=lambda pilot: pilot.pause())


def test_hub_away(snap_compare: Snap) -> None:
    client = SceneClient()

    async def run_before(pilot: Pilot[None]) -> None:
        await feed(client, STATES["settled"])(pilot)
        client.leave(HubGone("its process ended."))
        app = pilot.app
        assert isinstance(app, RungApp)
        async with asyncio.timeout(30):
            while app.state is None or app.state.hub != "gone":
                await pilot.pause()
        await pilot.pause()

    app = make([client, HubGone("no hub")], retry=600)
    assert snap_compare(app, terminal_size=SMALL, run_before=run_before)


@pytest.mark.parametrize("size", [SMALL, LARGE], ids=["small", "large"])
@pytest.mark.parametrize("practising", [False, True], ids=["bench", "practice"])
def test_help(practising: bool, size: tuple[int, int], snap_compare: Snap) -> None:
    app = make([SceneClient()], practice=Still() if practising else None)
    assert snap_compare(app, press=["f1"], terminal_size=size, run_before=walking)


PEDALS = PedalSetup(TWO_PEDALS, (InputAt("/nowhere/event7", "left foot"),))


async def missed(pilot: Pilot[None]) -> None:
    """Wait until it is known that a pedal is away."""
    await walking(pilot)
    app = pilot.app
    assert isinstance(app, RungApp)
    async with asyncio.timeout(30):
        while not any("away" in line for line in app.pedals.lines):
            await pilot.pause()


@pytest.mark.parametrize("size", [SMALL, LARGE], ids=["small", "large"])
def test_help_on_pedals(size: tuple[int, int], snap_compare: Snap) -> None:
    async def run_before(pilot: Pilot[None]) -> None:
        await missed(pilot)
        await pilot.press("f1")
        await pilot.pause()
        pilot.app.screen.query_one("#page").scroll_end(animate=False)
        await pilot.pause()

    app = make([SceneClient()], pedals=PEDALS)
    assert snap_compare(app, terminal_size=size, run_before=run_before)


def test_pedal_away(snap_compare: Snap) -> None:
    app = make([SceneClient()], pedals=PEDALS)
    assert snap_compare(app, terminal_size=SMALL, run_before=missed)


def test_choosing_the_stage_by_pedal(snap_compare: Snap) -> None:
    async def run_before(pilot: Pilot[None]) -> None:
        async with asyncio.timeout(30):
            while not isinstance(pilot.app.screen, ChooseScreen):
                await pilot.pause()
        pilot.app.screen.driven("next")
        pilot.app.screen.driven("choose")
        await pilot.pause()

    app = make([SceneClient()], plan=Plan(gauge=scene.GAUGE), pedals=PedalSetup(TWO_PEDALS))
    assert snap_compare(app, terminal_size=SMALL, run_before=run_before)


def test_practice(snap_compare: Snap) -> None:
    client = SceneClient()
    app = make([client], practice=Still())
    run_before = feed(client, STATES["settled"])
    assert snap_compare(app, terminal_size=SMALL, run_before=run_before)


def test_scraped(snap_compare: Snap) -> None:
    client = SceneClient()

    async def run_before(pilot: Pilot[None]) -> None:
        await feed(client, STATES["settled"])(pilot)
        await pilot.press("S")
        await pilot.pause()

    app = make([client], practice=Still())
    assert snap_compare(app, terminal_size=(100, 30), run_before=run_before)


@pytest.mark.parametrize("size", [SMALL, LARGE], ids=["small", "large"])
def test_choosing(size: tuple[int, int], snap_compare: Snap) -> None:
    async def run_before(pilot: Pilot[None]) -> None:
        async with asyncio.timeout(30):
            while not isinstance(pilot.app.screen, ChooseScreen):
                await pilot.pause()
        await pilot.pause()

    app = make([SceneClient()], plan=Plan(gauge=scene.GAUGE))
    assert snap_compare(app, terminal_size=size, run_before=run_before)


def test_safety_at_the_first_run(snap_compare: Snap) -> None:
    app = make([SceneClient()], first_run=True)
    assert snap_compare(app, terminal_size=SMALL, run_before=walking)


def test_palette(snap_compare: Snap) -> None:
    async def run_before(pilot: Pilot[None]) -> None:
        await walking(pilot)
        await pilot.press("ctrl+p")
        await pilot.press(*"stage")
        async with asyncio.timeout(30):
            while not pilot.app.screen.query_one(OptionList).option_count:
                await pilot.pause()
        pilot.app.screen.query_one(Input).cursor_blink = False
        await pilot.pause()

    assert snap_compare(make([SceneClient()]), terminal_size=SMALL, run_before=run_before)


class Still:
    """Hands of practice mode that do nothing."""

    async def place(self, station: str) -> None:
        pass

    async def lift(self) -> None:
        pass

    async def scrape(self, station: str, zone: str, strokes: int) -> None:
        pass
