"""Strokes between captures: only what was counted between two comparable values is a pass."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft.reed import Station
from gaugelink.craft.soaking import Wetness
from gaugelink.craft.strokes import Pass
from gaugelink.craft.tally import SITTING, Capture, Counted, passes, since

NOON = datetime(2031, 5, 4, 12, tzinfo=UTC)
LOW, HIGH = Station("crossed", 53, -0.5), Station("crossed", 56, -0.5)
RIGHT = Station("crossed", 53, 0.5)


def value(
    number: int,
    hundredths: float,
    station: Station = LOW,
    state: Wetness = "unknown",
    later: timedelta = timedelta(),
) -> Capture:
    at = NOON + timedelta(minutes=number) + later
    return Capture(number, station, "windows", hundredths, at, state)


def strokes(count: int, after: int, blade: str = "", side: str = "", entry: int = 1) -> Counted:
    return Counted(entry, "windows", blade, side, count, after)


def test_the_stations_of_one_side_are_one_pass() -> None:
    captures = [value(1, 46), value(2, 44, HIGH), value(3, 43), value(4, 42, HIGH)]
    (found,) = passes(captures, [strokes(6, after=2)])
    assert found.made == Pass("windows", 6, 2.5)
    assert found.number == 4


def test_strokes_over_the_whole_zone_are_a_pass_on_each_side() -> None:
    captures = [value(1, 46), value(2, 45, RIGHT), value(3, 44), value(4, 44, RIGHT)]
    found = passes(captures, [strokes(4, after=2)])
    assert [each.made.removed for each in found] == [2, 1]
    (left,) = passes(captures, [strokes(4, after=2, side="left")])
    assert left.made.removed == 2
    assert passes(captures, [strokes(4, after=2, blade="uncrossed")]) == ()


def test_all_strokes_between_two_values_count_together() -> None:
    captures = [value(1, 46), value(2, 43)]
    counted = [strokes(4, after=1), strokes(3, after=1, entry=2), strokes(9, after=2, entry=3)]
    (found,) = passes(captures, counted)
    assert found.made == Pass("windows", 7, 3)
    assert since(captures, counted) == {LOW.key: 9}


def test_strokes_before_the_first_value_tell_nothing() -> None:
    assert passes([value(1, 46), value(2, 43)], [strokes(4, after=0)]) == ()


@pytest.mark.parametrize(
    ("before", "after", "later", "count"),
    [
        ("wet", "wet", timedelta(), 1),
        ("wet", "unknown", timedelta(), 1),
        ("wet", "dry", timedelta(), 0),
        ("dry", "wet", timedelta(), 0),
        ("wet", "wet", SITTING, 0),
    ],
)
def test_a_night_and_water_are_no_strokes(
    before: Wetness, after: Wetness, later: timedelta, count: int
) -> None:
    captures = [value(1, 46, state=before), value(2, 43, state=after, later=later)]
    assert len(passes(captures, [strokes(6, after=1)])) == count


@given(
    st.lists(st.integers(20, 60), min_size=2, max_size=8),
    st.lists(st.tuples(st.integers(1, 20), st.integers(0, 8)), max_size=8),
)
def test_no_stroke_is_counted_twice_or_lost(
    thickness: list[int], made: list[tuple[int, int]]
) -> None:
    captures = [value(number, each) for number, each in enumerate(thickness, 1)]
    counted = [
        strokes(count, min(after, len(captures)), entry=entry)
        for entry, (count, after) in enumerate(made)
    ]
    told = sum(each.made.strokes for each in passes(captures, counted))
    before = sum(each.count for each in counted if each.after == 0)
    open_ones = since(captures, counted)[LOW.key]
    assert told + before + open_ones == sum(each.count for each in counted)
