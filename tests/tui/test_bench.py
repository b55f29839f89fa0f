"""What keys, clicks and events do at the bench."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import msgspec
import pytest
from textual.command import CommandPalette
from textual.events import Resize
from textual.geometry import Size
from textual.widgets import Digits, OptionList, Static

from gaugelink.daemon.client import HubError, HubGone
from gaugelink.daemon.messages import (
    AddGauge,
    Follow,
    Press,
    Refused,
    StartWalk,
    ZoneAlert,
)
from tests.tui.bench import bench, make
from tui import scene
from tui.keys import ACTIONS, shown
from tui.plan import Plan
from tui.scene import SceneClient
from tui.screens.choose import ChooseScreen
from tui.screens.help import HelpScreen
from tui.screens.safety import SafetyScreen
from tui.widgets.keybar import KeyBar, Notice
from tui.widgets.readout import Compare, LiveVerdict, Place, Standing, StillBar
from tui.widgets.reed_view import ReedView
from tui.widgets.status import Banner, Header
from tui.widgets.zones import Progress, Zones

COMPLETE = scene.walk(34, offsets=(0,))
NO_WALK = Plan(gauge=scene.GAUGE)


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


@pytest.mark.parametrize(
    ("key", "gesture"),
    [
        ("space", "capture"),
        ("enter", "capture"),
        ("pagedown", "capture"),
        ("right", "capture"),
        ("pageup", "back"),
        ("left", "back"),
        ("r", "retake"),
        ("k", "skip"),
        ("p", "pause"),
        ("a", "again"),
    ],
)
async def test_a_key_is_a_gesture(key: str, gesture: str) -> None:
    async with bench() as at:
        await at.press(key)
        assert at.presses == [(gesture, "")]


async def test_the_pause_key_goes_on_when_paused() -> None:
    async with bench() as at:
        await at.hear(scene.walk(3, paused=True))
        assert "PAUSED" in at.text(Banner)
        await at.press("p")
        assert at.presses == [("resume", "")]


async def test_the_hub_is_asked_for_what_the_plan_says() -> None:
    plan = replace(scene.PLAN, port="/dev/ttyUSB0", description="known", trigger="dwell")
    client = SceneClient({AddGauge: scene.gauge("opening")})
    async with bench(client, plan=plan):
        kinds = [type(request) for request in client.requests]
        assert kinds.index(Follow) < kinds.index(AddGauge) < kinds.index(StartWalk)
        assert client.asked(AddGauge) == [
            AddGauge(name=scene.GAUGE, port="/dev/ttyUSB0", description="known")
        ]
        assert client.asked(StartWalk) == [
            StartWalk(
                reed=scene.REED,
                style=scene.STYLE,
                stage=scene.STAGE,
                gauge=scene.GAUGE,
                trigger="dwell",
            )
        ]


async def test_the_readout_says_settled_or_moving_and_what_to_do() -> None:
    async with bench() as at:
        digits = at.app.screen.query_one(Digits)
        await at.hear(scene.reading("47", "moving"))
        assert digits.value == "47"
        assert "moving" in at.text(Standing)
        await at.hear(scene.reading("43", "settled", 0.5))
        assert digits.value == "43"
        assert "SETTLED" in at.text(Standing)
        assert at.text(LiveVerdict) == " TAKE 3   target 40 ±1"
        assert at.text(Place) == "crossed, left, 53\nwindows"


async def test_in_dwell_mode_the_bar_runs_to_the_capture() -> None:
    async with bench() as at:
        await at.hear(scene.walk(2, dwell=True))
        lengths = []
        for still in (0.0, 0.4, 0.8):
            await at.hear(scene.reading("43", "settling" if still < 0.4 else "settled", still))
            lengths.append(at.text(StillBar).count("━"))
        assert "takes at 0.8 s" in at.text(StillBar)
        full = lengths[2]
        assert lengths[0] == 0
        assert lengths[1] == pytest.approx(full / 2, abs=1)
        assert "─" not in at.text(StillBar)


async def test_mirrored_and_opposite_stand_beside_the_live_value() -> None:
    async with bench() as at:
        await at.hear(scene.walk(22), scene.reading("42", "settled", 0.5))
        assert at.text(Place).startswith("uncrossed, right, 59")
        mirrored, opposite = at.text(Compare).splitlines()
        stops = scene.walk(22).stops
        at_key = {stop.station: stop for stop in stops}
        assert f"{at_key['uncrossed/59/-0.5'].hundredths}" in mirrored
        assert f"{at_key['crossed/59/-0.5'].hundredths}" in opposite


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


async def test_a_click_on_a_station_goes_there() -> None:
    async with bench() as at:
        reed = at.app.screen.query_one(ReedView)
        for spot in (reed.drawing.spots[0], reed.drawing.spots[-1]):
            await at.pilot.click(ReedView, offset=(spot.x, spot.y))
        await at.pilot.pause()
        stations = [spot.mark.key for spot in (reed.drawing.spots[0], reed.drawing.spots[-1])]
        assert at.presses == [("goto", station) for station in stations]


async def test_a_click_on_a_key_does_what_the_key_does() -> None:
    async with bench() as at:
        keys = at.app.screen.query_one(KeyBar)
        await at.pilot.click(KeyBar, offset=(keys.place_of("skip"), 0))
        await at.pilot.pause()
        assert at.presses == [("skip", "")]


async def test_keys_can_be_configured() -> None:
    async with bench(keys={"capture": ["f5", "x"], "help": ["h"]}) as at:
        await at.press("f5", "x", "space", "enter")
        assert at.presses == [("capture", ""), ("capture", "")]
        await at.press("h")
        assert isinstance(at.app.screen, HelpScreen)


async def test_help_on_one_key_lists_every_binding_and_the_words_on_safety() -> None:
    async with bench(practice=Spindle()) as at:
        await at.press("question_mark")
        page = "\n".join(str(each.content) for each in at.app.screen.query(Static))
        for action in ACTIONS:
            assert action.help in page
            assert "  ".join(shown(key) for key in action.keys) in page
        for word in ("razor-sharp", "hygiene", "ear and judgement decide"):
            assert word in page
        await at.press("question_mark")
        assert at.app.screen is at.app.screen_stack[0]


async def test_the_palette_has_the_same_actions() -> None:
    async with bench() as at:
        await at.press("ctrl+p")
        assert isinstance(at.app.screen, CommandPalette)
        await at.pilot.press(*"leave this station")
        options = at.app.screen.query_one(OptionList)
        await at.until(lambda: options.option_count > 0)
        await at.press("enter")
        await at.until(lambda: bool(at.presses))
        assert at.presses == [("skip", "")]


async def test_enter_at_a_complete_stage_starts_the_one_that_follows() -> None:
    done = Refused("bench", "done", "nothing is left to take at this stage")
    async with bench(SceneClient({Press: done})) as at:
        await at.hear(COMPLETE)
        assert "COMPLETE" in at.text(Banner)
        assert "rested" in at.text(Banner)
        await at.press("enter")
        assert [walk.stage for walk in at.client.asked(StartWalk)] == ["balance", "rested"]


async def test_a_bouncing_pedal_at_the_end_does_not_start_the_next_stage() -> None:
    hurried = Refused("bench", "too soon", "second press: not taken")
    async with bench(SceneClient({Press: hurried})) as at:
        await at.hear(COMPLETE)
        await at.press("enter")
        assert len(at.client.asked(StartWalk)) == 1


async def test_next_waits_until_the_pass_is_done() -> None:
    async with bench() as at:
        await at.hear(scene.walk(4))
        await at.press("n")
        assert "this pass is not done yet: 4 of 34" in at.text(Notice)
        await at.hear(scene.walk(34))
        assert "PASS 1 DONE" in at.text(Banner)
        await at.press("n")
        assert [walk.stage for walk in at.client.asked(StartWalk)] == ["balance", "rested"]


async def test_practice_moves_the_spindle_with_the_walk_and_scrapes() -> None:
    spindle = Spindle()
    async with bench(practice=spindle) as at:
        await at.hear(scene.walk(1))
        await at.press("s")
        await at.press("S")
        await at.press("l")
        await at.hear(scene.walk(34))
        here = "crossed/53/+0.5"
        assert spindle.did == [
            ("place", "crossed/53/-0.5"),
            ("place", here),
            ("scrape", here, "windows", 1),
            ("place", here),
            ("scrape", here, "windows", 5),
            ("place", here),
            ("lift",),
            ("lift",),
        ]


async def test_without_practice_the_knife_is_out_of_reach() -> None:
    async with bench() as at:
        await at.press("s", "S", "l")
        assert at.app.rung == 0
        assert at.presses == []


async def test_without_a_reed_the_rack_is_shown_and_enter_starts_the_walk() -> None:
    async with bench(plan=NO_WALK) as at:
        await at.until(lambda: isinstance(at.app.screen, ChooseScreen))
        await at.pilot.pause()
        await at.press("down", "enter")
        started = at.client.asked(StartWalk)
        assert [(walk.reed, walk.style, walk.stage) for walk in started] == [
            ("Halvard 13", "millrace-long", "windows")
        ]


async def test_another_stage_can_be_chosen_on_the_right() -> None:
    async with bench(plan=NO_WALK) as at:
        await at.until(lambda: isinstance(at.app.screen, ChooseScreen))
        await at.pilot.pause()
        await at.press("right", "down", "enter")
        assert [walk.stage for walk in at.client.asked(StartWalk)] == ["rested"]


async def test_the_words_on_safety_are_shown_once_at_the_first_run() -> None:
    seen: list[bool] = []
    async with bench(first_run=True, on_safety_seen=lambda: seen.append(True)) as at:
        await at.until(lambda: isinstance(at.app.screen, SafetyScreen))
        assert not seen
        await at.press("enter")
        assert seen == [True]
        assert at.presses == []
        assert at.app.screen is at.app.screen_stack[0]


async def test_the_hub_went_away_and_came_back() -> None:
    first, second = SceneClient(), SceneClient()
    async with bench(clients=[first, HubGone("not there yet"), second], retry=0.01) as at:
        await at.until(lambda: bool(first.asked(StartWalk)))
        first.leave(HubGone("it was ended."))
        await at.until(lambda: bool(second.asked(StartWalk)))
        await at.until(lambda: at.app.state is not None and at.app.state.hub == "here")
        await at.pilot.pause()
        assert first.closed
        assert at.app.rung == 1, "once for the loss, not once a second"
        assert "away" not in at.text(Banner)


async def test_while_the_hub_is_away_it_says_so_and_takes_nothing() -> None:
    async with bench(clients=[HubGone("no hub at that socket.")], retry=60) as at:
        await at.until(lambda: at.app.state is not None and at.app.state.hub == "gone")
        await at.pilot.pause()
        assert at.text(Banner).startswith("The hub went away: no hub at that socket.")
        rung = at.app.rung
        await at.press("space")
        assert "the hub is away: nothing done" in at.text(Notice)
        assert at.app.rung == rung + 1


async def test_a_flood_of_readings_ends_with_the_newest_and_loses_no_event() -> None:
    walk = scene.walk(34)
    async with bench(frame=1 / 30) as at:
        captures = [scene.captured(walk, index) for index in range(34)]
        flood: list[Any] = []
        for index in range(3400):
            flood.append(scene.reading(str(20 + index % 60), seq=index))
            if index % 100 == 0:
                flood.append(captures[index // 100])
        await at.hear(*flood, scene.reading("77", "settled", 1.0, seq=9999))
        await at.until(lambda: at.app.screen.query_one(Digits).value == "77")
        assert at.app.state is not None
        assert at.app.state.captures[0] == captures[33]


async def test_a_gauge_that_falls_silent_is_said_to_be() -> None:
    async with bench(quiet_after=0.05) as at:
        await at.hear(scene.reading("43", "settled", 0.5))
        await at.until(lambda: "silent" in at.text(Standing))
        assert at.text(LiveVerdict).startswith(" – ")


async def test_odd_walks_are_shown_without_a_fault() -> None:
    walk = scene.walk(3)
    empty = msgspec.structs.replace(walk, stops=[], zones=[], at_stop=3, next_stop=7, of=0)
    strange = msgspec.structs.replace(walk.stops[0], station="nowhere/at/all")
    lone = msgspec.structs.replace(walk, stops=[strange], at_stop=0, next_stop=None)
    async with bench() as at:
        for odd in (empty, lone, msgspec.structs.replace(walk, stops=walk.stops[:1], at_stop=0)):
            await at.hear(odd, scene.reading("43", "settled", 0.5))
        assert "no station" in at.text(Compare)


async def test_no_colour_is_needed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    async with bench() as at:
        walk = scene.walk(4)
        await at.hear(walk, scene.captured(walk, 3), scene.reading("38", "settled", 0.5))
        assert at.text(LiveVerdict).startswith(" OVER 2 ")
        svg = at.app.export_screenshot()
        colours = {
            (letters or ground).lower()
            for letters, ground in re.findall(
                r"-r\d+ \{ fill: (#\w{6})|<rect fill=\"(#\w{6})\" x", svg
            )
        }
        colours.discard("#c5c8c6")  # where nothing is written, in the picture's own colour
        assert colours
        assert all(colour[1:3] == colour[3:5] == colour[5:7] for colour in colours)


async def test_sizes_that_follow_each_other_quickly_end_with_the_last() -> None:
    async with bench() as at:
        screen = at.app.screen
        for height in (25, 24, 40, 25, 24):
            at.app.post_message(Resize(Size(120, height), Size(120, height)))
            screen.post_message(Resize(Size(120, height), Size(120, height)))
        await at.until(lambda: screen.size == Size(120, 24))
        layouts = 0

        def count(_: object) -> None:
            nonlocal layouts
            layouts += 1

        screen.screen_layout_refresh_signal.subscribe(screen, count, immediate=True)
        for _ in range(5):
            await at.pilot.pause()
        assert layouts == 0
        assert screen.size == Size(120, 24)


def test_the_bench_is_made_without_a_loop_or_a_hub() -> None:
    app = make([SceneClient()])
    assert app.state is None
