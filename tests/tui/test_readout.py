"""The live reading on the screen."""

from __future__ import annotations

import asyncio
from typing import Any

import msgspec
import pytest
from textual.widgets import Digits

from gaugelink.daemon.messages import ReadingEvent
from tests.tui.bench import bench
from tui import scene
from tui.numerals import rows
from tui.widgets.readout import Compare, Figures, LiveVerdict, Place, Standing, StillBar


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


async def test_in_dwell_mode_the_bar_runs_from_settling_to_the_capture() -> None:
    async with bench() as at:
        walk = msgspec.structs.replace(scene.walk(2, dwell=True), still_for=0.4, dwell=0.8)
        await at.hear(walk)
        bars = []
        for still in (0.0, 0.3, 0.4, 0.6, 0.8):
            await at.hear(scene.reading("43", "settling" if still < 0.4 else "settled", still))
            bars.append(at.text(StillBar))
        words = ["takes at 0.8 s"] * 2 + ["takes in 0.4 s", "takes in 0.2 s", "takes in 0.0 s"]
        assert [bar.strip("━─ ") for bar in bars] == words
        assert len({len(bar) for bar in bars}) == 1, "the bar does not change its length"
        full = bars[4].count("━")
        assert [bar.count("━") for bar in bars] == [0, 0, 0, full / 2, full]
        assert "─" not in bars[4]
        await at.hear(scene.reading("1240", "moving"))
        assert "━" not in at.text(StillBar), "a lift empties it"


@pytest.mark.parametrize(
    ("reading", "words"),
    [
        (scene.reading("1240", "settled", 0.6), "takes at 0.8 s"),
        (scene.reading("1240", "settled", 9.0), "takes at 0.8 s"),
        (scene.reading("0", "settled", 0.6), "takes at 0.8 s"),
        (scene.reading("43", "settled", 1.6), "lift it first"),
    ],
)
async def test_in_dwell_mode_the_bar_is_empty_where_nothing_will_be_taken(
    reading: ReadingEvent, words: str
) -> None:
    async with bench() as at:
        await at.hear(scene.walk(2, dwell=True), reading)
        assert words in at.text(StillBar)
        assert "━" not in at.text(StillBar)


async def test_in_dwell_mode_the_bar_says_when_it_waits_for_a_lift_or_for_nothing() -> None:
    async with bench() as at:
        walk = scene.walk(1, dwell=True)
        capture = scene.captured(walk, 0)
        stood = msgspec.structs.replace(scene.reading("43", "settled", 0.8), at=capture.at)
        await at.hear(walk, capture, stood)
        assert at.text(StillBar).strip("─ ") == "lift it now"
        await at.hear(scene.walk(1, dwell=True, paused=True), scene.reading("43", "settled", 0.6))
        assert at.text(StillBar).strip("─ ") == "takes nothing"
        await at.hear(scene.walk(34, dwell=True))
        assert at.text(StillBar).strip("─ ") == "takes nothing"


async def test_mirrored_and_opposite_stand_beside_the_live_value() -> None:
    async with bench() as at:
        await at.hear(scene.walk(22), scene.reading("42", "settled", 0.5))
        assert at.text(Place).startswith("uncrossed, right, 59")
        mirrored, opposite = at.text(Compare).splitlines()
        stops = scene.walk(22).stops
        at_key = {stop.station: stop for stop in stops}
        assert f"{at_key['uncrossed/59/-0.5'].hundredths}" in mirrored
        assert f"{at_key['crossed/59/-0.5'].hundredths}" in opposite


async def test_what_was_captured_is_said_until_the_spindle_lifts() -> None:
    async with bench() as at:
        walk = scene.walk(1)
        capture = scene.captured(walk, 0)
        stood = msgspec.structs.replace(scene.reading("43", "settled", 0.5), at=capture.at)
        await at.hear(walk, capture, stood)
        assert at.text(Standing) == "captured\nlift it now\nhundredths"
        assert at.text(LiveVerdict).startswith(" – ")
        assert "━" not in at.text(StillBar)
        await at.hear(scene.reading("45", "settled", 0.4))
        assert "SETTLED" in at.text(Standing)


async def test_a_gauge_that_sends_on_its_own_button_is_not_silent() -> None:
    async with bench(quiet_after=0.01) as at:
        await at.hear(scene.reading("43", "settled", pushed=True))
        assert at.text(Standing).split() == ["SETTLED", "sent", "by", "its", "button"]
        assert at.app.state is not None
        await asyncio.sleep(0.05)
        await at.pilot.pause()
        assert not at.app.state.quiet
        assert "─" not in at.text(StillBar)


async def test_in_press_mode_the_bar_runs_to_the_settling_and_stays_full() -> None:
    async with bench() as at:
        walk = msgspec.structs.replace(scene.walk(2), still_for=0.4)
        await at.hear(walk)
        lengths = []
        readings = (
            scene.reading("43", "moving"),
            scene.reading("43", "settling", 0.2),
            scene.reading("43", "settled", 0.4),
        )
        for reading in readings:
            await at.hear(reading)
            lengths.append(at.text(StillBar).count("━"))
        full = len(at.text(StillBar))
        assert lengths == [0, full / 2, full]
        await at.hear(scene.reading("43", "settled", 9.0))
        assert at.text(StillBar) == "━" * full


@pytest.mark.parametrize(("size", "large"), [((80, 24), False), ((120, 40), True)])
async def test_a_large_screen_has_a_large_readout(size: tuple[int, int], large: bool) -> None:
    async with bench(size=size) as at:
        await at.hear(scene.reading("43", "settled", 0.5))
        digits, figures = at.app.screen.query_one(Digits), at.app.screen.query_one(Figures)
        assert (digits.display, figures.display) == (not large, large)
        assert digits.value == figures.value == "43"
        if large:
            assert figures.size.height == 5
            assert [figures.render_line(row).text.rstrip() for row in range(5)] == [
                row.rstrip() for row in rows("43")
            ]


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
