"""The page of the gauges on the hub itself, its indicator on a scripted link."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from decimal import Decimal
from pathlib import Path

from gaugelink.capture.settling import Standing
from gaugelink.daemon import messages as m
from gaugelink.daemon.client import Client, LocalClient
from tests.daemon.scripted import Scene, scene, settle
from tests.tui.bench import Bench, RungApp
from tests.tui.gauges import GaugesPage
from tui.plan import Plan
from tui.screens.gauges import GaugesScreen
from tui.screens.teach import TeachScreen
from tui.state import BenchState
from tui.widgets.status import Header

PLAN = Plan(reed="R1", style="millrace-long", stage="windows", gauge="g")


@asynccontextmanager
async def on_a_hub(folder: Path) -> AsyncIterator[tuple[Scene, GaugesPage]]:
    """A bench on a real hub, with the page of the gauges open."""
    async with scene(folder / "store", descriptions=folder / "own") as hub:
        await hub.gauge()
        client = LocalClient(hub.hub)

        async def factory() -> Client:
            return client

        app = RungApp(factory, PLAN, frame=0, quiet_after=0, look_every=0.05)
        async with asyncio.timeout(60), app.run_test(size=(80, 24)) as pilot:
            at = Bench(app, None, pilot)  # type: ignore[arg-type]  # there is no script to ask
            await at.until(lambda: app.state is not None and app.state.walk is not None)
            await at.press("g")
            await at.until(lambda: isinstance(app.screen, GaugesScreen))
            on = GaugesPage(at)
            await at.until(lambda: len(on.cards) == 1)
            yield hub, on


def standing(on: GaugesPage) -> Standing | None:
    """What the bench shows of the spindle."""
    state = on.at.app.state
    return state.reading.standing if state and state.reading else None


async def test_readings_and_bytes_of_a_gauge_go_on_after_it_was_renamed(tmp_path: Path) -> None:
    async with on_a_hub(tmp_path) as (hub, on):
        await on.at.press("b")
        await settle()
        await hub.place(43)
        await on.at.until(lambda: "0.430␊" in on.shows("#raw-rows"))
        await on.at.until(lambda: standing(on) == "settled")
        await on.at.press("r")
        await on.write("tall")
        await on.at.until(lambda: on.selected == ["tall"])
        assert on.said == "g is called tall from now on"
        await hub.place(57)
        await on.at.until(lambda: "0.570␊" in on.shows("#raw-rows"))
        await on.at.press("escape")
        await on.at.until(lambda: "tall: link up" in on.at.text(Header))
        state = on.at.app.state
        assert state is not None
        assert state.reading is not None
        assert (state.reading.gauge, state.live) == ("tall", Decimal(57))
        assert state.walk is not None
        assert (state.walk.gauge, on.at.app.plan.gauge) == ("tall", "tall")
        await on.at.press("space")
        await on.at.until(lambda: bool(state_of(on).captures))
        assert state_of(on).captures[0].hundredths == 57


def state_of(on: GaugesPage) -> BenchState:
    """What the bench shows."""
    assert on.at.app.state is not None
    return on.at.app.state


async def test_bad_frames_and_a_lost_link_are_shown(tmp_path: Path) -> None:
    async with on_a_hub(tmp_path) as (hub, on):
        hub.link.feed(b"rubbish\n0.430\n", hub.clock.now)
        await on.at.until(lambda: "1 bad frame: 1 no match" in on.cards[0])
        assert "rubbish" in on.cards[0]
        assert "1 reading in all" in on.cards[0]
        hub.link.refuse = "no such port: plug it in"
        hub.link.lose("unplugged")
        await on.at.until(lambda: "LINK DOWN  no such port: plug it in" in on.cards[0])
        hub.link.refuse = ""
        await on.at.until(lambda: "link up, opened anew" in on.cards[0])


async def test_a_gauge_that_is_let_go_of_leaves_the_page(tmp_path: Path) -> None:
    async with on_a_hub(tmp_path) as (hub, on):
        await hub.client.ask(m.StopWalk())
        await hub.client.ask(m.RemoveGauge(name="g"))
        await on.at.until(lambda: not on.cards)
        assert on.at.app.state is not None
        assert on.at.app.state.without


async def test_teaching_begins_and_is_stopped(tmp_path: Path) -> None:
    async with on_a_hub(tmp_path) as (hub, on):
        await on.at.press("t")
        await on.at.until(lambda: isinstance(on.at.app.screen, TeachScreen))
        await on.at.until(lambda: "move the spindle" in on.shows("#teach-now"))
        await on.at.press("escape")
        await on.at.until(lambda: "link up" in on.cards[0])
        assert on.said == "the teaching was stopped: g goes on as before"
        opened = hub.link.opened
        await hub.say(43, 3)
        await on.at.until(lambda: "never heard" not in on.cards[0])
        assert hub.link.opened == opened


async def test_no_bytes_are_sent_once_the_page_is_left(tmp_path: Path) -> None:
    async with on_a_hub(tmp_path) as (hub, on):
        followers = hub.hub._followers
        await on.at.press("b")
        await on.at.until(lambda: any(each.interest.raw for each in followers))
        await hub.say(43, 20)
        await on.at.press("escape")
        await on.at.until(lambda: not any(each.interest.raw for each in followers))


async def test_the_bench_can_be_left_while_bytes_flow_and_a_gauge_is_taught(
    tmp_path: Path,
) -> None:
    async with on_a_hub(tmp_path) as (hub, on):
        await on.at.press("b")
        await hub.say(43, 20)
        await on.at.press("t")
        await on.at.until(lambda: isinstance(on.at.app.screen, TeachScreen))
        await on.at.press("q")
    assert on.at.app.return_code == 0
