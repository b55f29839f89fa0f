"""A zone watched at the bench: opened and left by key, pedal or the hub, and what it shows."""

from __future__ import annotations

import asyncio
from decimal import Decimal
from pathlib import Path
from typing import Any

import msgspec
import pytest

from gaugelink.craft.verdict import LEAVE, Verdict, verdict
from gaugelink.daemon.client import Client, HubError, HubGone, LocalClient
from gaugelink.daemon.messages import (
    Captured,
    Press,
    Soak,
    SoakReminder,
    StopWatching,
    WatchZone,
    Water,
    Where,
    ZoneAlert,
    ZoneWatched,
)
from tests.daemon.scripted import scene as scene_of_a_hub
from tests.tui.bench import Bench, RungApp, Spindle, bench
from tui import scene
from tui.plan import Plan
from tui.scene import SceneClient
from tui.screens.bench import BenchScreen
from tui.screens.watch import WatchScreen
from tui.widgets.keybar import Bar, Notice
from tui.widgets.pane import Pane
from tui.widgets.status import Banner, Header
from tui.widgets.watched import About, Estimate, Now, Remains, Values

WALK = scene.walk(5)
WATCHING = msgspec.structs.replace(WALK, watching="windows")


def watched(*values: int, **changes: Any) -> ZoneWatched:
    """The windows watched, with these values so far; their target is 40 ± 1."""
    newest = sorted(values[-3:])
    thick = Decimal(newest[len(newest) // 2]) if values else None
    found = ZoneWatched(
        bench="bench",
        reed=scene.REED,
        zone="windows",
        title="windows",
        blade="crossed",
        target=Decimal(40),
        tolerance=Decimal(1),
        measured=len(values),
        values=[Decimal(each) for each in values[-6:]],
        estimate=thick,
        spread=Decimal(newest[-1] - newest[0]) if len(values) > 1 else None,
        remaining=None if thick is None else thick - 40,
        verdict=None if thick is None else verdict(thick, Decimal(40), Decimal(1), Decimal(1)),
        tendency="unknown",
        per_minute=None,
        per_minute_uncertainty=None,
    )
    return msgspec.structs.replace(found, **changes)


def page(at: Bench) -> type[Any]:
    """Which page lies in front."""
    return type(at.app.screen)


def said(at: Bench, kind: type[Pane]) -> str:
    """What a part of the page says."""
    return at.app.screen.query_one(kind).said.plain


async def test_the_key_asks_to_watch_the_zone_in_hand_and_to_leave_it() -> None:
    async with bench() as at:
        await at.hear(WALK)
        await at.press("z")
        stop = WALK.stops[5]
        assert at.client.asked(WatchZone) == [
            WatchZone(bench="bench", zone=stop.zone, blade="crossed")
        ]
        assert page(at) is BenchScreen, "the hub has the last word"
        await at.hear(WATCHING, watched())
        assert page(at) is WatchScreen
        await at.press("z")
        assert at.client.asked(StopWatching) == [StopWatching(bench="bench")]
        assert page(at) is WatchScreen
        await at.hear(WALK)
        assert page(at) is BenchScreen


async def test_what_it_shows_and_that_it_follows_every_value() -> None:
    async with bench() as at:
        await at.hear(WATCHING, watched(), scene.reading("52", "settled", 0.5))
        assert said(at, About) == "watching  windows, crossed side   target 40 ±1"
        assert "nothing measured yet" in said(at, Remains)
        assert said(at, Values) == "values   none yet"
        assert said(at, Now) == "now      52, SETTLED: lift it, and place it anew"
        fell = watched(52, 50, 47, 46, tendency="falling", per_minute=-2.2)
        await at.hear(fell, scene.reading("1240", "moving", seq=2))
        assert said(at, Remains).split("\n") == [
            " TAKE 7 ",
            "7 hundredths to take",
            "",
            "it is falling 2 a minute",
            "4 values so far",
        ]
        assert said(at, Values) == "values   52  50  47  46   the newest three within 4"
        assert said(at, Now) == "now      1240, moving"
        # 47 in the large figures
        assert said(at, Estimate).split("\n")[0] == "██  ██ ██████"


@pytest.mark.parametrize(
    ("event", "line"),
    [
        (watched(50), "how it changes: can't tell yet"),
        (watched(50, tendency="steady", per_minute=0.2), "it is steady"),
        (watched(50, tendency="rising", per_minute=0.6), "it is rising 0.6 a minute"),
        (watched(41, 40, 40), "on target: leave it"),
        (watched(37, 37, 37), "over by 3 hundredths: put the knife down"),
        (watched(42, 42, 42), "2 hundredths to take"),
    ],
)
async def test_what_remains_and_how_it_changes_is_said_in_words(
    event: ZoneWatched, line: str
) -> None:
    async with bench() as at:
        await at.hear(WATCHING, event)
        assert line in said(at, Remains)


async def test_a_capture_key_goes_to_the_hub_which_ends_the_watch() -> None:
    async with bench() as at:
        await at.hear(WATCHING, watched(44))
        await at.press("space")
        assert at.presses == [("capture", "")]
        await at.hear(WALK)
        assert isinstance(at.app.screen, BenchScreen)


async def test_escape_and_the_pedal_lead_back_to_the_walk() -> None:
    async with bench() as at:
        await at.hear(WATCHING, watched(44))
        await at.press("escape")
        await at.until(lambda: len(at.client.asked(StopWatching)) == 1)
        screen = at.app.screen
        assert isinstance(screen, WatchScreen)
        screen.driven("next")
        await at.until(lambda: len(at.client.asked(StopWatching)) == 2)
        assert not at.client.asked(Press)


async def test_keys_that_move_the_walk_do_nothing_here() -> None:
    async with bench() as at:
        await at.hear(WATCHING, watched(44))
        await at.press("k", "r", "a", "n")
        assert not at.client.asked(Press)


async def test_on_target_rings_and_has_the_banner_until_it_is_thick_again_or_left() -> None:
    async with bench() as at:
        alert = ZoneAlert("bench", scene.REED, "windows", "windows", LEAVE)
        await at.hear(WATCHING, watched(41, 40, 40, alert="windows: on target"), alert)
        assert said(at, Banner) == "ZONE ON TARGET · windows: leave it"
        assert at.app.rung == 1
        await at.hear(watched(48, 48, 48))
        assert "ZONE" not in said(at, Banner)
        await at.hear(watched(40, 40, 40), alert, WALK)
        assert "ZONE" not in at.text(Banner)


async def test_over_is_said_as_such() -> None:
    async with bench() as at:
        alert = ZoneAlert("bench", scene.REED, "windows", "windows", Verdict("over", 3))
        await at.hear(WATCHING, watched(37, 37), alert)
        assert said(at, Notice) == "windows: over 3: put the knife down"
        assert at.app.rung == 1
        assert "ZONE" not in said(at, Banner)


async def test_a_page_over_it_does_not_keep_it_open() -> None:
    async with bench() as at:
        await at.hear(WATCHING, watched(44))
        await at.press("f1")
        await at.hear(WALK)
        await at.press("escape")
        await at.until(lambda: isinstance(at.app.screen, BenchScreen))


async def test_a_hub_that_goes_away_takes_the_watch_with_it() -> None:
    client = SceneClient()
    async with bench(client, clients=[client, HubGone("no hub")], retry=600) as at:
        await at.until(lambda: at.app.state is not None and at.app.state.walk is not None)
        await at.hear(WATCHING, watched(44))
        assert isinstance(at.app.screen, WatchScreen)
        client.leave(HubGone("its process ended."))
        await at.until(lambda: isinstance(at.app.screen, BenchScreen))


async def test_without_a_station_or_a_walk_it_is_said() -> None:
    async with bench() as at:
        await at.hear(scene.walk(34))
        await at.press("z")
        assert "no station in hand" in at.text(Notice)
        assert not at.client.asked(WatchZone)
    async with bench(plan=Plan(gauge=scene.GAUGE)) as at:
        await at.until(lambda: not isinstance(at.app.screen, BenchScreen))
        await at.press("escape")
        for key in ("z", "w", "d"):
            await at.press(key)
            assert "no walk yet" in at.text(Notice)


async def test_what_the_hub_refuses_is_said() -> None:
    client = SceneClient({WatchZone: HubError("stage balance measures no zone 'x'")})
    async with bench(client) as at:
        await at.press("z")
        assert "measures no zone" in at.text(Notice)


async def test_in_practice_the_spindle_is_placed_anew_and_the_zone_can_be_scraped() -> None:
    spindle = Spindle()
    async with bench(practice=spindle) as at:
        await at.hear(WALK)
        spindle.did.clear()
        await at.hear(WATCHING, watched())
        station = WALK.stops[5].station
        await at.until(lambda: spindle.did == [("place", station)])
        await at.press("S")
        await at.until(lambda: len(spindle.did) == 3)
        assert spindle.did[1:] == [
            ("scrape", station, WALK.stops[5].zone, 5),
            ("place", station),
        ]


# Soaking ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("water", "words"),
    [
        (Water(), ""),
        (Water("in", "unknown", 0), "in the water under 1 min  "),
        (Water("in", "wet", 3), "in the water 3 min, wet  "),
        (Water("out", "wet", 4), "out of the water 4 min, wet  "),
        (Water("out", "unknown", 12), "out of the water 12 min  "),
        (Water("unknown", "dry", 0), "measured dry  "),
    ],
)
async def test_the_water_is_in_the_status_line(water: Water, words: str) -> None:
    async with bench() as at:
        await at.hear(msgspec.structs.replace(WALK, water=water))
        assert at.text(Header).endswith(f" {words}dial: link up")
        assert len(at.text(Header)) <= 78
        assert at.text(Header).startswith(scene.REED)


async def test_the_key_says_in_and_then_out() -> None:
    async with bench() as at:
        cases: list[tuple[Water, Where]] = [
            (Water(), "in"),
            (Water("in", "unknown", 1), "out"),
            (Water("out", "wet", 2), "in"),
            (Water("unknown", "dry", 0), "in"),
        ]
        for water, where in cases:
            await at.hear(msgspec.structs.replace(WALK, water=water))
            await at.press("w")
            assert at.client.asked(Soak)[-1] == Soak(bench="bench", where=where)
        await at.press("d")
        assert at.client.asked(Soak)[-1] == Soak(bench="bench", where="dry")


async def test_the_reminder_is_a_quiet_notice() -> None:
    async with bench() as at:
        await at.hear(WALK, SoakReminder("bench", scene.REED, 5))
        assert at.text(Notice) == (
            "Halvard 12: 5 minutes out of the water; dip it before you measure on"
        )
        await at.hear(WALK, SoakReminder("another bench", "R2", 7))
        assert "Halvard" in at.text(Notice)


async def test_the_keys_of_the_page_can_be_clicked() -> None:
    async with bench() as at:
        await at.hear(WATCHING, watched(44))
        bar = at.app.screen.query_one(Bar)
        await at.pilot.click(Bar, offset=(bar.place_of("water"), 0))
        await at.until(lambda: bool(at.client.asked(Soak)))


async def test_on_a_hub_a_zone_is_watched_and_the_walk_goes_on_where_it_stood(
    tmp_path: Path,
) -> None:
    async with scene_of_a_hub(tmp_path / "s.db") as hub:
        await hub.gauge()
        client = LocalClient(hub.hub)

        async def factory() -> Client:
            return client

        plan = Plan(reed="R1", style="millrace-long", stage="windows", gauge="g")
        app = RungApp(factory, plan, frame=0, quiet_after=0)
        async with asyncio.timeout(60), app.run_test(size=(80, 24)) as pilot:
            at = Bench(app, None, pilot)  # type: ignore[arg-type]  # there is no script to ask
            await at.until(lambda: app.state is not None and app.state.walk is not None)
            await hub.place(45)
            await at.press("z")
            await at.until(lambda: page(at) is WatchScreen)
            for value in (46, 43, 41, 41):
                await hub.place(value)
            await at.until(lambda: "on target" in said(at, Remains))
            assert said(at, Values).startswith("values   46  43  41  41")
            hub.clock.now += 1.0
            await at.press("space")
            await at.until(lambda: page(at) is BenchScreen)
            assert not hub.of(Captured)
            await hub.place(44)
            hub.clock.now += 0.1
            await at.press("space")
            await at.until(lambda: bool(app.state and app.state.captures))
            (captured,) = hub.of(Captured)
            assert (captured.hundredths, captured.station) == (44, "crossed/53/-0.5")
            await at.press("w")
            await at.until(lambda: "in the water" in at.text(Header))
