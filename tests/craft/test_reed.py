"""Places on a reed: keys, sides, and what lies mirrored or over them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft.reed import BLADES, Station, other_blade, parse_key

stations = st.builds(
    Station,
    blade=st.sampled_from(BLADES),
    height=st.floats(40, 80) | st.integers(400, 800).map(lambda tenths: tenths / 10),
    across=st.floats(-1, 1) | st.sampled_from([0.0, -0.0, 0.5, -0.85, 1.0, -1.0]),
)


@pytest.mark.parametrize(
    ("station", "key", "spoken"),
    [
        (Station("crossed", 53, -0.5), "crossed/53/-0.5", "crossed, left, 53"),
        (Station("uncrossed", 54.5), "uncrossed/54.5/+0", "uncrossed, middle, 54.5"),
        (Station("crossed", 68.6, 0.85), "crossed/68.6/+0.85", "crossed, right, 68.6"),
        (Station("crossed", 53.0, -0.0), "crossed/53/+0", "crossed, middle, 53"),
        (Station("crossed", 60, 1), "crossed/60/+1", "crossed, right, 60"),
    ],
)
def test_keys_and_spoken_places(station: Station, key: str, spoken: str) -> None:
    assert station.key == key
    assert station.spoken == spoken
    assert parse_key(key) == station


@given(stations)
def test_a_key_comes_back_as_its_station(station: Station) -> None:
    assert parse_key(station.key) == station
    assert parse_key(station.key).key == station.key


@given(stations, stations)
def test_two_stations_share_a_key_only_when_they_are_the_same(one: Station, two: Station) -> None:
    assert (one.key == two.key) == (one == two)


def test_places_a_hair_apart_have_keys_of_their_own() -> None:
    assert Station("crossed", 54.12341).key != Station("crossed", 54.12342).key


@given(stations)
def test_mirrored_and_opposite_undo_themselves(station: Station) -> None:
    assert station.mirrored().mirrored() == station
    assert station.opposite().opposite() == station
    assert station.mirrored().blade == station.blade
    assert station.opposite().blade == other_blade(station.blade) != station.blade
    assert station.mirrored().opposite() == station.opposite().mirrored()


@given(stations)
def test_left_lies_over_right(station: Station) -> None:
    swapped = {"left": "right", "right": "left", "middle": "middle"}
    assert station.mirrored().side == station.opposite().side == swapped[station.side]


def test_the_spine_is_its_own_mirror() -> None:
    spine = Station("crossed", 58)
    assert spine.mirrored() == spine
    assert spine.mirrored().key == spine.key


@pytest.mark.parametrize(
    ("key", "said"),
    [
        ("", "is not a station"),
        ("crossed", "is not a station"),
        ("crossed/53", "is not a station"),
        ("crossed/53/0/0", "is not a station"),
        ("left/53/0", "'left' is not a blade; use crossed or uncrossed"),
        ("crossed/high/0", "could not convert"),
        ("crossed/53/", "could not convert"),
        ("crossed/nan/0", "must be finite"),
        ("crossed/53/inf", "must be finite"),
    ],
)
def test_what_names_no_station_is_refused(key: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        parse_key(key)


@given(st.text(max_size=20) | st.from_regex(r"crossed/[0-9.e]{1,6}/[+-]?[0-9.]{1,4}"))
def test_any_text_is_a_station_or_a_value_error(key: str) -> None:
    try:
        found = parse_key(key)
    except ValueError:
        found = None
    assert found is None or parse_key(found.key) == found
