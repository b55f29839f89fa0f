"""Teaching a gauge from the screen."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import pytest
from textual.widgets import OptionList

from gaugelink.daemon.client import HubError, HubGone
from gaugelink.daemon.messages import (
    GaugeGone,
    Learn,
    StopTeaching,
    Teach,
    TeachingEvent,
)
from tests.tui.bench import bench
from tests.tui.gauges import (
    ANSWERS,
    EVIDENCE,
    OTHER,
    GaugesPage,
    gauges_page,
    hub,
    open_page,
    taught,
    teaching,
)
from tui import scene
from tui.scene import SceneClient
from tui.screens.gauges import GaugesScreen
from tui.widgets.keybar import Bar

MOVE = TeachingEvent(scene.GAUGE, "move the spindle slowly up and down")


@asynccontextmanager
async def lesson(client: SceneClient | None = None, **options: Any) -> AsyncIterator[GaugesPage]:
    """The scene's gauge being taught."""
    async with gauges_page(client, **options) as on:
        await teaching(on)
        yield on


async def test_it_says_what_to_do_and_how_long_it_has_taken() -> None:
    now = [50.0]
    async with lesson(clock=lambda: now[0], look_every=0.05) as on:
        assert on.at.client.asked(Teach) == [Teach(gauge=scene.GAUGE)]
        assert "working it out · 0 s" in on.shows("#teach-now")
        await on.at.hear(TeachingEvent(scene.GAUGE, "listening to /dev/ttyUSB0"), MOVE)
        now[0] = 62.4
        await on.at.until(lambda: "working it out · 12 s" in on.shows("#teach-now"))
        assert on.shows("#teach-now").splitlines()[:2] == ["listening to /dev/ttyUSB0", MOVE.says]
        assert "gives no readings meanwhile" in on.shows("#teach-why")
        await on.at.hear(TeachingEvent(OTHER, "press its button"))
        assert "button" not in on.shows("#teach-now")


async def test_escape_stops_it() -> None:
    async with lesson() as on:
        await on.at.press("escape")
        assert on.at.client.asked(StopTeaching) == [StopTeaching(gauge=scene.GAUGE)]
        assert isinstance(on.at.app.screen, GaugesScreen)
        assert on.said == "the teaching was stopped: dial goes on as before"
        await on.at.hear(taught())
        assert isinstance(on.at.app.screen, GaugesScreen)


async def test_what_was_found_is_said_named_and_kept() -> None:
    async with lesson() as on:
        await on.at.hear(MOVE, taught())
        why = on.shows("#teach-why")
        joined = " ".join(why.split())
        assert all(sentence in joined for sentence in EVIDENCE)
        assert why.endswith("sure to 93 %")
        assert "not kept yet" in on.shows("#teach-now")
        assert on.written == "taught-9600-8n1-cr-mm"
        await on.write("bench-dial")
        assert on.at.client.asked(Learn) == [
            Learn(gauge=scene.GAUGE, name="bench-dial", toml=taught().toml)
        ]
        assert isinstance(on.at.app.screen, GaugesScreen)
        assert on.said == "dial is read as bench-dial from now on"
        assert "taught" in on.cards[0].splitlines()[1]
        assert on.at.client.asked(StopTeaching) == []


@pytest.mark.parametrize(
    ("keys", "toml"),
    [
        (["enter"], ANSWERS[0].toml),
        (["down", "enter"], ANSWERS[1].toml),
        (["2"], ANSWERS[1].toml),
        (["9", "0", "1"], ANSWERS[0].toml),
    ],
)
async def test_the_question_is_answered_with_arrows_or_digits(keys: list[str], toml: str) -> None:
    async with lesson() as on:
        await on.at.hear(taught(*ANSWERS))
        assert on.shows("#teach-question") == "which of the two numbers is the reading?"
        assert on.at.app.screen.query_one(OptionList).display
        await on.at.press(*keys)
        assert not on.at.app.screen.query_one(OptionList).display
        assert on.said.startswith("it is taken that the ")
        await on.at.press("enter")
        assert [each.toml for each in on.at.client.asked(Learn)] == [toml]


async def test_the_question_is_answered_with_a_click() -> None:
    async with lesson() as on:
        await on.at.hear(taught(*ANSWERS))
        await on.at.pilot.click(OptionList, offset=(6, 1))
        await on.at.pilot.pause()
        bar = on.at.app.screen.query_one(Bar)
        await on.at.pilot.click(Bar, offset=(bar.place_of("keep"), 0))
        await on.at.until(lambda: bool(on.at.client.asked(Learn)))
        assert on.at.client.asked(Learn)[0].toml == ANSWERS[1].toml


async def test_digits_belong_to_the_name_once_it_is_asked_for() -> None:
    async with lesson() as on:
        await on.at.hear(taught(*ANSWERS))
        await on.at.press("1", "2", "t", "q")
        assert on.written == "taught-9600-8n1-cr-mm2tq"


@pytest.mark.parametrize("answers", [(), ANSWERS])
async def test_escape_keeps_nothing(answers: Any) -> None:
    async with lesson() as on:
        await on.at.hear(taught(*answers))
        await on.at.press("escape")
        assert isinstance(on.at.app.screen, GaugesScreen)
        assert on.said == "nothing was kept: dial goes on as before"
        assert on.at.client.asked(Learn) == []
        assert on.at.client.asked(StopTeaching) == []


async def test_a_name_that_is_taken_is_said_and_another_can_be_written() -> None:
    why = "dial.toml: is there already; choose another name"

    def learnt(request: Learn) -> Any:
        if request.name == "dial":
            raise HubError(why)
        return scene.gauge()

    async with lesson(hub({Learn: learnt})) as on:
        await on.at.hear(taught())
        await on.write("dial")
        assert on.said == why
        assert on.rung == 1
        assert on.writing()
        await on.write(" ")
        assert "it needs a name" in on.said
        await on.write("dial-2")
        assert isinstance(on.at.app.screen, GaugesScreen)
        assert [each.name for each in on.at.client.asked(Learn)] == ["dial", "dial-2"]


async def test_when_nothing_was_found_it_says_what_was_tried_and_what_to_do() -> None:
    async with lesson() as on:
        await on.at.hear(taught(failed="/dev/ttyUSB0: nothing came; listened at 9600 (0 bytes)"))
        assert on.shows("#teach-now") == "Nothing was found."
        why = on.shows("#teach-why")
        assert "nothing came; listened at 9600 (0 bytes)" in why
        assert "switched on" in why
        assert "move its spindle" in why
        assert on.rung == 1
        await on.at.press("t")
        await on.at.until(lambda: len(on.at.client.asked(Teach)) == 2)
        assert "working it out" in on.shows("#teach-now")
        await on.at.hear(taught())
        assert on.written == "taught-9600-8n1-cr-mm"


async def test_a_gauge_that_cannot_be_taught_is_said() -> None:
    async with lesson(hub({Teach: HubError("over Bluetooth it tells by itself")})) as on:
        assert "over Bluetooth it tells by itself" in on.shows("#teach-why")
        await on.at.press("escape")
        assert on.at.client.asked(StopTeaching) == []
        assert on.said == ""


async def test_a_gauge_renamed_meanwhile_is_still_the_one_that_is_taught() -> None:
    async with lesson() as on:
        await on.at.hear(GaugeGone(scene.GAUGE, renamed="big"))
        assert on.shows("#teach-title").startswith("Teaching big ")
        await on.at.hear(taught(gauge="big"))
        await on.at.press("enter")
        assert on.at.client.asked(Learn)[0].gauge == "big"


async def test_a_gauge_let_go_of_meanwhile_ends_it() -> None:
    async with lesson() as on:
        await on.at.hear(GaugeGone(scene.GAUGE))
        assert "dial was let go of: connect it again first" in on.shows("#teach-why")


async def test_a_hub_that_goes_away_ends_it() -> None:
    client = hub()
    async with bench(clients=[client, HubGone("no hub")], retry=600, look_every=0) as at:
        await at.until(lambda: at.app.state is not None and at.app.state.walk is not None)
        at.client = client
        await open_page(at)
        on = GaugesPage(at)
        await teaching(on)
        client.leave(HubGone("its process ended."))
        await at.until(lambda: "its process ended. Nothing was kept." in on.shows("#teach-why"))
        await at.press("escape")
        assert isinstance(at.app.screen, GaugesScreen)
