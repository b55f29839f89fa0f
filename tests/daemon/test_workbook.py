"""The workbook at the hub's door: strokes, crows, lengths, playing tests and the rack's agenda."""

from __future__ import annotations

import functools
from datetime import timedelta
from decimal import Decimal
from pathlib import Path

import msgspec
import pytest

from gaugelink.craft.style import Stop
from gaugelink.daemon import messages as m
from gaugelink.daemon.client import HubError
from tests.daemon.filled import Days, measure
from tests.daemon.scripted import scene


def _flat(off: float, stop: Stop) -> float:
    """Every station as far off."""
    return off


async def test_the_rate_of_a_stroke_is_learned_from_what_was_counted(tmp_path: Path) -> None:
    days = Days()
    with days.open(tmp_path / "s.db") as store:
        measure(store, days, "R1", "windows", lambda stop: 12)
        for left in (8.8, 5.6, 2.4):
            store.workbook.add_strokes("R1", "windows", 4)
            measure(store, days, "R1", "windows", functools.partial(_flat, left))
    async with scene(tmp_path / "s.db") as bench:
        found = await bench.client.ask(m.Strokes(reed="R1", zone="windows"))
        (rate,) = found.rates
        assert rate.passes == 12, "three passes over four sides"
        assert rate.per_stroke == pytest.approx(0.8, abs=0.05)
        assert len(found.needed) == 12
        for place in found.needed:
            # 2.4 are left, of which a stroke takes 0.8; a third more than that is never advised.
            assert place.likely in (2, 3)
            assert place.low <= place.likely <= place.high
            assert place.safe <= place.likely
        noted = await bench.client.ask(
            m.NoteStrokes(reed="R1", zone="windows", count=2, blade="crossed", side="left")
        )
        assert noted.noted == "2 strokes, windows, crossed, left"
        since = {each.station.key: each.since for each in noted.needed}
        assert since["crossed/53/-0.5"] == 2
        assert since["crossed/53/+0.5"] == 0
        assert "measure it again" in noted.needed[0].text
        assert noted.needed[0].safe == 0


async def test_a_knife_that_takes_less_than_before_is_hinted_at(tmp_path: Path) -> None:
    days = Days()
    thick = 60

    def off(stop: Stop) -> float:
        return thick

    with days.open(tmp_path / "s.db") as store:
        measure(store, days, "R1", "windows", off)
        for taken in (8, 8, 8, 0, 8, 8, 1):
            if taken:
                store.workbook.add_strokes("R1", "windows", 8)
            else:
                days.now += timedelta(hours=14)
            thick -= taken
            measure(store, days, "R1", "windows", off)
    async with scene(tmp_path / "s.db") as bench:
        found = await bench.client.ask(m.Strokes(reed="R1"))
        assert "the knife may want sharpening" in found.knife


async def test_strokes_for_a_zone_that_is_none_are_not_noted(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.client.ask(m.AddReed(name="R1", style="millrace-long"))
        with pytest.raises(HubError, match="has no zone 'tail'"):
            await bench.client.ask(m.NoteStrokes(reed="R1", zone="tail", count=4))
        with pytest.raises(HubError, match="strokes need a zone"):
            await bench.client.ask(m.NoteStrokes(reed="R1", zone="", count=4))
        with pytest.raises(HubError, match="strokes cannot be"):
            await bench.client.ask(m.NoteStrokes(reed="R1", zone="windows", count=0))
        found = await bench.client.ask(m.Strokes(reed="R1"))
        assert [each.passes for each in found.rates] == [0]
        assert not found.needed


async def test_a_reed_is_clipped_towards_its_goal_and_never_past_it(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        ask = bench.client.ask
        await ask(m.AddReed(name="R1", style="millrace-long"))
        early = await ask(m.NoteCrow(reed="R1", pitch="C5 -90"))
        assert (early.why, early.crow, early.length) == ("length", "C5 -90", None)
        length = Decimal(73)
        steps: list[Decimal] = []
        while len(steps) < 20:
            noted = await ask(m.NoteLength(reed="R1", length=length))
            assert (noted.why, noted.length) == ("crow it", length)
            assert "mm: crow it" in noted.text
            # An invented reed that rises by 25 cents for each millimetre.
            cents = -90 + 25 * (73 - length)
            found = await ask(m.NoteCrow(reed="R1", pitch=f"C5 {cents:+.1f}"))
            assert (found.length, found.cents) == (length, round(cents, 1))
            if found.step is None:
                break
            assert found.why == "clip"
            steps.append(found.step)
            length -= found.step.quantize(Decimal("0.001"))
        assert steps
        assert steps == sorted(steps, reverse=True)
        # The first day's goal is 16.5 cents flat, within 1.5.
        assert -40 < cents <= -15
        assert await ask(m.PlanClip(reed="R1")) == msgspec.structs.replace(found, noted="")
        sharp = await ask(m.NoteCrow(reed="R1", pitch="C5 +10"))
        assert sharp.why == "sharp"


@pytest.mark.parametrize(
    ("crow", "cents"),
    [
        ({"pitch": "C5 -15"}, "-15"),
        ({"pitch": "C4+15"}, "15"),
        ({"pitch": "B4"}, "-100"),
        ({"pitch": "C#6 +3,5"}, "103.5"),
        # 1200 log2(442/440) = 7.85 cents: by a tuner at 442 the same name is so much sharper.
        ({"pitch": "C5", "tuning": 442.0}, "7.9"),
        # C5 is 523.2511 Hz in equal temperament from A at 440 Hz (ISO 16:1975).
        ({"hertz": 523.2511}, "0"),
        ({"hertz": 523.2511 / 2}, "0"),
    ],
)
async def test_a_crow_counts_in_whichever_octave(
    tmp_path: Path, crow: dict[str, object], cents: str
) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.client.ask(m.AddReed(name="R1", style="millrace-long"))
        found = await bench.client.ask(m.NoteCrow(reed="R1", **crow))  # type: ignore[arg-type]
        assert found.cents == Decimal(cents)


async def test_a_wrong_crow_or_length_is_not_noted(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        ask = bench.client.ask
        await ask(m.AddReed(name="R1", style="millrace-long"))
        for wrong in ({"pitch": "H5"}, {"hertz": -3.0}, {"pitch": "C5", "tuning": 4400.0}, {}):
            with pytest.raises(HubError):
                await ask(m.NoteCrow(reed="R1", **wrong))
        with pytest.raises(HubError, match="no length of a reed"):
            await ask(m.NoteLength(reed="R1", length=Decimal(-3)))
        found = await ask(m.PlanClip(reed="R1"))
        assert (found.crow, found.length, found.cents) == ("", None, None)


async def test_a_night_parts_the_crows(tmp_path: Path) -> None:
    days = Days()
    with days.open(tmp_path / "s.db") as store:
        measure(store, days, "R1", "finish")
        book = store.workbook
        for length, cents in (("71", -80), ("70", -55)):
            book.add_length("R1", Decimal(length))
            book.add_crow("R1", note="C5", cents=Decimal(cents), hertz=510.0, tuning=440.0)
        days.now += timedelta(hours=14)
        # The night has made it so much flatter that its crows of both days fall as it is clipped.
        book.add_crow("R1", note="C5", cents=Decimal(-140), hertz=480.0, tuning=440.0)
    async with scene(tmp_path / "s.db") as bench:
        found = await bench.client.ask(m.PlanClip(reed="R1"))
        assert found.why == "clip"
        assert found.expected is not None
        assert found.expected > -140


async def test_playing_tests_are_kept_day_by_day(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        ask = bench.client.ask
        await ask(m.AddReed(name="R1", style="millrace-long"))
        await ask(m.NoteTest(reed="R1", day="2031-05-04", grades={"response": 3}))
        found = await ask(
            m.NoteTest(reed="R1", day="2031-05-05", grades={"response": 4, "tone": 5}, note="sings")
        )
        assert [(each.day, each.mean) for each in found] == [
            ("2031-05-04", 3),
            ("2031-05-05", Decimal("4.5")),
        ]
        assert found[1].text.startswith("response 4, tone 5")
        for wrong, said in (
            ({"day": "yesterday", "note": "x"}, "is no day"),
            ({"day": "2031-05-06"}, "nothing to note"),
            ({"day": "2031-05-06", "grades": {"tone": 6}}, "is no grade"),
            ({"day": "2031-05-06", "grades": {"smell": 3}}, "is not tested"),
        ):
            with pytest.raises(HubError, match=said):
                await ask(m.NoteTest(reed="R1", **wrong))
        assert await ask(m.Tests(reed="R1")) == found


async def test_the_rack_says_what_comes_next(tmp_path: Path) -> None:
    days = Days()
    with days.open(tmp_path / "s.db") as store:
        store.add_reed("new", "millrace-long")
        store.add_reed("lost", "a style that is gone")
        measure(store, days, "begun", "windows", lambda stop: 5)
        store.update_reed("begun", state="first day")
        measure(store, days, "level", "windows")
        store.update_reed("level", state="first day")
        measure(store, days, "asleep", "balance")
        days.now += timedelta(hours=70)
        store.update_reed("asleep", state="resting")
        days.now += timedelta(minutes=5)
        store.update_reed("asleep", note="15 flat")
        store.add_reed("leaky", "millrace-long")
        store.update_reed("leaky", state="set aside", note="leaks")
        rested = store.changes("asleep")[-2].at
    async with scene(tmp_path / "s.db") as bench:
        found = {each.name: each for each in await bench.client.ask(m.Agenda())}
        assert list(found) == ["new", "lost", "begun", "level", "asleep"]
        assert found["new"].next_stage == "sort"
        assert "no style is called" in found["lost"].next
        assert found["begun"].next_stage == "windows"
        assert found["level"].next_stage == "tip"
        assert found["asleep"].since == rested, "a note is no new rest"
        assert found["asleep"].next_stage == "rested"
        assert found["asleep"].waits
        assert found["asleep"].due.endswith("Z")
        every = {each.name: each for each in await bench.client.ask(m.Agenda(all=True))}
        assert every["leaky"].next == "set aside: leaks"
        changes = await bench.client.ask(m.Changes(reed="asleep"))
        assert [(each.state, each.note) for each in changes][-2:] == [
            ("resting", ""),
            ("resting", "15 flat"),
        ]
