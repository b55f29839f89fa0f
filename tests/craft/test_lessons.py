"""Lessons as files: the shipped ones fit their styles, and what is wrong is said where it is."""

from __future__ import annotations

import msgspec
import pytest

from gaugelink.craft.lessons import Lesson, LessonError, Off, Start, fits, lessons, parse
from gaugelink.craft.reed import Station
from gaugelink.craft.style import StyleError, find
from tests.craft.values import LONG

GOOD = """
name = "try"
title = "Try"
aim = "Reach the target."
style = "millrace-long"
stage = "windows"
[start]
excess = 4
[counts]
target = 60
cane = 40
"""


@pytest.mark.parametrize("lesson", lessons().values(), ids=lambda each: each.name)
def test_shipped_lessons_fit_their_styles(lesson: Lesson) -> None:
    fits(lesson, find(lesson.style))
    assert lesson.aim.endswith(".")
    assert lesson.clips == (lesson.start.crow is not None)


def test_the_lessons_that_are_shipped() -> None:
    assert set(lessons()) == {"level-windows", "open-tip", "lopsided-tip", "clip-to-pitch"}


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("target = 60", "target = 50"), "try.toml: counts: the points add up to 90; make it 100"),
        (("cane = 40", "cane = 50\nbalance = -10"), "counts.balance: points are 0 or more"),
        (("excess = 4", "excess = nan"), "start.excess: nan must lie from -60 to 60"),
        (("excess = 4", "excess = 4\nlength = 900"), "start.length: 900"),
        (
            ("excess = 4", "excess = 4\noff = [{ hundredths = 99, blade = 'crossed' }]"),
            "start.off[0].hundredths: 99",
        ),
        (("excess = 4", "excess = 4\noff = [{ hundredths = 9, blade = 'front' }]"), "'front'"),
        (("cane = 40", "crow = 40"), "counts.crow: a lesson is about the crow or about the knife"),
        (("target = 60\ncane = 40", "crow = 70\ncare = 30"), "start.crow: is needed"),
        (("excess = 4", ""), "missing required field `excess`"),
        (("[counts]", "colour = 1\n[counts]"), "unknown field `colour`"),
        (('aim = "Reach the target."', ""), "missing required field `aim`"),
    ],
)
def test_a_wrong_file_says_where(change: tuple[str, str], said: str) -> None:
    assert parse(GOOD, "try.toml").counts.target == 60
    with pytest.raises(LessonError) as caught:
        parse(GOOD.replace(*change), "try.toml")
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("change", "error", "said"),
    [
        ({"stage": "nothing"}, StyleError, "no stage 'nothing'"),
        ({"start": Start(1, (Off(1, "crossed", zone="belly"),))}, StyleError, "no zone 'belly'"),
        (
            {"start": Start(1, (Off(1, "crossed", "middle"),))},
            LessonError,
            "stage windows measures nothing in crossed, middle",
        ),
        ({"start": Start(1, length=60)}, LessonError, "a length of 60 mm is none of millrace-long"),
    ],
)
def test_a_lesson_that_its_style_cannot_give(
    change: dict[str, object], error: type[Exception], said: str
) -> None:
    lesson = msgspec.structs.replace(parse(GOOD, "try.toml"), **change)
    with pytest.raises(error, match=said):
        fits(lesson, LONG)


def test_balance_needs_places_that_mirror_each_other() -> None:
    zones = [msgspec.structs.replace(zone, across=[0.5], blades=["crossed"]) for zone in LONG.zones]
    lesson = parse(GOOD.replace("cane = 40", "balance = 40"), "try.toml")
    fits(lesson, LONG)
    with pytest.raises(LessonError, match="measures no places that mirror each other"):
        fits(lesson, msgspec.structs.replace(LONG, zones=zones))


def test_gouged_cane_gives_no_lesson_in_clipping() -> None:
    cane = find("quayside-cane")
    lesson = msgspec.structs.replace(
        parse(GOOD, "try.toml"), stage="gouge", start=Start(0, crow=-20)
    )
    with pytest.raises(LessonError, match="does not crow"):
        fits(lesson, cane)


def test_what_a_part_covers() -> None:
    stops = {stop.station: stop for stop in LONG.stops("tip")}
    left, middle = Station("crossed", 67.8, -0.5), Station("crossed", 67.8, 0.0)
    assert Off(1, "crossed").covers(stops[middle])
    assert Off(1, "crossed", "left").covers(stops[left])
    assert not Off(1, "crossed", "left").covers(stops[middle])
    assert not Off(1, "uncrossed").covers(stops[left])
    assert Off(1, "crossed", zone="tip-sides").covers(stops[left])
    assert not Off(1, "crossed", zone="corners").covers(stops[left])
