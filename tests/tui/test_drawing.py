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
    drawing = draw(marks, 48, 20)
    assert drawing.form in ("line", "stack")
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
    assert drawing.form == "short"
    assert not any(touch(one, other) for one, other in combinations(drawing.spots, 2))


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
)
def test_any_stations_in_any_size_can_be_drawn(
    places: list[Station], width: int, height: int
) -> None:
    drawing = draw([mark(each) for each in places], width, height)
    assert len(drawing.spots) == len(places)
    rows: dict[Blade, dict[float, int]] = {blade: {} for blade in BLADES}
    for spot in drawing.spots:
        rows[spot.mark.station.blade][spot.mark.station.height] = spot.y
    for found in rows.values():
        order = sorted(found, reverse=True)
        assert [found[at] for at in order] == sorted(found.values()), "higher stations stand higher"
