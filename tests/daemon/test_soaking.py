"""Soaking at the hub's own door: wet or dry with each capture, and the reminder once each time out.

The times are those of the style: 3 minutes to soak, a reminder after 5 out of the water, wet for 10
(common practice, no source).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from gaugelink.craft.rules import Soaking
from gaugelink.daemon import messages as m
from gaugelink.daemon.client import HubError
from gaugelink.daemon.soaking import Soaked, moved, next_change, water
from gaugelink.store.store import Store
from tests.daemon.scripted import Scene, scene, settle, until

MINUTE = 60.0


async def wait(bench: Scene, minutes: float) -> None:
    """Let so much time pass, a quarter of a minute at a time."""
    for _ in range(round(4 * minutes)):
        bench.clock.now += MINUTE / 4
        await settle()


async def soaked(bench: Scene) -> None:
    """Into the water, long enough, and out of it again."""
    await bench.client.ask(m.Soak(where="in"))
    await wait(bench, 3)
    await bench.client.ask(m.Soak(where="out"))


async def test_nothing_is_known_before_the_maker_says_something(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        walk = await bench.walk()
        assert walk.water == m.Water("unknown", "unknown", 0)
        await wait(bench, 30)
        await bench.place(43)
        assert (await bench.press()).wet == "unknown"
        assert not bench.of(m.SoakReminder)


async def test_each_whole_minute_in_and_out_of_the_water_is_told(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk()
        await settle()
        bench.events.clear()
        answer = await bench.client.ask(m.Soak(where="in"))
        assert answer.water == m.Water("in", "unknown", 0)
        await wait(bench, 4)
        await bench.client.ask(m.Soak(where="out"))
        await wait(bench, 2)
        assert [each.water for each in bench.of(m.WalkEvent)] == [
            m.Water("in", "unknown", 0),
            m.Water("in", "unknown", 1),
            m.Water("in", "unknown", 2),
            m.Water("in", "wet", 3),
            m.Water("in", "wet", 4),
            m.Water("out", "wet", 0),
            m.Water("out", "wet", 1),
            m.Water("out", "wet", 2),
        ]


async def test_the_reminder_comes_once_each_time_out_of_the_water(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk()
        await soaked(bench)
        await wait(bench, 4.75)
        assert not bench.of(m.SoakReminder)
        await wait(bench, 0.25)
        assert bench.of(m.SoakReminder) == [m.SoakReminder("bench", "R1", 5)]
        await wait(bench, 60)
        assert len(bench.of(m.SoakReminder)) == 1
        await bench.client.ask(m.Soak(where="in"))
        await wait(bench, 20)
        assert len(bench.of(m.SoakReminder)) == 1
        await bench.client.ask(m.Soak(where="out"))
        await bench.client.ask(m.Soak(where="out"))  # said twice: it still came out but once
        await wait(bench, 6)
        assert bench.of(m.SoakReminder) == 2 * [m.SoakReminder("bench", "R1", 5)]


async def test_each_capture_keeps_whether_the_reed_was_wet(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk()
        await soaked(bench)
        wet = []
        for minutes in (0, 9, 2):
            await wait(bench, minutes)
            await bench.place(43)
            wet.append((await bench.press()).wet)
        await bench.client.ask(m.Soak(where="dry"))
        await wait(bench, 30)
        await bench.place(42)
        wet.append((await bench.press()).wet)
        assert wet == ["wet", "wet", "unknown", "dry"]
        history = await bench.client.ask(m.ReedHistory(name="R1"))
        assert [each.wet for each in history.captures] == wet
        with Store.open(tmp_path / "s.db", read_only=True) as store:
            assert [each.wet for each in store.captures("R1")] == wet


async def test_a_capture_by_dwell_keeps_it_too(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk(trigger="dwell")
        await soaked(bench)
        await bench.place(43)
        await bench.say(43, 20)
        await until(lambda: bool(bench.of(m.Captured)))
        assert [each.wet for each in bench.of(m.Captured)] == ["wet"]


async def test_dry_is_not_reminded_of_and_ends_with_the_next_dip(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk()
        await soaked(bench)
        answer = await bench.client.ask(m.Soak(where="dry"))
        assert answer.water == m.Water("unknown", "dry", 0)
        await wait(bench, 30)
        assert not bench.of(m.SoakReminder)
        answer = await bench.client.ask(m.Soak(where="in"))
        assert answer.water == m.Water("in", "unknown", 0)


async def test_one_that_was_never_said_to_go_in_is_out_from_now_on(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk()
        answer = await bench.client.ask(m.Soak(where="out"))
        assert answer.water == m.Water("out", "unknown", 0)
        await wait(bench, 5)
        assert bench.of(m.SoakReminder) == [m.SoakReminder("bench", "R1", 5)]


async def test_a_reed_that_is_laid_aside_goes_on_drying_unsaid(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk()
        await soaked(bench)
        other = await bench.walk(reed="R2")
        assert other.water == m.Water()
        await wait(bench, 7)
        assert not bench.of(m.SoakReminder)
        again = await bench.walk()
        assert again.water == m.Water("out", "wet", 7)
        await settle()
        assert bench.of(m.SoakReminder) == [m.SoakReminder("bench", "R1", 7)]
        await bench.walk(stage="tip")
        await wait(bench, 5)
        assert len(bench.of(m.SoakReminder)) == 1, "another stage is no other dip"


async def test_two_benches_are_soaked_for_apart(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.gauge("h", "other")
        await bench.walk(bench="window")
        await bench.walk(reed="R2", gauge="h", bench="door")
        await bench.client.ask(m.Soak(where="in", bench="window"))
        assert (await bench.client.ask(m.Walk(bench="window"))).water.where == "in"
        assert (await bench.client.ask(m.Walk(bench="door"))).water.where == "unknown"
        await bench.client.ask(m.StopWalk(bench="window"))
        with pytest.raises(HubError, match="start one first"):
            await bench.client.ask(m.Soak(where="in", bench="window"))
        await settle()
        bench.events.clear()
        await wait(bench, 3)
        assert not bench.of(m.WalkEvent), "a walk that has ended is told of no more"


def test_a_change_is_waited_for_no_longer_than_to_the_next_limit() -> None:
    rule = Soaking(soak=1.5, remind=0.1, wet_for=2.25)
    known = moved(Soaked(), "in", 0.0, rule)
    assert next_change(known, 0.0, rule) == 6.0
    assert next_change(known, 60.0, rule) == 30.0
    assert water(known, 90.0, rule) == m.Water("in", "wet", 1)
    known = moved(known, "out", 90.0, rule)
    assert next_change(known, 90.0 + 120.0, rule) == 15.0
    assert next_change(known, 90.0 + 135.0, rule) == 45.0
    assert next_change(moved(known, "dry", 300.0, rule), 300.0, rule) is None
