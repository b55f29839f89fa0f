"""The reed that can be scraped."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft.reed import BLADES, Blade, Station, parse_key
from gaugelink.craft.style import StyleError, find, styles
from simulators.reed import FALL_ALONG, PlaceError, Reed

LONG = find("millrace-long")
STAGES = [(style.name, stage.name) for style in styles().values() for stage in style.stages]

heights = st.floats(47.1, 73)
acrosses = st.floats(-1, 1)
seeds = st.integers(0, 10_000)
stations = st.builds(Station, st.sampled_from(BLADES), heights, acrosses)
scrapes = st.lists(st.tuples(stations, st.floats(0, 5), st.integers(1, 40)), max_size=6)


def thicknesses(reed: Reed, stage: str = "windows") -> list[float]:
    return [reed.thickness(stop.station) for stop in LONG.stops(stage)]


def test_the_same_seed_gives_the_same_cane_and_the_same_knife() -> None:
    one, two, other = (Reed(LONG, "windows", seed) for seed in (5, 5, 6))
    place = parse_key("crossed/53/-0.5")
    assert thicknesses(one) == thicknesses(two) != thicknesses(other)
    assert one.scrape(place, (53, 59), 4) == two.scrape(place, (53, 59), 4)
    assert thicknesses(one) == thicknesses(two)


@pytest.mark.parametrize(("name", "stage"), STAGES)
def test_a_stage_begins_two_to_nine_above_its_targets(name: str, stage: str) -> None:
    style = find(name)
    for seed in range(20):
        reed = Reed(style, stage, seed)
        for stop in style.stops(stage):
            assert 2 <= reed.thickness(stop.station) - float(stop.target) <= 9, stop


def test_blades_and_sides_differ() -> None:
    reed = Reed(LONG, "windows", 1)
    places = [Station(blade, 56, across) for blade in BLADES for across in (-0.5, 0.5)]
    assert len({round(reed.thickness(place), 2) for place in places}) == 4


@pytest.mark.parametrize("blade", BLADES)
def test_a_spine_stands_between_the_windows(blade: Blade) -> None:
    for seed in range(10):
        reed = Reed(LONG, "windows", seed)
        spine = reed.thickness(Station(blade, 56, 0))
        assert all(spine > reed.thickness(Station(blade, 56, side)) + 2 for side in (-0.5, 0.5))


@given(seed=seeds, place=stations)
def test_the_surface_is_smooth(seed: int, place: Station) -> None:
    reed = Reed(LONG, "balance", seed)
    here = reed.thickness(place)
    near = Station(place.blade, place.height - 0.01, place.across * 0.99)
    assert here > 10
    assert abs(reed.thickness(near) - here) < 1


@given(seed=seeds, done=scrapes, place=stations)
def test_thickness_only_falls_and_never_below_zero(
    seed: int, done: list[tuple[Station, float, int]], place: Station
) -> None:
    reed = Reed(LONG, "finish", seed)
    before = reed.thickness(place)
    for station, along, strokes in done:
        at_station = reed.thickness(station)
        removed = reed.scrape(station, (station.height - along, station.height), strokes)
        assert removed == pytest.approx(at_station - reed.thickness(station))
        after = reed.thickness(place)
        assert 0 <= after <= before
        before = after


@given(seed=seeds, place=stations, strokes=st.integers(1, 10), probe=stations)
def test_a_scrape_stays_on_its_blade_side_and_heights(
    seed: int, place: Station, strokes: int, probe: Station
) -> None:
    reed = Reed(LONG, "windows", seed)
    before = reed.thickness(probe)
    reed.scrape(place, (place.height, place.height), strokes)
    elsewhere = (
        probe.blade != place.blade
        or abs(probe.height - place.height) >= FALL_ALONG
        or (place.side != "middle" and probe.across * place.across <= 0)
    )
    if elsewhere:
        assert reed.thickness(probe) == before


@pytest.mark.parametrize(("name", "stage"), STAGES)
def test_scraping_a_zone_reaches_all_of_its_side_and_nothing_else(name: str, stage: str) -> None:
    style = find(name)
    for stop in style.stops(stage):
        reed = Reed(style, stage, 3)
        before = {each: reed.thickness(each.station) for each in style.stops(stage)}
        place = stop.station
        reed.scrape(place, reed.heights(place, stop.zone), 5)
        for each, thickness in before.items():
            mine = (
                each.zone == stop.zone
                and each.station.blade == place.blade
                and each.station.across == place.across
            )
            gone = thickness - reed.thickness(each.station)
            assert gone > 1.5 if mine else gone == 0, each


def test_a_stroke_takes_about_six_tenths() -> None:
    place = parse_key("uncrossed/56/+0.5")
    gone = [Reed(LONG, "windows", seed).scrape(place, (53, 59), 1) for seed in range(200)]
    assert min(gone) >= 0.39
    assert max(gone) <= 0.81
    assert sum(gone) / len(gone) == pytest.approx(0.6, abs=0.03)


def test_too_much_is_too_much() -> None:
    reed = Reed(LONG, "finish", 1)
    place = parse_key("crossed/67.8/-0.5")
    thickness = reed.thickness(place)
    assert reed.scrape(place, (67.8, 67.8), 100) == thickness
    assert reed.thickness(place) == 0
    assert reed.scrape(place, (67.8, 67.8), 1) == 0


@pytest.mark.parametrize(
    "key",
    ["", "crossed", "crossed/53", "front/53/0", "crossed/x/0", "crossed/53/0/1", "crossed/nan/0"],
)
def test_what_names_no_place_is_refused(key: str) -> None:
    with pytest.raises(PlaceError, match="is not a place such as"):
        Reed(LONG, "windows", 1).place(key)


@pytest.mark.parametrize(
    "key", ["crossed/47/0", "crossed/73.1/0", "crossed/53/1.1", "crossed/53/-1.1"]
)
def test_what_is_off_the_cane_is_refused(key: str) -> None:
    with pytest.raises(PlaceError, match="is not on the cane"):
        Reed(LONG, "windows", 1).place(key)


def test_a_zone_must_hold_the_place() -> None:
    reed = Reed(LONG, "windows", 1)
    place = parse_key("crossed/56/-0.5")
    assert reed.heights(place, "windows") == (53, 59)
    assert reed.heights(place, "") == (56, 56)
    with pytest.raises(PlaceError, match="does not lie in heart, which goes from 62 to 64 mm"):
        reed.heights(place, "heart")
    with pytest.raises(StyleError, match="no zone 'belly'"):
        reed.heights(place, "belly")
    with pytest.raises(StyleError, match="no stage"):
        Reed(LONG, "nothing", 1)
