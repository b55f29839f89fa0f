"""The lines above and below the reed: header, banner, zones, what was said, and the keys."""

from __future__ import annotations

import pytest
from rich.cells import cell_len
from textual.widgets import Digits

from gaugelink.daemon.client import HubError
from gaugelink.daemon.messages import (
    Press,
    Refused,
    StartWalk,
    ZoneAlert,
)
from tests.tui.bench import Spindle, bench
from tui import scene
from tui.keys import ACTIONS, shown
from tui.scene import SceneClient
from tui.widgets.keybar import KeyBar, Notice
from tui.widgets.status import Banner, Header
from tui.widgets.zones import Progress, Zones

COMPLETE = scene.walk(34, offsets=(0,))


async def test_what_comes_next_and_what_is_to_go() -> None:
    async with bench() as at:
        walk = scene.walk(5)
        await at.hear(walk)
        said = at.text(Progress)
        assert "next  crossed, left, 62" in said
        assert f"to go {walk.to_go}" in said
        assert "5 of 34" in said
        assert "windows" in at.text(Zones)
        assert "take 5" in at.text(Zones)


async def test_a_capture_is_said() -> None:
    async with bench() as at:
        walk = scene.walk(1)
        await at.hear(walk, scene.captured(walk, 0))
        assert at.text(Notice) == "captured  43, take 3 · crossed, left, 53"
        assert at.app.rung == 0


async def test_a_refusal_is_shown_and_rings() -> None:
    async with bench() as at:
        await at.hear(Refused("bench", "moving", "not settled yet: hold still and press again"))
        assert at.text(Notice) == "NOT TAKEN · not settled yet: hold still and press again"
        assert at.app.rung == 1


async def test_what_the_hub_would_not_do_is_said_and_rings() -> None:
    async with bench(SceneClient({Press: HubError("no walk at this bench; start one")})) as at:
        await at.press("k")
        assert "no walk at this bench" in at.text(Notice)
        assert at.app.rung == 1


async def test_a_zone_on_target_rings_and_has_the_banner_until_the_next_capture() -> None:
    async with bench() as at:
        walk = scene.walk(12)
        await at.hear(walk, ZoneAlert("bench", scene.REED, "windows", "windows"))
        assert at.text(Banner) == "ZONE ON TARGET · windows: leave it"
        assert at.app.rung == 1
        await at.hear(scene.captured(walk, 11))
        assert "ZONE" not in at.text(Banner)


async def test_a_lost_link_is_said_at_once_with_reason_and_retry() -> None:
    async with bench() as at:
        await at.hear(scene.reading("43", "settled", 0.5))
        await at.hear(scene.gauge("down", "the port is gone: plug it in", 2.0))
        assert at.text(Banner) == ("LINK DOWN · the port is gone: plug it in; trying again in 2 s")
        assert "link down" in at.text(Header)
        assert at.app.screen.query_one(Digits).value == "--"
        assert at.app.rung == 1
        await at.hear(scene.gauge(status="battery low"), scene.reading("41"))
        assert "LINK" not in at.text(Banner)
        assert "link up · battery low" in at.text(Header)
        assert at.app.screen.query_one(Digits).value == "41"


async def test_a_click_on_a_key_does_what_the_key_does() -> None:
    async with bench() as at:
        keys = at.app.screen.query_one(KeyBar)
        await at.pilot.click(KeyBar, offset=(keys.place_of("skip"), 0))
        await at.pilot.pause()
        assert at.presses == [("skip", "")]


async def test_the_end_of_the_last_stage_is_said_plainly_and_calmly() -> None:
    done = Refused("bench", "done", "nothing is left to take at this stage")
    async with bench(SceneClient({Press: done})) as at:
        await at.hear(scene.walk(99, stage="finish", offsets=(0,)))
        assert at.text(Banner) == "COMPLETE · nothing left to take · this was the last stage"
        for key in ("enter", "n"):
            await at.press(key, "escape")  # after a press the rack lies in front
            assert at.text(Notice) == "this was the last stage: nothing follows it"
        assert at.app.rung == 0
        assert len(at.client.asked(StartWalk)) == 1


async def test_what_is_over_is_not_hidden_by_a_complete_stage() -> None:
    async with bench() as at:
        await at.hear(scene.walk(34, offsets=(0, -4)))
        assert at.text(Banner).startswith("COMPLETE · 17 over · rest it overnight, then n")


async def test_the_zone_that_ends_the_pass_does_not_hide_that_it_is_done() -> None:
    async with bench() as at:
        await at.hear(COMPLETE, ZoneAlert("bench", scene.REED, "corners", "corners"))
        alert, end = at.text(Banner).splitlines()
        assert alert == "ZONE ON TARGET · corners: leave it"
        assert end.startswith("COMPLETE · ")


async def test_a_second_press_is_refused_calmly() -> None:
    async with bench() as at:
        walk = scene.walk(1)
        await at.hear(walk, scene.captured(walk, 0))
        await at.hear(Refused("bench", "too soon", "second press: not taken"))
        said = "captured  43, take 3 · crossed, left, 53 · second press: not taken"
        assert at.text(Notice) == said
        assert not at.app.screen.query_one(Notice).has_class("-refused")
        assert at.app.rung == 0


async def test_a_long_line_gives_way_to_what_is_said_beside_it() -> None:
    async with bench() as at:
        walk = scene.walk(13, offsets=(12,))
        await at.hear(walk, scene.captured(walk, 12))
        await at.hear(Refused("bench", "too soon", "second press: gone one station only"))
        assert at.text(Notice).endswith("… · second press: gone one station only")
        assert cell_len(at.text(Notice)) <= 78


@pytest.mark.parametrize("width", [40, 60, 80, 96, 100, 112, 140])
@pytest.mark.parametrize("practice", [False, True])
async def test_the_bar_of_keys_has_only_whole_entries(width: int, practice: bool) -> None:
    async with bench(size=(width, 24), practice=Spindle() if practice else None) as at:
        bar = at.app.screen.query_one(KeyBar)
        shown_now = bar.render_line(0).text
        assert bar.place_of("quit") > bar.place_of("help") > 0
        offered = [each for each in ACTIONS if f" {each.title} " in f"{shown_now} "]
        entries = [f"{shown(each.keys[0])} {each.title}" for each in offered]
        assert shown_now.strip() == "  ".join(entries)


async def test_a_short_bar_of_keys_keeps_what_is_pressed_most() -> None:
    for practice, last in ((None, "again"), (Spindle(), "lift")):
        async with bench(practice=practice) as at:
            bar = at.app.screen.query_one(KeyBar)
            for name in ("capture", "back", "retake", "skip", last, "help", "quit"):
                assert bar.place_of(name) > 0


async def test_the_header_has_the_length_where_there_is_room() -> None:
    async with bench() as at:
        assert "Balance the four quadrants  70 mm" in at.text(Header)
        await at.hear(scene.gauge(status="battery low, replace it before long"))
        assert "mm" not in at.text(Header)
        assert "battery low, replace it before long" in at.text(Header)


async def test_the_time_until_the_next_try_is_said_in_tenths() -> None:
    async with bench() as at:
        await at.hear(scene.gauge("down", "it is gone", 0.8192))
        assert at.text(Banner) == "LINK DOWN · it is gone; trying again in 0.8 s"


async def test_a_long_banner_is_wrapped_and_only_then_cut() -> None:
    async with bench() as at:
        reason = "/dev/ttyUSB0 cannot be opened: permission denied; join the group that owns it"
        await at.hear(scene.gauge("down", reason, 2.0))
        lines = at.text(Banner).splitlines()
        assert " ".join(lines) == f"LINK DOWN · {reason}; trying again in 2 s"
        await at.hear(scene.gauge("down", " ".join([reason] * 5), 2.0))
        lines = at.text(Banner).splitlines()
        assert len(lines) == 2
        assert lines[1].endswith("…")
        assert all(cell_len(line) <= 78 for line in lines)
