"""The advice at the bench: the first step after a pass, its places on the reed, and its page."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any

import msgspec
import pytest
from textual.pilot import Pilot
from textual.widgets import Static

from gaugelink.daemon.client import HubError
from gaugelink.daemon.messages import Advise, Event
from tests.tui.advised import advised
from tests.tui.bench import Bench, RungApp, bench, make
from tests.tui.test_snapshots import feed
from tui import scene
from tui.plan import Plan
from tui.scene import SceneClient
from tui.screens.advice import AdviceScreen
from tui.screens.bench import BenchScreen
from tui.widgets.keybar import Notice
from tui.widgets.reed_view import ReedView
from tui.widgets.status import Banner
from tui.words import FIRST, first_places

DONE = scene.walk(34)
ADVICE = advised(DONE)
LEVEL = scene.walk(34, offsets=(0, 1, -1))
FIRST_CAPTURED = DONE.stops[0].hundredths


def on_the_reed(at: Bench) -> dict[str, str]:
    """What the drawing writes at each station that it marks as first."""
    drawing = at.app.screen_stack[0].query_one(ReedView).drawing
    return {spot.mark.key: spot.lines[0] for spot in drawing.spots if FIRST in spot.lines[0]}


def page_lines(at: Bench) -> list[str]:
    """The lines of the page in front."""
    return [str(each.content) for each in at.app.screen.query("#page > Static").results(Static)]


async def test_a_pass_that_is_done_says_the_first_step_and_marks_its_places() -> None:
    async with bench(size=(120, 40)) as at:
        await at.hear(DONE)
        assert FIRST not in at.text(Banner)
        assert not on_the_reed(at)
        await at.hear(ADVICE)
        end, first = at.text(Banner).split("\n")
        step = ADVICE.steps[0]
        assert end.startswith("PASS 1 DONE")
        assert first.startswith(f"{FIRST} first: {step.blade}, {step.side}, {step.zone}: take ")
        assert first.endswith(" · v: all")
        marked = on_the_reed(at)
        assert set(marked) == {e.station.key for e in step.stations if e.word == "take"}
        assert all(text.startswith(FIRST) for text in marked.values())


async def test_it_goes_when_the_walk_goes_on_and_when_a_value_was_taken_anew() -> None:
    async with bench() as at:
        await at.hear(DONE, ADVICE)
        assert on_the_reed(at)
        again = msgspec.structs.replace(DONE, at_stop=0, in_pass=2)
        await at.hear(again)
        assert not on_the_reed(at)
        assert FIRST not in at.text(Banner)
        # Back at the end with the same values, the hub does not tell it a second time.
        await at.hear(DONE)
        assert on_the_reed(at)
        assert FIRST_CAPTURED is not None
        anew = msgspec.structs.replace(DONE.stops[0], hundredths=FIRST_CAPTURED - 2)
        await at.hear(msgspec.structs.replace(DONE, stops=[anew, *DONE.stops[1:]]))
        assert not on_the_reed(at), "that was advised on other values"


async def test_an_advice_for_elsewhere_changes_nothing() -> None:
    async with bench() as at:
        for other in (
            msgspec.structs.replace(ADVICE, bench="another"),
            msgspec.structs.replace(ADVICE, reed="R2"),
            msgspec.structs.replace(ADVICE, stage="tip"),
        ):
            await at.hear(DONE, other)
            assert FIRST not in at.text(Banner)


async def test_with_nothing_to_take_no_place_is_marked() -> None:
    async with bench() as at:
        await at.hear(LEVEL, advised(LEVEL))
        assert at.text(Banner).startswith("COMPLETE")
        assert FIRST not in at.text(Banner)
        assert not on_the_reed(at)


async def test_the_key_asks_for_all_of_it_and_leaves_it_again() -> None:
    async with bench(SceneClient({Advise: ADVICE})) as at:
        await at.hear(DONE)
        await at.press("v")
        assert at.client.asked(Advise) == [Advise(bench="bench")]
        assert isinstance(at.app.screen, AdviceScreen)
        said = page_lines(at)
        assert said[0] == f"What remains: {scene.REED}, {ADVICE.title}"
        assert said[1] == (
            "Standard uncertainty of one value: 0.5 hundredths, assumed until the gauge is studied "
            "on a reed."
        )
        steps = [f"{number}. {step.text}" for number, step in enumerate(ADVICE.steps, 1)]
        assert said[2 : 2 + len(steps)] == steps
        for each in (*ADVICE.sides, *ADVICE.blades, *ADVICE.whole):
            assert each.text in said
            assert "±" in each.text
        assert "Left and right, in hundredths:" in said
        assert any("is over" in each for each in said), "what the style says of it"
        assert said[-1] == "It is advice: your ear and judgement decide."
        await at.press("v")
        await at.until(lambda: isinstance(at.app.screen, BenchScreen))


async def test_the_page_follows_the_next_advice() -> None:
    async with bench(SceneClient({Advise: ADVICE})) as at:
        await at.hear(DONE)
        await at.press("v")
        await at.hear(LEVEL, advised(LEVEL))
        await at.until(lambda: "1. nothing to take" in page_lines(at))
        await at.press("escape")
        assert isinstance(at.app.screen, BenchScreen)


async def test_a_pedal_turns_the_page_and_leaves_it_at_its_end() -> None:
    async with bench(SceneClient({Advise: ADVICE})) as at:
        await at.hear(DONE)
        await at.press("v")
        page = at.app.screen
        assert isinstance(page, AdviceScreen)
        body = page.query_one("#page")
        assert body.max_scroll_y > 0
        page.driven("next")
        await at.pilot.pause()
        assert body.scroll_offset.y > 0
        page.driven("previous")
        await at.pilot.pause()
        assert body.scroll_offset.y == 0
        page.driven("leave")
        await at.until(lambda: isinstance(at.app.screen, BenchScreen))


async def test_without_a_walk_or_a_value_it_is_said_why_there_is_none() -> None:
    refused = HubError("nothing of Halvard 12 is measured at 'balance' yet: walk it first")
    async with bench(SceneClient({Advise: refused})) as at:
        await at.press("v")
        assert "walk it first" in at.text(Notice)
    async with bench(plan=Plan(gauge=scene.GAUGE)) as at:
        await at.until(lambda: not isinstance(at.app.screen, BenchScreen))
        await at.press("escape", "v")
        assert "no walk yet" in at.text(Notice)
        assert not at.client.asked(Advise)


@pytest.mark.parametrize(("offset", "word"), [(6, "take"), (2, "unsure")])
def test_the_places_are_those_to_be_taken_or_else_to_be_measured_again(
    offset: int, word: str
) -> None:
    # One place of the windows is as thick, one is on target, one is over.
    offsets = (offset, 0, -3, *(0,) * 31)
    step = advised(scene.walk(34, offsets=offsets), uncertainty=1.5).steps[0]
    assert [each.word for each in step.stations if each.station.key in first_places(step)] == [word]
    assert first_places(None) == frozenset()


# Pictures -----------------------------------------------------------------------------------------

SIZES = pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["small", "large"])
EVENTS: list[Event] = [DONE, ADVICE, scene.captured(DONE, 33), scene.reading("1240", "moving")]
Snap = Callable[..., bool]


@SIZES
def test_a_pass_done(size: tuple[int, int], snap_compare: Snap) -> None:
    client = SceneClient()
    run_before = feed(client, EVENTS)
    assert snap_compare(make([client]), terminal_size=size, run_before=run_before)


def test_a_pass_done_without_colour(snap_compare: Snap, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    client = SceneClient()
    assert snap_compare(make([client]), terminal_size=(80, 24), run_before=feed(client, EVENTS))


@SIZES
def test_all_of_it(size: tuple[int, int], snap_compare: Snap) -> None:
    client = SceneClient({Advise: ADVICE})

    async def run_before(pilot: Pilot[Any]) -> None:
        await feed(client, EVENTS)(pilot)
        assert isinstance(pilot.app, RungApp)
        await pilot.press("v")
        async with asyncio.timeout(30):
            while not isinstance(pilot.app.screen, AdviceScreen):
                await pilot.pause()
        await pilot.pause()

    assert snap_compare(make([client]), terminal_size=size, run_before=run_before)
