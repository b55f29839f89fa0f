"""The reed in character cells."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft.reed import BLADES, Blade, Station
from gaugelink.craft.style import Style, styles
from tui.drawing import HEAD, Mark, Spot, draw

STAGES = [(style, stage.name) for style in styles().values() for stage in style.stages]


def mark(station: Station, word: str = "take 12", value: str = "43") -> Mark:
    return Mark(station.key, station, value, word, "t12", here=False, old=False)


def touch(one: Spot, other: Spot) -> bool:
    rows = set(range(one.y, one.y + len(one.lines))) & set(
        range(other.y, other.y + len(other.lines))
    )
    return bool(rows) and one.x <= other.x + other.width and other.x <= one.x + one.width


@pytest.mark.parametrize(("style", "stage"), STAGES)
def test_every_shipped_stage_has_its_words_on_a_small_screen(style: Style, stage: str) -> None:
    stops = style.stops(stage)
    marks = [mark(stop.station, "take 9") for stop in stops]
    drawing = draw(marks, 50, 19, style.lengths.tip_line, style.stage(stage).length)
    assert set(drawing.forms.values()) <= {"line", "stack"}
    assert drawing.line is not None
    assert {spot.mark.key for spot in drawing.spots} == {each.key for each in marks}
    assert not any(touch(one, other) for one, other in combinations(drawing.spots, 2))


def test_tip_is_up_and_left_is_left() -> None:
    places = [Station("crossed", 53, -0.5), Station("crossed", 53, 0.5), Station("crossed", 66, 0)]
    spots = draw([mark(each) for each in places], 60, 24).spots
    low_left, low_right, high = sorted(spots, key=lambda spot: (-spot.y, spot.x))
    assert low_left.mark.station == places[0]
    assert low_right.mark.station == places[1]
    assert high.mark.station == places[2]
    assert high.y == HEAD


def test_crossed_side_is_drawn_on_the_left() -> None:
    places = [Station(blade, 60) for blade in BLADES]
    crossed, uncrossed = draw([mark(each) for each in places], 60, 24).spots
    assert crossed.x < uncrossed.x
    assert crossed.y == uncrossed.y


def test_many_stations_are_written_shorter_and_still_apart() -> None:
    heights = [50 + index for index in range(15)]
    marks = [mark(Station(b, h, a)) for b in BLADES for h in heights for a in (-0.6, 0.0, 0.6)]
    drawing = draw(marks, 48, 20)
    assert set(drawing.forms.values()) == {"short"}
    assert not any(touch(one, other) for one, other in combinations(drawing.spots, 2))


@pytest.mark.parametrize(("style", "stage"), STAGES)
@pytest.mark.parametrize("size", [(50, 19), (69, 34)])
def test_a_capture_moves_nothing_around_it(style: Style, stage: str, size: tuple[int, int]) -> None:
    lengths = style.lengths.tip_line, style.stage(stage).length
    empty = [mark(stop.station, "", "○") for stop in style.stops(stage)]
    full = [mark(stop.station, "take 12", "43") for stop in style.stops(stage)]
    before, after = draw(empty, *size, *lengths), draw(full, *size, *lengths)
    assert before.forms == after.forms
    assert before.heights == after.heights
    assert before.line == after.line
    assert [spot.y for spot in before.spots] == [spot.y for spot in after.spots]


def test_heights_that_hold_two_a_side_are_written_in_a_line_even_beside_a_crowded_one() -> None:
    places = [Station("crossed", 60, across) for across in (-0.5, 0, 0.5)]
    places += [Station("crossed", 54, across) for across in (-0.5, 0.5)]
    assert draw([mark(each) for each in places], 50, 19).forms == {60: "stack", 54: "line"}


@pytest.mark.parametrize(
    ("width", "label", "word"), [(50, "66", "tip"), (69, "66 tip", "")], ids=["small", "wide"]
)
def test_the_line_of_the_tip_lies_between_the_stations_around_it(
    width: int, label: str, word: str
) -> None:
    places = [Station("crossed", height) for height in (59, 64, 66.5)]
    drawing = draw([mark(each) for each in places], width, 24, tip_line=66, length=70)
    assert drawing.line is not None
    assert (drawing.line.label, drawing.line.word) == (label, word)
    rows = {spot.mark.station.height: spot.y for spot in drawing.spots}
    assert rows[66.5] < drawing.line.row < rows[64]
    assert rows[66.5] > HEAD, "the blades go on above the highest station"


def test_a_station_on_the_line_of_the_tip_shares_its_row() -> None:
    places = [Station("crossed", 66, -0.5), Station("uncrossed", 59)]
    drawing = draw([mark(each) for each in places], 50, 19, tip_line=66, length=70)
    assert drawing.line is not None
    assert drawing.line.row == drawing.spots[0].y
    assert (drawing.line.label, drawing.line.word) == ("66", "")
    assert [text for _, text in drawing.heights] == ["59"]


def test_stations_come_before_the_line_where_rows_are_few() -> None:
    places = [Station("crossed", height) for height in (53, 56, 59)]
    drawing = draw([mark(each) for each in places], 50, HEAD + 3 + 1, tip_line=66, length=70)
    assert drawing.line is None
    assert sorted(spot.y for spot in drawing.spots) == [HEAD, HEAD + 1, HEAD + 2]


def test_a_click_finds_the_station_under_it() -> None:
    drawing = draw([mark(Station("crossed", 60, 0.5)), mark(Station("crossed", 54, 0))], 60, 24)
    for spot in drawing.spots:
        assert drawing.spot_at(spot.x + spot.width // 2, spot.y) is spot
    assert drawing.spot_at(0, 0) is None


@given(
    st.lists(
        st.builds(
            Station,
            st.sampled_from(BLADES),
            st.floats(40, 80).map(lambda height: round(height, 1)),
            st.floats(-1, 1).map(lambda across: round(across, 2) or 0.0),
        ),
        unique=True,
        max_size=40,
    ),
    st.integers(0, 130),
    st.integers(0, 50),
    st.none() | st.floats(40, 80),
    st.none() | st.floats(40, 80),
)
def test_any_stations_in_any_size_can_be_drawn(
    places: list[Station],
    width: int,
    height: int,
    tip_line: float | None,
    length: float | None,
) -> None:
    drawing = draw([mark(each) for each in places], width, height, tip_line, length)
    assert len(drawing.spots) == len(places)
    rows: dict[Blade, dict[float, int]] = {blade: {} for blade in BLADES}
    for spot in drawing.spots:
        rows[spot.mark.station.blade][spot.mark.station.height] = spot.y
    for found in rows.values():
        order = sorted(found, reverse=True)
        assert [found[at] for at in order] == sorted(found.values()), "higher stations stand higher"
