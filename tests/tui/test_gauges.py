"""The page of the gauges: what it shows, what it asks for, and what the bench learns there."""

from __future__ import annotations

import itertools
import subprocess
import sys
from dataclasses import replace
from functools import partial

import msgspec
import pytest
from textual.command import CommandPalette
from textual.widgets import OptionList

from gaugelink.daemon.client import HubError, HubGone
from gaugelink.daemon.messages import (
    AddGauge,
    Diagnose,
    GaugeGone,
    Gauges,
    StartWalk,
)
from gaugelink.devices import bluetooth, replay_link
from tests.tui.bench import bench
from tests.tui.gauges import (
    NO_GAUGE,
    OTHER,
    UNHEARD,
    GaugesPage,
    counts,
    diagnosis,
    gauges_page,
    hub,
    open_page,
    other,
)
from tui import scene, words
from tui.plan import Plan
from tui.screens.bench import BenchScreen
from tui.screens.choose import ChooseScreen
from tui.screens.gauges import GaugesScreen
from tui.screens.help import HelpScreen
from tui.widgets.gauge_list import GaugeCard
from tui.widgets.keybar import KeyBar

NO_WALK = Plan(gauge=scene.GAUGE)


# Opening and leaving ---------------------------------------------------------------------------


async def test_one_key_opens_the_page_and_escape_leaves_it() -> None:
    async with gauges_page() as on:
        await on.at.press("escape")
        assert on.at.app.screen is on.at.app.screen_stack[0]
        assert on.at.presses == []


async def test_a_click_and_the_palette_open_it_too() -> None:
    async with bench(hub(), size=(140, 40), look_every=0) as at:
        keys = at.app.screen.query_one(KeyBar)
        await at.pilot.click(KeyBar, offset=(keys.place_of("gauges"), 0))
        await at.until(lambda: isinstance(at.app.screen, GaugesScreen))
        await at.press("escape", "ctrl+p")
        assert isinstance(at.app.screen, CommandPalette)
        await at.pilot.press(*"see the gauges")
        options = at.app.screen.query_one(OptionList)
        await at.until(lambda: options.option_count > 0)
        await at.press("enter")
        await at.until(lambda: isinstance(at.app.screen, GaugesScreen))
        await at.press("escape")
        assert at.app.screen is at.app.screen_stack[0]


async def test_the_help_opens_over_it_and_it_is_opened_once() -> None:
    async with gauges_page() as on:
        await on.at.press("question_mark")
        assert isinstance(on.at.app.screen, HelpScreen)
        await on.at.app.run_action("app.do('gauges')")
        await on.at.press("escape")
        stack = [type(each) for each in on.at.app.screen_stack]
        assert stack == [BenchScreen, GaugesScreen]


def test_the_bench_is_painted_without_the_page_and_the_protocol() -> None:
    code = "import sys, tui.app; print(*sys.modules)"
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(found.stdout.split())
    assert "tui.pages" in loaded
    late = {"tui.screens.gauges", "tui.screens.teach", "tui.raw", "gaugelink.daemon.messages"}
    assert not late & loaded


# What it shows ---------------------------------------------------------------------------------


async def test_each_gauge_is_shown_with_all_that_is_known() -> None:
    async with gauges_page() as on:
        well, down = on.cards
        assert well.splitlines() == [
            "dial  this bench's gauge",
            "serial port /dev/ttyUSB0 · sign, decimal, unit",
            "link up, opened anew twice",
            "10.0 readings a second · last heard 0.1 s ago · 1204 readings in all",
            "3 bad frames: 2 checksum, 1 range · the newest: range: b'+99.99 mm'",
        ]
        assert down.splitlines() == [
            "window",
            "Bluetooth C0:FF:EE:12:34:56 · not recognised yet",
            " LINK DOWN  not in reach: switch it on, and bring it nearer; trying again in 4 s",
            "0.0 readings a second · never heard",
            "no bad frames",
        ]
        assert on.selected == [scene.GAUGE]


@pytest.mark.parametrize(
    ("status", "battery", "said"),
    [
        ("", 80, "battery 80 %"),
        ("battery 80 %", 80, "battery 80 %"),
        ("battery low", 8, "battery 8 % · it says: battery low"),
        ("tolerance exceeded", None, "it says: tolerance exceeded"),
    ],
)
async def test_battery_and_the_indicators_own_word(
    status: str, battery: int | None, said: str
) -> None:
    answers = {
        Gauges: [scene.gauge(status=status)],
        Diagnose: diagnosis(counts(battery=battery)),
    }
    async with gauges_page(hub(answers)) as on:
        assert on.cards[0].splitlines()[-1] == said


async def test_the_time_until_the_next_try_runs_down() -> None:
    now = [100.0]

    def says(text: str) -> bool:
        return text in on.cards[1]

    async with gauges_page(clock=lambda: now[0], look_every=0.05) as on:
        for passed, said in ((0.0, "in 4 s"), (1.2, "in 3 s"), (3.4, "in 1 s"), (9.0, "now")):
            now[0] = 100.0 + passed
            await on.at.until(partial(says, f"trying again {said}"))


async def test_it_looks_again_and_again_until_it_is_left() -> None:
    heard = itertools.count(1001)
    client = hub({Diagnose: lambda _: diagnosis(counts(readings=next(heard)), UNHEARD)})
    async with gauges_page(client, look_every=0.05) as on:
        await on.at.until(lambda: "100" in on.cards[0] and "1001 " not in on.cards[0])
        assert len(on.at.client.asked(Diagnose)) >= 2
        await on.at.press("escape")
        working = [each.node for each in on.at.app.workers if each.is_running]
        assert not any(isinstance(node, GaugesScreen) for node in working)


async def test_a_change_is_shown_without_waiting_for_the_next_look() -> None:
    async with gauges_page() as on:
        await on.at.hear(other("up", "", 0))
        assert "link up" in on.cards[1]
        await on.at.hear(other("opening", "its format is being worked out", 0))
        assert "link opening · its format is being worked out" in on.cards[1]
        assert len(on.at.client.asked(Diagnose)) == 1


async def test_a_gauge_that_the_bench_has_not_heard_of_is_asked_for() -> None:
    gauges = [scene.gauge()]
    client = hub({Gauges: lambda _: list(gauges)})
    async with bench(client, look_every=0) as at:
        gauges.append(other())
        await open_page(at)
        await at.until(lambda: len(at.app.screen.query(GaugeCard)) == 2)


async def test_what_the_hub_will_not_tell_is_said_once() -> None:
    client = hub({Diagnose: HubError("the store is locked: wait")})
    async with gauges_page(client, look_every=0.05) as on:
        await on.at.until(lambda: len(client.asked(Diagnose)) > 2)
        assert on.said == "the store is locked: wait"
        assert on.rung == 1
        assert "how it fares is being asked" in on.cards[0]


async def test_without_a_gauge_it_says_how_to_connect_one() -> None:
    client = hub({Gauges: [], Diagnose: diagnosis()})
    async with gauges_page(client, plan=NO_GAUGE) as on:
        assert on.cards == []
        said = on.shows("#none")
        assert "No gauge is connected." in said
        assert "gaugelink find" in said
        assert "gaugelink bench --port" in said
        for key in ("r", "t", "b", "p", "enter", "down", "pageup"):
            await on.at.press(key)
        assert isinstance(on.at.app.screen, GaugesScreen)
        assert on.at.app.screen.query_one("#none").display
        await on.at.hear(scene.gauge())
        assert len(on.cards) == 1
        assert not on.at.app.screen.query_one("#none").display


async def test_the_page_says_that_the_hub_went_away() -> None:
    client = hub()
    async with bench(clients=[client, HubGone("no hub")], retry=600, look_every=0.05) as at:
        await at.until(lambda: at.app.state is not None and at.app.state.walk is not None)
        await at.press("g")
        await at.until(lambda: bool(client.asked(Diagnose)))
        client.leave(HubGone("its process ended."))
        await at.until(
            lambda: "its process ended." in str(at.app.screen.query_one("#gauges-title").render())
        )
        assert len(at.app.screen.query(GaugeCard)) == 0


@pytest.mark.parametrize(
    ("port", "said"),
    [
        ("/dev/ttyUSB0", "serial port /dev/ttyUSB0"),
        ("COM3", "serial port COM3"),
        (f"{bluetooth.PREFIX}C0:FF:EE:00:00:01", "Bluetooth C0:FF:EE:00:00:01"),
        (f"{replay_link.PREFIX}/tmp/day.rec", "replay of /tmp/day.rec"),
    ],
)
def test_a_port_is_said_in_words(port: str, said: str) -> None:
    assert words.port(port) == said


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (None, "never"),
        (0.104, "0.1 s ago"),
        (110, "110 s ago"),
        (400, "7 min ago"),
        (9000, "2 h ago"),
    ],
)
def test_how_long_ago_is_said_in_words(seconds: float | None, said: str) -> None:
    assert words.ago(seconds) == said


# Choosing --------------------------------------------------------------------------------------


async def test_arrows_and_clicks_select_a_gauge() -> None:
    async with gauges_page() as on:
        await on.at.press("up")
        assert on.selected == [scene.GAUGE]
        await on.at.press("down")
        assert on.selected == [OTHER]
        await on.at.press("down")
        assert on.selected == [OTHER]
        await on.at.pilot.click(GaugeCard)
        await on.at.pilot.pause()
        assert on.selected == [scene.GAUGE]


async def test_the_selected_one_of_many_is_brought_into_view() -> None:
    many = [scene.gauge(), *(msgspec.structs.replace(other(), name=f"w{n}") for n in range(9))]
    async with gauges_page(hub({Gauges: many, Diagnose: diagnosis()})) as on:
        await on.at.press(*["down"] * 9)
        assert on.selected == ["w8"]
        last = list(on.page.query(GaugeCard))[-1]
        await on.at.until(lambda: last.region.bottom <= 22)
        await on.at.hear(GaugeGone("w8"))
        assert on.selected == [scene.GAUGE]


async def test_enter_makes_it_the_benchs_gauge() -> None:
    async with bench(hub(), plan=NO_WALK, look_every=0) as at:
        await at.until(lambda: isinstance(at.app.screen, ChooseScreen))
        await at.press("escape")
        await open_page(at)
        on = GaugesPage(at)
        await at.press("down", "enter")
        assert on.said == "window is this bench's gauge from now on"
        assert [card.splitlines()[0] for card in on.cards] == ["dial", "window  this bench's gauge"]
        assert on.at.app.state is not None
        assert on.at.app.state.in_use == OTHER
        assert (on.at.app.plan.gauge, on.at.app.plan.port) == (OTHER, "")


async def test_a_walk_goes_on_with_the_gauge_that_it_has() -> None:
    async with gauges_page() as on:
        await on.at.hear(scene.reading("43", "settled", 0.5))
        await on.at.press("down", "enter")
        assert "the walk of Halvard 12 goes on with dial" in on.said
        assert [card.splitlines()[0] for card in on.cards] == [
            "dial  this bench's gauge",
            "window  from the next walk on",
        ]
        assert on.at.app.state is not None
        assert on.at.app.state.reading is not None
        await on.at.press("escape")
        await on.at.hear(scene.walk(34))
        await on.at.press("n")
        assert [walk.gauge for walk in on.at.client.asked(StartWalk)] == [scene.GAUGE, OTHER]


async def test_the_gauge_that_is_in_use_already_keeps_its_port() -> None:
    client = hub({AddGauge: scene.gauge()})
    plan = replace(scene.PLAN, port="/dev/ttyUSB0")
    async with gauges_page(client, plan=plan) as on:
        await on.at.press("enter")
        assert on.at.app.plan == plan
