"""What keys, clicks and the hub's coming and going do at the bench."""

from __future__ import annotations

import re
from dataclasses import replace

import msgspec
import pytest
from textual.command import CommandPalette
from textual.events import Resize
from textual.geometry import Region, Size
from textual.widget import Widget
from textual.widgets import OptionList, Static

from gaugelink.daemon.client import HubGone
from gaugelink.daemon.messages import (
    AddGauge,
    Follow,
    Press,
    Refused,
    StartWalk,
    ZoneAlert,
)
from tests.tui.bench import Spindle, bench, make
from tui import scene
from tui.keys import ACTIONS, shown
from tui.plan import Plan
from tui.scene import SceneClient
from tui.screens.choose import ChooseScreen
from tui.screens.help import HelpScreen
from tui.screens.safety import SafetyScreen
from tui.widgets.keybar import Notice
from tui.widgets.readout import Compare, LiveVerdict
from tui.widgets.reed_view import ReedView
from tui.widgets.status import Banner

COMPLETE = scene.walk(34, offsets=(0,))
NO_WALK = Plan(gauge=scene.GAUGE)


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


async def test_a_click_on_a_station_goes_there() -> None:
    async with bench() as at:
        reed = at.app.screen.query_one(ReedView)
        for spot in (reed.drawing.spots[0], reed.drawing.spots[-1]):
            await at.pilot.click(ReedView, offset=(spot.x, spot.y))
        await at.pilot.pause()
        stations = [spot.mark.key for spot in (reed.drawing.spots[0], reed.drawing.spots[-1])]
        assert at.presses == [("goto", station) for station in stations]


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
        await at.hear(msgspec.structs.replace(COMPLETE, overnight=False))
        assert "COMPLETE" in at.text(Banner)
        assert at.text(Banner).endswith("n: next stage, After the night")
        await at.press("enter")
        assert [walk.stage for walk in at.client.asked(StartWalk)] == ["balance", "rested"]


async def test_a_press_does_not_carry_the_reed_into_another_day_but_next_does() -> None:
    done = Refused("bench", "done", "nothing is left to take at this stage")
    async with bench(SceneClient({Press: done})) as at:
        await at.hear(COMPLETE)
        assert "rest it overnight, then n: After the night" in at.text(Banner)
        await at.press("enter")
        await at.until(lambda: isinstance(at.app.screen, ChooseScreen))
        await at.press("escape")
        assert "let it rest overnight" in at.text(Notice)
        assert [walk.stage for walk in at.client.asked(StartWalk)] == ["balance"]
        await at.press("n")
        assert [walk.stage for walk in at.client.asked(StartWalk)] == ["balance", "rested"]


async def test_choose_pressed_twice_opens_one_list() -> None:
    async with bench() as at:
        await at.press("c", "c")
        await at.until(lambda: isinstance(at.app.screen, ChooseScreen))
        lists = [each for each in at.app.screen_stack if isinstance(each, ChooseScreen)]
        assert len(lists) == 1


@pytest.mark.parametrize("size", [(80, 24), (100, 30), (120, 40)])
async def test_nothing_moves_when_the_state_changes(size: tuple[int, int]) -> None:
    async with bench(size=size) as at:

        def places() -> list[Region]:
            return [each.region for each in at.app.screen_stack[0].walk_children(Widget)]

        before = places()
        walk = scene.walk(34)
        for event in (
            scene.reading("1240.5"),
            scene.reading("-1270"),
            scene.captured(walk, 33),
            ZoneAlert("bench", scene.REED, "windows", "windows"),
            walk,
            scene.gauge("down", "a long reason " * 20, 2.0),
        ):
            await at.hear(event)
            assert places() == before


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


async def test_what_happened_below_a_page_is_on_the_bench_when_it_is_left() -> None:
    async with bench() as at:
        await at.press("f1")
        before = at.text(Banner)
        await at.hear(scene.walk(3, paused=True))
        assert at.text(Banner) == before, "nobody sees it, and it is not painted"
        await at.press("escape")
        assert "PAUSED" in at.text(Banner)
        await at.press("ctrl+p")
        await at.hear(scene.walk(3))
        assert "PAUSED" not in at.text(Banner), "behind the palette it can be seen"


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
