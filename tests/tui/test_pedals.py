"""Everything that is done with pedals: at the bench, on its pages, and what is said of them."""

from __future__ import annotations

import asyncio
import subprocess
import sys
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec
import pytest
from textual.events import Key
from textual.widgets import OptionList, Static

from gaugelink.capture.pedals.event import PedalError, PedalEvent
from gaugelink.capture.pedals.mapping import ONE_PEDAL, TWO_PEDALS, Mapping
from gaugelink.capture.pedals.setup import InputAt, LineAt, PedalSetup, setup
from gaugelink.capture.pedals.source import Source
from gaugelink.daemon.messages import Press, Refused, StartWalk
from simulators import pedals as simulated
from tests.capture.input_folder import InputFolder
from tests.tui.bench import Bench, bench
from tests.tui.gauges import hub
from tui import scene
from tui.pedals import next_zone
from tui.plan import Plan
from tui.scene import SceneClient
from tui.screens.choose import ChooseScreen
from tui.screens.gauges import GaugesScreen
from tui.screens.help import HelpScreen
from tui.screens.safety import SafetyScreen
from tui.widgets.keybar import Notice
from tui.widgets.line import Line

COMPLETE = scene.walk(34, offsets=(0,))
DONE = Refused("bench", "done", "nothing is left to take at this stage")
NO_WALK = Plan(gauge=scene.GAUGE)


class Switch:
    """A device with pedals on it that tells of releases, pressed by the test."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.opened = self.closed = 0
        self._events: asyncio.Queue[PedalEvent | PedalError] = asyncio.Queue()

    async def open(self) -> None:
        self.opened += 1

    async def read(self) -> list[PedalEvent]:
        event = await self._events.get()
        if isinstance(event, PedalError):
            raise event
        return [event]

    async def close(self) -> None:
        self.closed += 1

    def say(self, event: PedalEvent | PedalError) -> None:
        self._events.put_nowait(event)


class Given(PedalSetup, frozen=True):
    """A setup whose sources are the test's."""

    given: tuple[Any, ...] = ()

    @property
    def names(self) -> list[str]:
        return [each.name for each in self.given]

    def sources(self) -> list[Source]:
        return list(self.given)


@dataclass
class Foot:
    """Presses pedals at times of its own, so that nothing has to wait for time to pass."""

    now: float = 1000.0

    def clock(self) -> float:
        return self.now

    def type(self, at: Bench, key: str, when: float, now: float) -> None:
        """Have a key typed at one time, and heard of at another."""
        self.now = now
        event = Key(key, None)
        event.time = when
        at.app.post_message(event)

    async def tap(self, at: Bench, key: str = "pagedown") -> None:
        """A short press, long after what came before; by now it is told from all others."""
        self.type(at, key, self.now + 2, self.now + 4)
        await settled(at)

    async def twice(self, at: Bench, key: str = "pagedown") -> None:
        """A double press."""
        first = self.now + 2
        self.type(at, key, first, first)
        await at.pilot.pause()
        self.type(at, key, first + 0.2, first + 2)
        await settled(at)

    async def edge(
        self, at: Bench, switch: Switch, code: str, is_down: bool, now: float = 0.0
    ) -> None:
        """A pedal goes down or comes up, and the clock goes on from there."""
        self.now += 0.25
        event = PedalEvent(switch.name, code, is_down, self.now)
        self.now += now
        switch.say(event)
        await settled(at)


async def settled(at: Bench) -> None:
    for _ in range(4):
        await at.pilot.pause()


@asynccontextmanager
async def footed(
    client: SceneClient | None = None, foot: Foot | None = None, **options: Any
) -> AsyncIterator[tuple[Bench, Foot]]:
    """A bench with a foot at its pedals."""
    foot = foot or Foot()
    async with bench(client, clock=foot.clock, **options) as at:
        await at.until(lambda: at.app.pedals.listening)
        yield at, foot


async def rack(at: Bench) -> ChooseScreen:
    await at.until(lambda: isinstance(at.app.screen, ChooseScreen))
    await at.pilot.pause()
    assert isinstance(at.app.screen, ChooseScreen)
    return at.app.screen


def marked(page: ChooseScreen) -> tuple[str | None, str | None, bool]:
    """The reed and the stage that are marked, and whether the pedal is among the stages."""
    reeds, stages = page.query_one("#reeds", OptionList), page.query_one("#stages", OptionList)
    options = [
        None if each.highlighted is None else each.get_option_at_index(each.highlighted).id
        for each in (reeds, stages)
    ]
    return options[0], options[1], stages.has_focus


# At the bench ------------------------------------------------------------------------------------


async def test_a_key_that_is_a_pedal_captures_the_moment_it_is_pressed() -> None:
    async with footed() as (at, foot):
        foot.type(at, "pagedown", 1005.0, 1005.0)
        await at.until(lambda: at.presses == [("capture", "")])
        assert foot.now == 1005.0, "no time had to pass"


async def test_a_key_that_is_held_captures_once() -> None:
    async with footed() as (at, foot):
        times = [1005.0, *(1005.5 + 0.033 * repeat for repeat in range(20))]
        for when in times:
            foot.type(at, "pagedown", when, when)
            await at.pilot.pause()
        foot.now += 5
        await settled(at)
        assert at.presses == [("capture", "")]


async def test_two_pedals_do_all_that_there_is_at_a_walk() -> None:
    feet = Switch("feet")
    pedals = Given(mapping=TWO_PEDALS, given=(feet,))
    async with footed(pedals=pedals) as (at, foot):
        await foot.tap(at, "pagedown")
        await foot.tap(at, "space")
        assert at.presses == [("capture", "")] * 2
        await foot.edge(at, feet, "pageup", True)
        await foot.edge(at, feet, "pageup", False, now=1.0)
        assert at.presses[2:] == [("back", "")]
        await foot.edge(at, feet, "pageup", True, now=1.1)
        await foot.edge(at, feet, "pageup", False, now=1.0)
        assert at.presses[3:] == [("pause", "")]
        await at.hear(scene.walk(0, paused=True))
        await foot.edge(at, feet, "pageup", True, now=1.1)
        await foot.edge(at, feet, "pageup", False, now=1.0)
        assert at.presses[4:] == [("resume", "")]
        await foot.edge(at, feet, "pageup", True)
        await foot.edge(at, feet, "pagedown", True)
        assert at.presses[5:] == [("skip", "")]


async def test_one_pedal_that_tells_of_releases_goes_back_when_it_is_held() -> None:
    feet = Switch("feet")
    async with footed(pedals=Given(mapping=ONE_PEDAL, given=(feet,))) as (at, foot):
        await foot.edge(at, feet, "b", True, now=1.1)
        await foot.edge(at, feet, "b", False, now=1.0)
        assert at.presses == [("back", "")]


async def test_a_pedal_can_be_given_every_gesture_of_the_walk() -> None:
    keys = {"f1": "retake", "f2": "again", "f3": "next-zone", "f4": "skip"}
    table = [
        {"name": action, "codes": [key], "walk": {"short": action}} for key, action in keys.items()
    ]
    async with footed(pedals=setup({"pedals": {"pedal": table}}, "test")) as (at, foot):
        for key in keys:
            await foot.tap(at, key)
        assert at.presses == [
            ("retake", ""),
            ("again", ""),
            ("goto", "crossed/62/-0.4"),
            ("skip", ""),
        ]


def test_the_next_zone_is_that_of_the_other_blade_too_and_none_when_all_is_taken() -> None:
    walk = scene.walk(0)
    assert next_zone(walk) == "crossed/62/-0.4"
    last = max(index for index, stop in enumerate(walk.stops) if stop.station.startswith("crossed"))
    turned = next_zone(msgspec.structs.replace(walk, at_stop=last))
    assert turned == "uncrossed/53/-0.5"
    assert next_zone(scene.walk(33)) == ""
    assert next_zone(COMPLETE) == ""
    assert next_zone(None) == ""


# On the pages ------------------------------------------------------------------------------------


async def test_one_pedal_chooses_a_reed_and_its_stage() -> None:
    async with footed(plan=NO_WALK) as (at, foot):
        page = await rack(at)
        assert marked(page) == ("Halvard 12", "balance", False)
        await foot.tap(at)
        assert marked(page) == ("Halvard 13", "windows", False)
        await foot.twice(at)
        assert marked(page) == ("Halvard 13", "windows", True)
        await foot.tap(at)
        await foot.twice(at)
        assert [(walk.reed, walk.stage) for walk in at.client.asked(StartWalk)] == [
            ("Halvard 13", "tip")
        ]
        assert at.presses == []


async def test_on_from_the_last_stage_leads_one_pedal_back_to_the_reeds_and_round() -> None:
    async with footed(plan=NO_WALK) as (at, foot):
        page = await rack(at)
        await foot.twice(at)
        stages = page.query_one("#stages", OptionList)
        stages.highlighted = stages.option_count - 1
        await foot.tap(at)
        assert not marked(page)[2]
        for reed in ("Halvard 13", "Roux 3", "Halvard 12"):
            await foot.tap(at)
            assert marked(page)[0] == reed


async def test_two_pedals_go_both_ways_in_a_list_and_leave_it() -> None:
    async with footed(plan=NO_WALK, pedals=PedalSetup(mapping=TWO_PEDALS)) as (at, foot):
        page = await rack(at)
        await foot.tap(at, "pageup")
        assert marked(page)[0] == "Roux 3"
        await foot.tap(at, "pagedown")
        assert marked(page)[0] == "Halvard 12"
        await foot.twice(at, "pagedown")
        assert marked(page) == ("Halvard 12", "balance", True)
        await foot.twice(at, "pageup")
        assert not marked(page)[2], "back to the reeds"
        await foot.twice(at, "pageup")
        assert not isinstance(at.app.screen, ChooseScreen)
        await foot.tap(at, "pagedown")
        await rack(at)
        assert at.app.rung == 0, "with no walk a pedal leads to the rack"


async def test_one_pedal_that_tells_of_releases_chooses_and_leaves_by_holding() -> None:
    feet = Switch("feet")
    pedals = Given(mapping=ONE_PEDAL, given=(feet,))
    async with footed(plan=NO_WALK, pedals=pedals) as (at, foot):
        page = await rack(at)
        await foot.edge(at, feet, "b", True)
        await foot.edge(at, feet, "b", False, now=1.0)
        assert marked(page)[0] == "Halvard 13"
        for is_down in (True, False, True, False):  # within the time of a double press
            foot.now -= 0.13
            await foot.edge(at, feet, "b", is_down)
        assert marked(page) == ("Halvard 13", "windows", True)
        stages = page.query_one("#stages")
        for left in (False, True):
            foot.now += 2.0
            await foot.edge(at, feet, "b", True, now=1.1)
            await foot.edge(at, feet, "b", False, now=1.0)
            assert not stages.has_focus
            assert (at.app.screen is not page) == left
        assert at.client.asked(StartWalk) == []


@pytest.mark.parametrize("complete", [COMPLETE, scene.walk(99, stage="finish", offsets=(0,))])
async def test_where_nothing_is_left_for_today_a_press_leads_to_the_next_reed(
    complete: Any,
) -> None:
    async with footed(SceneClient({Press: DONE})) as (at, foot):
        await at.hear(complete)
        await foot.tap(at)
        page = await rack(at)
        assert marked(page) == ("Halvard 13", "windows", False)
        await foot.twice(at)
        await foot.twice(at)
        walk = at.client.asked(StartWalk)[-1]
        assert (walk.reed, walk.stage) == ("Halvard 13", "windows")


async def test_the_rack_marks_what_follows_for_the_reed_whose_stage_is_done() -> None:
    async with footed() as (at, _):
        await at.hear(COMPLETE)
        await at.press("c")
        assert marked(await rack(at))[:2] == ("Halvard 12", "rested")


async def test_the_words_on_safety_are_left_by_a_pedal() -> None:
    seen: list[bool] = []
    async with footed(first_run=True, on_safety_seen=lambda: seen.append(True)) as (at, foot):
        await at.until(lambda: isinstance(at.app.screen, SafetyScreen))
        await foot.tap(at)
        assert seen == [True]
        assert at.presses == []


async def test_at_the_first_run_the_rack_waits_until_the_words_on_safety_were_left() -> None:
    async with footed(first_run=True, plan=NO_WALK) as (at, foot):
        await at.until(lambda: isinstance(at.app.screen, SafetyScreen))
        await at.until(lambda: at.app.state is not None and at.app.state.hub == "here")
        await settled(at)
        assert isinstance(at.app.screen, SafetyScreen)
        await foot.tap(at)
        assert marked(await rack(at))[0] == "Halvard 12"


async def test_a_pedal_turns_the_help_and_leaves_it_at_its_end() -> None:
    async with footed() as (at, foot):
        await at.press("f1")
        page = at.app.screen
        assert isinstance(page, HelpScreen)
        scrolled = page.query_one("#page")
        tops = [scrolled.scroll_offset.y]
        while at.app.screen is page:
            await foot.tap(at)
            tops.append(scrolled.scroll_offset.y)
        assert tops[0] == 0
        assert tops[1] > 0
        assert len(tops) < 5
        assert at.presses == []


async def test_on_the_page_of_the_gauges_a_pedal_moves_and_page_keys_leaf_through_bytes() -> None:
    async with footed(hub(), look_every=0) as (at, _):
        await at.press("g")
        await settled(at)
        page = at.app.screen
        assert isinstance(page, GaugesScreen)
        assert not page.keeps("pagedown")
        await at.press("b")
        assert page.keeps("pagedown")
        assert not page.keeps("f5")


async def test_while_something_is_written_no_key_is_a_pedal() -> None:
    typed = setup(
        {"pedals": {"pedal": [{"name": "b", "codes": ["b"], "walk": {"short": "capture"}}]}}, "test"
    )
    async with footed(hub(), pedals=typed, look_every=0) as (at, _):
        await at.press("b")
        assert at.presses == [("capture", "")]
        await at.press("g")
        await settled(at)
        await at.press("r", "b")
        assert at.app.screen.query_one(Line).value.endswith("b")


# What is said of them ----------------------------------------------------------------------------


def words(at: Bench) -> str:
    return "\n".join(str(each.content) for each in at.app.screen.query(Static))


async def test_the_help_says_what_the_pedals_do() -> None:
    async with footed() as (at, _):
        await at.press("f1")
        for line in (
            "PgDn: the pedal",
            "pedal, short press: capture the station",
            "in a list, pedal, pressed twice: choose this one",
            "a key in the terminal cannot be held",
        ):
            assert line in words(at)


async def test_the_help_names_the_keys_of_two_pedals_and_what_two_together_do() -> None:
    pedals = Given(mapping=TWO_PEDALS, given=(Switch("feet"),))
    async with footed(pedals=pedals) as (at, _):
        await at.press("f1")
        assert "PgUp, ←, ↑: the left pedal" in words(at)
        assert "hold the left pedal and press the other: leave this station out" in words(at)
        assert "cannot be held" not in words(at)


async def test_a_pedal_that_is_lost_is_said_to_be_once_and_said_to_be_back() -> None:
    feet = Switch("feet")
    async with footed(pedals=Given(given=(feet,))) as (at, _):
        await at.until(lambda: feet.opened == 1)
        rung = at.app.rung
        feet.say(PedalError("feet: it was lost; is it plugged in?"))
        await at.until(lambda: "PEDAL AWAY · feet: it was lost" in at.text(Notice))
        assert at.app.rung == rung + 1
        await at.press("f1")
        assert "away, looked for: feet: it was lost; is it plugged in?" in words(at)
        await at.press("f1")
        await at.until(lambda: at.text(Notice) == "the pedal is there: feet")
    assert feet.closed == feet.opened


async def test_pedals_that_cannot_be_opened_are_said_once_and_the_bench_goes_on() -> None:
    pedals = PedalSetup(input=(InputAt("/nowhere/event7"),), line=(LineAt("/nowhere/ttyS7"),))
    async with footed(pedals=pedals) as (at, foot):
        await at.until(lambda: sum("away" in line for line in at.app.pedals.lines) == 2)
        await at.pilot.pause()
        assert "PEDAL AWAY · /nowhere/" in at.text(Notice)
        rung = at.app.rung
        await foot.tap(at)
        assert at.presses == [("capture", "")]
        await at.press("f1")
        assert "/nowhere/event7: there is no such input device: plug it in" in words(at)
        assert "/nowhere/ttyS7: cannot be opened" in words(at)
        assert at.app.rung == rung


async def test_without_evdev_it_is_said_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "evdev", None)
    pedals = PedalSetup(input=(InputAt("Foot Switch"),))
    async with footed(pedals=pedals, size=(120, 40)) as (at, _):
        await at.until(lambda: "pip install 'gaugelink[pedal]'" in at.text(Notice))


async def test_an_input_device_is_read_and_let_go_of(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = InputFolder(tmp_path, monkeypatch)
    path = folder.plug("event3", "Foot Switch")
    async with bench(pedals=PedalSetup(input=(InputAt(path, "foot"),))) as at:
        await at.until(lambda: folder.grabbed == ["event3"])
        folder.press("event3", simulated.Foot(1).press(time.time()))
        await at.until(lambda: bool(at.presses))
        assert at.presses == [("capture", "")]
    folder.pull("event3")


def test_the_first_paint_needs_no_pedals() -> None:
    code = "import sys, tui.app; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    loaded = set(done.stdout.split())
    assert "tui.pedals" in loaded, done.stderr
    assert not {"evdev", "serial"} & loaded
    assert not any(name.startswith("gaugelink.capture.pedals") for name in loaded)


def test_the_default_mapping_is_the_one_that_is_written_down() -> None:
    assert isinstance(PedalSetup().mapping, Mapping)
    assert PedalSetup().mapping is ONE_PEDAL
