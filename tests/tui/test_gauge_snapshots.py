"""The pages of the gauges and of teaching as pictures, like those in `test_snapshots`."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any

import pytest
from textual.pilot import Pilot
from textual.widgets import Input

from gaugelink.daemon.messages import Diagnose, Event, Gauges, TeachingEvent
from tests.tui.bench import Bench, RungApp, make
from tests.tui.gauges import (
    ANSWERS,
    NO_GAUGE,
    GaugesPage,
    counts,
    diagnosis,
    hub,
    open_page,
    raw,
    still,
    taught,
    teaching,
)
from tui import scene
from tui.scene import SceneClient

Snap = Callable[..., bool]
Step = Callable[[GaugesPage], Awaitable[None]]
SIZES = pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["small", "large"])

SENTENCES = [
    TeachingEvent(scene.GAUGE, "listening to /dev/ttyUSB0; move the spindle slowly up and down"),
    TeachingEvent(scene.GAUGE, "move the spindle slowly up and down"),
]
STREAM = [raw(b"+00.%02d mm\r" % (43 + index % 3), at=100 + index / 10) for index in range(40)] + [
    raw(b"\x02+0043\x03\xa37\r\n", at=104.0, missed=212)
]


def shot(
    snap_compare: Snap,
    size: tuple[int, int],
    *steps: Step,
    client: SceneClient | None = None,
    **options: Any,
) -> None:
    """Compare the page with its picture, once these steps were taken on it."""
    client = client or hub()

    async def run_before(pilot: Pilot[None]) -> None:
        app = pilot.app
        assert isinstance(app, RungApp)
        at = Bench(app, client, pilot)
        async with asyncio.timeout(30):
            await at.until(lambda: app.state is not None and app.state.walk is not None)
            await open_page(at)
            for step in steps:
                await step(GaugesPage(at))
        for field in app.screen.query(Input):
            field.cursor_blink = False
        await pilot.pause()

    app = make([client], **{"look_every": 0, "clock": still, **options})
    assert snap_compare(app, terminal_size=size, run_before=run_before)


def hearing(*events: Event) -> Step:
    async def step(on: GaugesPage) -> None:
        await on.at.hear(*events)

    return step


def pressing(*keys: str) -> Step:
    async def step(on: GaugesPage) -> None:
        await on.at.press(*keys)

    return step


@SIZES
def test_two_gauges_one_well_and_one_down(size: tuple[int, int], snap_compare: Snap) -> None:
    shot(snap_compare, size)


def test_two_gauges_without_colour(snap_compare: Snap, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    shot(snap_compare, (80, 24), hearing(scene.gauge(status="battery low")))


@SIZES
def test_what_a_gauge_sends(size: tuple[int, int], snap_compare: Snap) -> None:
    shot(snap_compare, size, pressing("b"), hearing(*STREAM))


def test_what_a_gauge_sent_paused(snap_compare: Snap) -> None:
    more = hearing(raw(b"+00.44 mm\r", at=104.1))
    shot(snap_compare, (80, 24), pressing("b"), hearing(*STREAM), pressing("p"), more)


@SIZES
def test_no_gauge(size: tuple[int, int], snap_compare: Snap) -> None:
    client = hub({Gauges: [], Diagnose: diagnosis()})
    shot(snap_compare, size, client=client, plan=NO_GAUGE)


def test_renaming(snap_compare: Snap) -> None:
    shot(snap_compare, (80, 24), pressing("r"))


@SIZES
def test_teaching(size: tuple[int, int], snap_compare: Snap) -> None:
    shot(snap_compare, size, teaching, hearing(*SENTENCES))


@SIZES
def test_taught_with_a_question(size: tuple[int, int], snap_compare: Snap) -> None:
    shot(snap_compare, size, teaching, hearing(*SENTENCES, taught(*ANSWERS)))


@SIZES
def test_taught_and_to_be_named(size: tuple[int, int], snap_compare: Snap) -> None:
    shot(snap_compare, size, teaching, hearing(*SENTENCES, taught(*ANSWERS)), pressing("2"))


def test_nothing_was_found(snap_compare: Snap) -> None:
    why = (
        "/dev/ttyUSB0: nothing came; listened at 9600 (0 bytes), 19200 (0 bytes), 4800 (0 bytes); "
        "asked with '?\\r'. Is it switched on and plugged in?"
    )
    shot(snap_compare, (80, 24), teaching, hearing(*SENTENCES, taught(failed=why)))


def test_a_gauge_with_a_battery(snap_compare: Snap) -> None:
    well = counts(battery=80, refused={}, last_refused="", reopened=0)
    client = hub({Gauges: [scene.gauge(status="battery 80 %")], Diagnose: diagnosis(well)})
    shot(snap_compare, (80, 24), client=client)
