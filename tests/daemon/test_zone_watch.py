"""A zone watched through the hub: what counts as a value, and that nothing is captured."""

from __future__ import annotations

import asyncio
import tempfile
import threading
from pathlib import Path
from typing import Any, Literal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugelink.craft.verdict import LEAVE, Verdict
from gaugelink.craft.watching import Trend
from gaugelink.daemon import messages as m
from gaugelink.daemon.client import HubError
from gaugelink.daemon.watching import tendency
from gaugelink.store.store import Store
from tests.daemon.scripted import Scene, scene, settle, until

WINDOWS = m.WatchZone(zone="windows")
"""Their target is 40 ± 1."""


async def test_every_placing_is_a_value_and_the_newest_three_make_the_estimate(
    tmp_path: Path,
) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk()
        begun = await bench.client.ask(m.WatchZone(zone="windows", blade="crossed"))
        assert (begun.measured, begun.estimate, begun.verdict) == (0, None, None)
        assert (begun.title, begun.blade, begun.target) == ("windows", "crossed", 40)
        for value in (50, 50, 90, 47):
            await bench.place(value)
            await bench.say(value, 20)  # however long it stands there
        told = bench.of(m.ZoneWatched)
        assert [each.measured for each in told] == [0, 1, 2, 3, 4]
        last = told[-1]
        assert last.values == [50, 50, 90, 47]
        assert (last.estimate, last.remaining, last.spread) == (50, 10, 43)
        assert last.verdict == Verdict("take", 10)
        assert bench.of(m.WalkEvent)[-1].watching == "windows"


async def test_what_stood_there_a_slip_and_what_is_no_cane_do_not_count(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk()
        await bench.place(45)
        await bench.client.ask(WINDOWS)
        await bench.say(45, 20)
        assert bench.of(m.ZoneWatched)[-1].measured == 0, "it stood there before"
        await bench.place(44)
        await bench.say(60, 3)  # off for an instant, and back at the same place
        await bench.say(44, 20)
        assert bench.of(m.ZoneWatched)[-1].values == [44]
        await bench.place(0)  # the bare tongue
        await bench.say(900, 30)  # held still in the air
        assert bench.of(m.ZoneWatched)[-1].values == [44]
        await bench.place(44)
        assert bench.of(m.ZoneWatched)[-1].values == [44, 44]


async def test_the_alert_comes_once_on_target_and_anew_only_after_it_was_clearly_off(
    tmp_path: Path,
) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk()
        await bench.client.ask(WINDOWS)
        for value in (46, 44, 42, 41, 41, 42, 41, 41):
            await bench.place(value)
        assert bench.of(m.ZoneAlert) == [m.ZoneAlert("bench", "R1", "windows", "windows", LEAVE)]
        told = [each for each in bench.of(m.ZoneWatched) if each.alert]
        assert [(each.measured, each.alert) for each in told] == [
            (5, "windows: on target, 41; stop and listen")
        ]
        # The other blade, with the same watch still on: thick again, then on target.
        for value in (50, 50, 50, 40, 40):
            await bench.place(value)
        assert len(bench.of(m.ZoneAlert)) == 2


async def test_a_zone_that_is_over_is_told_as_such(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk()
        await bench.client.ask(WINDOWS)
        for _ in range(3):
            await bench.place(37)
        (alert,) = bench.of(m.ZoneAlert)
        assert alert.verdict == Verdict("over", 3)
        told = next(each for each in bench.of(m.ZoneWatched) if each.alert)
        assert told.alert == "windows: over 3, put the knife down"
        assert (told.remaining, told.estimate) == (-3, 37)


async def test_the_trend_is_told_in_hundredths_a_minute(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk()
        await bench.client.ask(WINDOWS)
        for value in (70, 66, 62, 58, 54, 50):
            # Six placings 60 s apart, 4 hundredths thinner each time.
            before = bench.clock.now
            await bench.place(value)
            bench.clock.now = before + 60.0
        words = [each.tendency for each in bench.of(m.ZoneWatched)]
        assert words[:4] == ["unknown"] * 4
        last = bench.of(m.ZoneWatched)[-1]
        assert last.tendency == "falling"
        assert last.per_minute == pytest.approx(-4.0, abs=0.05)


@pytest.mark.parametrize(
    ("trend", "word"),
    [
        (None, "unknown"),
        (Trend(-2.0, 0.5, True), "falling"),
        (Trend(3.0, 0.5, True), "rising"),
        (Trend(-0.3, 0.5, False), "steady"),
        (Trend(-0.3, 0.6, False), "unknown"),
    ],
)
def test_steady_is_said_only_when_a_change_would_have_been_told(
    trend: Trend | None, word: str
) -> None:
    assert tendency(trend) == word


@pytest.mark.parametrize("trigger", ["press", "dwell"])
async def test_any_press_leaves_the_watch_and_the_walk_stands_where_it_stood(
    tmp_path: Path, trigger: Literal["press", "dwell"]
) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk(trigger=trigger)
        for gesture in ("capture", "skip", "back", "again", "goto"):
            await bench.client.ask(WINDOWS)
            await bench.place(44)
            await bench.say(44, 40)
            left = await bench.press(gesture)
            assert isinstance(left, m.WalkEvent)
            assert (left.watching, left.at_stop, left.paused, left.in_pass) == ("", 0, False, 1)
            # A pedal that bounces goes no further, and what stands there was meant for the zone.
            bounced = await bench.client.ask(m.Press(gesture="capture"))
            assert bounced.why == "too soon"
            await bench.say(44, 40)
            refused = await bench.press()
            assert refused.why == "same contact"
        assert not bench.of(m.Captured)
        await bench.place(43)
        if trigger == "press":
            await bench.press()
        await bench.say(43, 20)
        await until(lambda: bool(bench.of(m.Captured)))
        assert [each.hundredths for each in bench.of(m.Captured)] == [43]
        assert bench.of(m.Captured)[0].station == bench.of(m.WalkEvent)[-1].stops[0].station


async def test_a_spindle_on_its_way_when_the_watch_is_left_was_meant_for_the_zone(
    tmp_path: Path,
) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk()
        await bench.client.ask(WINDOWS)
        await bench.place(44)
        await bench.say(900, 12)
        await bench.say(44, 2)
        await bench.client.ask(m.StopWatching())
        await bench.say(44, 12)
        assert (await bench.press()).why == "same contact"
        await bench.place(44)
        assert isinstance(await bench.press(), m.Captured)


async def test_a_push_of_the_indicators_own_button_is_a_value_not_a_capture(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge(description="button-hundredths-crlf")
        await bench.walk()
        await bench.client.ask(WINDOWS)
        for value in (43, 42, 42):
            bench.clock.now += 1.0
            bench.link.feed(b"%4d\r\n" % value, bench.clock.now)
            await settle()
        assert bench.of(m.ZoneWatched)[-1].values == [43, 42, 42]
        assert not bench.of(m.Captured)
        assert not bench.of(m.Refused)
        walk = await bench.client.ask(m.StopWatching())
        assert (walk.watching, walk.done) == ("", 0)
        assert await bench.client.ask(m.StopWatching()) == walk, "left already: nothing happens"
        bench.clock.now += 1.0
        bench.link.feed(b"  41\r\n", bench.clock.now)
        await until(lambda: bool(bench.of(m.Captured)))
        assert [each.hundredths for each in bench.of(m.Captured)] == [41]


async def test_a_push_that_waits_while_the_watch_begins_is_refused_aloud(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    gate, add = threading.Event(), Store.add_capture

    def slow(*args: Any) -> Any:
        assert gate.wait(10)
        return add(*args)

    monkeypatch.setattr(Store, "add_capture", slow)
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge(description="button-hundredths-crlf")
        await bench.walk()
        bench.clock.now += 1.0
        bench.link.feed(b"  43\r\n", bench.clock.now)
        await settle()
        # The first is being written: the watch waits for its turn, and the second push behind it.
        asked = asyncio.create_task(bench.client.ask(WINDOWS))
        await settle()
        bench.clock.now += 1.0
        bench.link.feed(b"  42\r\n", bench.clock.now)
        await settle()
        gate.set()
        await asked
        await until(lambda: bool(bench.of(m.Refused)))
        assert [each.text for each in bench.of(m.Refused)] == ["a zone is watched: nothing taken"]
        assert [each.hundredths for each in bench.of(m.Captured)] == [43]
        kinds = [type(each) for each in bench.events]
        assert kinds.index(m.Captured) < kinds.index(m.ZoneWatched)


async def test_wrong_watches_say_what_to_do(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        ask = bench.client.ask
        with pytest.raises(HubError, match="start one first"):
            await ask(WINDOWS)
        await bench.gauge()
        await bench.walk()
        with pytest.raises(HubError, match="measures no zone 'corners'; it measures windows"):
            await ask(m.WatchZone(zone="corners"))
        assert (await ask(m.Walk())).watching == ""
        await ask(WINDOWS)
        await bench.walk(stage="tip")
        assert (await ask(m.Walk())).watching == "", "another walk has begun"


HAND = st.one_of(
    st.tuples(st.just("place"), st.integers(30, 60)),
    st.tuples(st.just("stand"), st.integers(30, 60)),
    st.tuples(st.just("hover"), st.integers(100, 900)),
    st.tuples(st.just("wait"), st.integers(1, 40)),
    st.tuples(st.just("lose"), st.just(0)),
)
FOOT = st.tuples(st.sampled_from(["capture", "retake", "skip", "back", "again"]), st.just(0))
SWITCH = st.tuples(st.sampled_from(["watch", "stop", "in", "out", "dry"]), st.just(0))


@settings(deadline=None)
@given(
    trigger=st.sampled_from(["press", "dwell"]),
    acts=st.lists(st.one_of(HAND, HAND, FOOT, SWITCH), min_size=1, max_size=14),
)
def test_while_a_zone_is_watched_no_capture_ever_lands(
    trigger: Literal["press", "dwell"], acts: list[tuple[str, int]]
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        asyncio.run(_watched(Path(folder), trigger, acts))


async def _watched(
    folder: Path, trigger: Literal["press", "dwell"], acts: list[tuple[str, int]]
) -> None:
    async with scene(folder / "s.db") as bench:
        await bench.gauge()
        await bench.walk(trigger=trigger)
        await bench.place(900)
        for what, number in [("watch", 0), *acts]:
            await _act(bench, what, number)
        # What a dwell has begun is done once the bench can be asked again.
        await bench.client.ask(m.StopWatching())
        await settle(60)
        walk: m.WalkEvent | None = None
        captured = []
        for event in bench.events:
            match event:
                case m.WalkEvent():
                    if walk is not None and walk.watching:
                        assert _stands(event) == _stands(walk), "the walk moved"
                    walk = event
                case m.Captured():
                    assert walk is not None
                    assert not walk.watching, "captured while a zone was watched"
                    captured.append(event.capture)
                case m.ZoneWatched():
                    assert walk is not None
                    assert walk.watching == "windows"
        with Store.open(folder / "s.db", read_only=True) as store:
            assert [each.capture for each in store.captures()] == captured


def _stands(walk: m.WalkEvent) -> tuple[object, ...]:
    return walk.stops, walk.at_stop, walk.paused, walk.in_pass, walk.done


async def _act(bench: Scene, what: Any, number: int) -> None:
    ask: Any = bench.client.ask
    match what:
        case "place":
            await bench.place(number)
        case "stand":
            await bench.say(number, 40)
        case "hover":
            await bench.say(number, 20)
        case "wait":
            bench.clock.now += number / 10
        case "lose":
            opened = bench.link.opened
            bench.link.lose()
            await until(lambda: bench.link.opened > opened)
        case "watch":
            await ask(WINDOWS)
        case "stop":
            await ask(m.StopWatching())
        case "in" | "out" | "dry":
            await ask(m.Soak(where=what))
        case _:
            await ask(m.Press(gesture=what))
    await settle()
