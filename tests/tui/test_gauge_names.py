"""Renaming a gauge, and what the bench learns of names that change and gauges that go."""

from __future__ import annotations

import msgspec
from textual.widgets import Input

from gaugelink.daemon.client import HubError
from gaugelink.daemon.messages import (
    GaugeGone,
    RenameGauge,
    StartWalk,
)
from tests.tui.bench import bench
from tests.tui.gauges import (
    OTHER,
    follows,
    gauges_page,
    hub,
    raw,
)
from tui import scene
from tui.screens.gauges import GaugesScreen
from tui.widgets.keybar import Bar, Notice
from tui.widgets.status import Banner, Header


async def test_a_gauge_is_renamed() -> None:
    async with gauges_page() as on:
        await on.at.press("r")
        assert on.written == scene.GAUGE
        await on.write("  big dial ")
        assert on.at.client.asked(RenameGauge) == [RenameGauge(name=scene.GAUGE, to="big dial")]
        assert on.said == "dial is called big dial from now on"
        assert not on.writing()
        assert isinstance(on.at.app.screen, GaugesScreen)


async def test_keys_are_letters_while_a_name_is_written() -> None:
    async with gauges_page() as on:
        await on.at.press("r")
        await on.at.press("space", "q", "question_mark", "t", "b", "down", "pageup", "g")
        assert on.written == "dial q?tbg"
        assert on.selected == [scene.GAUGE]
        await on.at.press("escape")
        assert on.at.client.asked(RenameGauge) == []
        assert on.cards[0].startswith("dial ")
        await on.at.press("escape")
        assert on.at.app.screen is on.at.app.screen_stack[0]


async def test_a_name_that_cannot_be_is_said_and_can_be_written_again() -> None:
    why = "there is a gauge called 'window' already: choose another name"
    async with gauges_page(hub({RenameGauge: HubError(why)})) as on:
        await on.at.press("r")
        await on.write("window")
        assert on.said == why
        assert on.rung == 1
        assert on.writing()
        await on.write("   ")
        assert "a gauge needs a name" in on.said
        assert len(on.at.client.asked(RenameGauge)) == 1
        await on.write(scene.GAUGE)
        assert not on.writing()
        assert len(on.at.client.asked(RenameGauge)) == 1


async def test_clicks_on_the_bar_rename_too() -> None:
    async with gauges_page() as on:
        bar = on.page.query_one(Bar)
        await on.at.pilot.click(Bar, offset=(bar.place_of("rename"), 0))
        await on.at.pilot.pause()
        assert on.written == scene.GAUGE
        on.page.query_one(Input).value = "tall"
        await on.at.pilot.click(Bar, offset=(bar.place_of("keep"), 0))
        await on.at.until(lambda: bool(on.at.client.asked(RenameGauge)))
        await on.at.pilot.pause()
        await on.at.pilot.click(Bar, offset=(bar.place_of("leave"), 0))
        await on.at.pilot.pause()
        assert on.at.app.screen is on.at.app.screen_stack[0]


async def test_a_renamed_gauge_keeps_its_place_its_counts_and_its_bytes() -> None:
    async with gauges_page() as on:
        await on.at.press("b")
        await on.at.hear(raw(b"+1.00\r"))
        await on.at.hear(GaugeGone(scene.GAUGE, renamed="big"))
        assert on.selected == ["big"]
        assert [card.split()[0] for card in on.cards] == ["big", OTHER]
        assert "1204 readings in all" in on.cards[0]
        assert follows(on)[-1] == (["big"], True)
        await on.at.hear(raw(b"+2.00\r", gauge="big"))
        assert "+1.00" in on.shows("#raw-rows")
        assert "+2.00" in on.shows("#raw-rows")


async def test_a_gauge_that_is_renamed_elsewhere_meanwhile_can_still_be_renamed() -> None:
    async with gauges_page() as on:
        await on.at.press("r", "2")
        await on.at.hear(GaugeGone(scene.GAUGE, renamed="big"))
        assert on.written == "dial2"
        await on.at.press("enter")
        assert on.at.client.asked(RenameGauge) == [RenameGauge(name="big", to="dial2")]
        await on.at.press("r")
        await on.at.hear(GaugeGone("big"))
        assert not on.writing()
        assert on.selected == [OTHER]


async def test_the_bench_goes_on_with_a_gauge_that_goes_by_another_name() -> None:
    async with bench(hub()) as at:
        await at.hear(scene.reading("43", "settled", 0.5))
        await at.hear(GaugeGone(scene.GAUGE, renamed="big"))
        assert "big: link up" in at.text(Header)
        reading = msgspec.structs.replace(scene.reading("41", "settled", 0.5), gauge="big")
        await at.hear(reading)
        assert at.app.state is not None
        assert at.app.state.reading == reading
        assert at.app.rung == 0
        await at.hear(msgspec.structs.replace(scene.walk(34), gauge="big"))
        await at.press("n")
        assert at.client.asked(StartWalk)[-1].gauge == "big"


async def test_the_bench_says_that_its_gauge_was_let_go_of() -> None:
    async with bench(hub()) as at:
        await at.hear(scene.reading("43", "settled", 0.5))
        await at.hear(GaugeGone(scene.GAUGE))
        assert at.text(Banner) == (
            "GAUGE GONE · dial was let go of: connect it again, or choose another with g"
        )
        assert "dial: gone" in at.text(Header)
        assert at.app.rung == 1
        assert at.app.state is not None
        assert at.app.state.live is None
        await at.hear(scene.gauge())
        assert "GONE" not in at.text(Banner)
        await at.hear(GaugeGone(OTHER))
        assert "GONE" not in at.text(Banner)
        assert at.app.rung == 1


async def test_a_trouble_while_the_page_is_left_is_said_at_the_bench() -> None:
    client = hub()
    async with gauges_page(client) as on:
        await on.at.press("b")
        client.closed = True
        await on.at.press("escape")
        assert "the hub went away before it answered" in on.at.text(Notice)
