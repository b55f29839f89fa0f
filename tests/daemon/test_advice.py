"""Advice: told by itself when a pass is done, and whenever somebody asks."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from gaugelink.craft.style import Stop
from gaugelink.daemon import messages as m
from gaugelink.daemon.advising import UNCERTAINTY, words
from gaugelink.daemon.client import HubError
from gaugelink.metrology.plans import plan_placing
from tests.daemon.filled import Days, measure
from tests.daemon.scripted import scene, until
from tests.daemon.test_trust import PLAN, carry_out, trusted


async def test_a_pass_that_is_done_brings_an_advice_once(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        walk = await bench.walk()
        for index, stop in enumerate(walk.stops):
            assert not bench.of(m.Advice)
            left = stop.station.startswith("crossed") and stop.station.endswith("-0.5")
            await bench.place(46 if left else 40)
            assert isinstance(await bench.press(), m.Captured), index
        await until(lambda: bool(bench.of(m.Advice)))
        (told,) = bench.of(m.Advice)
        assert (told.bench, told.reed, told.stage) == ("bench", "R1", "windows")
        (step,) = told.steps
        assert (step.blade, step.side) == ("crossed", "left")
        assert 1 <= step.take <= 6
        assert told.lines[-1].startswith("It is advice")
        assert [each.word for each in told.sides] == ["thicker", "alike"]
        assert told.sides[0].hundredths == 6
        # Nothing has changed: asked for it is the same, and it is not told again.
        assert await bench.client.ask(m.Advise(bench="bench")) == told
        asked = await bench.client.ask(m.Advise(reed="R1"))
        assert (asked.steps, asked.sides, asked.bench) == (told.steps, told.sides, "")
        await bench.press("pause")
        assert len(bench.of(m.Advice)) == 1
        await bench.press("resume")
        await bench.press("retake")
        await bench.place(39)
        await bench.press()
        await until(lambda: len(bench.of(m.Advice)) == 2)


async def test_what_was_walked_before_is_advised_on_by_its_name(tmp_path: Path) -> None:
    days = Days()

    def off(stop: Stop) -> float:
        return -3 if stop.station.key == "crossed/53/-0.5" else 2.5

    with days.open(tmp_path / "s.db") as store:
        measure(store, days, "R1", "windows", off)
    async with scene(tmp_path / "s.db") as bench:
        found = await bench.client.ask(m.Advise(reed="R1"))
        assert found.uncertainty == UNCERTAINTY
        assert "assumed" in found.trusted
        assert {each.word for each in found.stations} == {"take", "over"}
        assert found.over, "its mirrors are told to stop or to meet it"
        assert all("crossed, left, 53 is over 3" in each.text for each in found.over)
        said = words(found)
        assert "assumed" in said[0]
        (stop,) = [line for line in said if "cannot be put back" in line]
        assert stop.count("53 ") == 4
        assert stop.endswith("at their targets")
        assert said[-1] == found.lines[-1]
        # Less is safe of what is known less well.
        vague = await bench.client.ask(m.Advise(reed="R1", uncertainty=2.0))
        assert (vague.uncertainty, vague.trusted) == (2.0, "given")
        assert sum(each.take for each in vague.stations) < sum(each.take for each in found.stations)


async def test_where_there_is_nothing_to_go_by_that_is_said(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.client.ask(m.AddReed(name="R1", style="millrace-long"))
        with pytest.raises(HubError, match="nothing of R1 is measured yet"):
            await bench.client.ask(m.Advise(reed="R1"))
        with pytest.raises(HubError, match="no reed is called 'R2'"):
            await bench.client.ask(m.Advise(reed="R2"))
        with pytest.raises(HubError, match="start one first"):
            await bench.client.ask(m.Advise(bench="bench"))
        with pytest.raises(HubError, match="nothing of R1 is measured yet"):
            await bench.client.ask(m.Overnight(reed="R1"))
        await bench.gauge()
        await bench.walk()
        with pytest.raises(HubError, match="nothing of R1 is measured at 'windows' yet"):
            await bench.client.ask(m.Advise(bench="bench"))


async def test_what_moved_overnight_is_told_of_wet_against_wet_only(tmp_path: Path) -> None:
    days = Days()

    def thicker(stop: Stop) -> float:
        return 4 if stop.station.blade == "crossed" else 0

    with days.open(tmp_path / "s.db") as store:
        measure(store, days, "R1", "windows", wet="wet")
        days.now += timedelta(hours=14)
        measure(store, days, "R1", "windows", thicker, wet="wet")
        measure(store, days, "R2", "windows", wet="wet")
        days.now += timedelta(hours=14)
        measure(store, days, "R2", "windows", wet="unknown")
        measure(store, days, "R3", "windows", wet="wet")
    async with scene(tmp_path / "s.db") as bench:
        found = await bench.client.ask(m.Overnight(reed="R1"))
        assert [each.word for each in found.places] == ["thicker"] * 6 + ["can't tell"] * 6
        assert {each.station.blade for each in found.places[:6]} == {"crossed"}
        assert found.places[0].hundredths == 4
        assert found.before < found.after
        other = await bench.client.ask(m.Overnight(reed="R2"))
        assert {each.word for each in other.places} == {"not compared"}
        assert all("wet now" in each.text for each in other.places)
        with pytest.raises(HubError, match="in one sitting only"):
            await bench.client.ask(m.Overnight(reed="R3"))


async def test_a_study_of_the_gauge_says_how_far_its_values_count(tmp_path: Path) -> None:
    days = Days()
    with days.open(tmp_path / "s.db") as store:
        measure(store, days, "R1", "windows", lambda stop: 4)
    async with scene(tmp_path / "s.db") as bench:
        ask = bench.client.ask
        await bench.gauge()
        await carry_out(bench, PLAN)
        # A proof on a standard says nothing of how a wet blade is placed.
        proved = await ask(m.Advise(reed="R1"))
        assert (proved.uncertainty, proved.trusted[:7]) == (UNCERTAINTY, "assumed")
        await carry_out(bench, plan_placing(["a"], 3, 2, seed=1))
        known = await trusted(bench)
        studied = await ask(m.Advise(reed="R1"))
        assert studied.uncertainty == known.standard
        assert studied.trusted == "by the proof and study of g"
        assert known.standard > UNCERTAINTY
        assert all(
            less.take <= more.take
            for less, more in zip(studied.stations, proved.stations, strict=True)
        )
