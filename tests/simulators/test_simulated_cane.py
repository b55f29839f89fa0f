"""What a reed does besides being cut, and the knife that cuts it."""

from __future__ import annotations

import random
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft.lessons import Off, Start, lessons
from gaugelink.craft.reed import BLADES, Station, parse_key
from gaugelink.craft.style import find
from simulators.cane import GROWTH, RESTING, UNSORTED, Cane, Water, gives_way
from simulators.crowing import BY_LENGTH
from simulators.knife import Edge, Knife
from simulators.maker import EXACT, Placing
from simulators.reed import PlaceError, Reed
from simulators.surface import begun

LONG = find("millrace-long")
CANE = find("quayside-cane")
PLACE = parse_key("crossed/56/-0.5")


def windows(reed: Reed) -> list[float]:
    return [reed.thickness(stop.station) for stop in LONG.stops("windows")]


@given(st.integers(0, 1000), st.lists(st.tuples(st.integers(1, 40), st.floats(0.1, 3)), max_size=8))
def test_a_stroke_takes_ever_less_until_the_knife_is_sharpened(
    seed: int, goes: list[tuple[int, float]]
) -> None:
    knife = Knife(seed)
    last = knife.sharpness
    assert last == 1
    for count, pressure in goes:
        depth = knife.strokes(count, pressure)
        # A stroke takes a third more or less, and never more than a sharp knife would.
        assert 0.4 * knife.sharpness * count * pressure <= depth * 1.0001
        assert depth <= 0.8 * last * count * pressure * 1.0001
        assert knife.sharpness < last
        last = knife.sharpness
    knife.sharpen()
    assert knife.sharpness == 1


def test_a_knife_is_half_dull_after_its_strokes_and_sooner_when_pressed() -> None:
    gentle, heavy = Knife(1, Edge(half_dull=100)), Knife(1, Edge(half_dull=100))
    gentle.strokes(100)
    heavy.strokes(100, 2.0)
    assert gentle.sharpness == pytest.approx(0.5)
    assert heavy.sharpness == pytest.approx(0.25)
    assert Knife(1, Edge(half_dull=100, worn=100)).sharpness == pytest.approx(0.5)


def test_pressing_twice_as_hard_takes_twice_as_much() -> None:
    light, hard = Reed(LONG, "windows", 4), Reed(LONG, "windows", 4)
    one = light.scrape(PLACE, (53, 59), 1)
    assert hard.scrape(PLACE, (53, 59), 1, 2.0) == pytest.approx(2 * one)


@given(st.floats(0, 1), st.floats(0, 7200), st.floats(0, 7200))
def test_water_swells_and_air_shrinks(moisture: float, soaked: float, dried: float) -> None:
    water = Water(moisture)
    assert moisture - 1e-9 <= water.soaked(soaked).moisture <= 1
    assert 0 <= water.dried(dried).moisture <= moisture
    # Two baths in a row are one.
    assert water.soaked(soaked).soaked(dried).moisture == pytest.approx(
        water.soaked(soaked + dried).moisture
    )


def test_soaked_three_minutes_a_dry_reed_is_nearly_what_it_was() -> None:
    reed = Reed(LONG, "windows", 2)
    wet = reed.thickness(PLACE)
    reed.dry(100_000)
    # 5 % of the dry thickness, from memory; see the facts beside SWELLING.
    assert wet / reed.thickness(PLACE) == pytest.approx(1.05, abs=0.001)
    reed.soak(180)
    assert wet - 0.3 < reed.thickness(PLACE) < wet
    reed.dry(600)
    assert reed.thickness(PLACE) > wet - 0.5


def test_a_night_grows_the_blades_less_each_time_and_moves_quadrants() -> None:
    for seed in range(10):
        reed = Reed(LONG, "windows", seed)
        sizes = [windows(reed)]
        for _ in range(3):
            reed.rest()
            assert reed.water.moisture == 0
            reed.soak(100_000)
            sizes.append(windows(reed))
        for night in range(3):
            share = 0.5**night
            for before, after in zip(sizes[night], sizes[night + 1], strict=True):
                grown = after - before
                assert grown >= share * (GROWTH[0] * before - RESTING) - 1e-6
                assert grown <= share * (GROWTH[1] * before + 1.1 * RESTING) + 1e-6
        assert sum(sizes[-1]) > sum(sizes[0])


def test_indentation_is_the_estimate_in_the_facts() -> None:
    # Hundredths by force and wetness: own arithmetic of Hertz's law, contact_indentation in the
    # facts about reeds.
    for force, moisture, expected in ((0.4, 0, 0.7), (1, 0, 1.3), (0.4, 1, 1.4), (1, 1, 2.6)):
        assert gives_way(force, moisture) == pytest.approx(expected, abs=0.05)


@given(st.floats(0.4, 5), st.floats(0.4, 5))
def test_a_heavier_spindle_shows_less(one: float, other: float) -> None:
    reed = Reed(LONG, "windows", 1)
    assert reed.reads(PLACE) == pytest.approx(reed.thickness(PLACE))
    light, heavy = sorted((one, other))
    assert reed.reads(PLACE, heavy) <= reed.reads(PLACE, light) <= reed.thickness(PLACE) + 1e-9


def test_in_the_blend_half_a_millimetre_along_moves_the_reading_as_makers_say() -> None:
    moved = []
    for stage in ("balance", "finish"):
        for seed in range(40):
            reed = Reed(LONG, stage, seed)
            for blade in BLADES:
                for across in (-0.5, 0.5):
                    here, above, below = (
                        reed.thickness(Station(blade, 66.5 + along, across))
                        for along in (0, 0.5, -0.5)
                    )
                    assert below > here > above
                    moved += [below - here, here - above]
    # 0.025 to 0.05 mm (from memory: repeatability_assumption in the facts about reeds).
    assert 2.5 <= statistics.fmean(moved) <= 5


def test_a_hand_misses_by_what_it_is_said_to_and_stays_on_its_side() -> None:
    rng = random.Random(3)
    hand = Placing(along=0.5, across=0.3)
    found = [hand.found(PLACE, rng) for _ in range(3000)]
    assert statistics.stdev(each.height for each in found) == pytest.approx(0.5, abs=0.03)
    assert {each.side for each in found} == {"left"}
    assert all(-1 <= each.across <= -0.05 for each in found)
    assert EXACT.found(PLACE, rng) == PLACE


def test_blanks_as_they_come_differ_more_than_sorted_ones() -> None:
    def spread(cane: Cane) -> float:
        return statistics.stdev(
            each for seed in range(60) for each in windows(Reed(LONG, "windows", seed, cane=cane))
        )

    assert spread(UNSORTED) > 1.3 * spread(Cane())


def test_a_gouge_that_grows_towards_the_tip_falls_on_the_other_blade() -> None:
    gouged = Cane(excess=(5, 5), uneven=0.0, tilt=0.0, gouge=2.0)
    even = Cane(excess=(5, 5), uneven=0.0, tilt=0.0)
    for seed in range(10):
        falls = []
        for blade in BLADES:
            one, other = (Reed(LONG, "windows", seed, cane=cane) for cane in (gouged, even))
            low, high = (
                one.thickness(Station(blade, height, 0.5))
                - other.thickness(Station(blade, height, 0.5))
                for height in (53, 68.6)
            )
            falls.append(high - low)
        assert falls[0] == pytest.approx(-falls[1])
        assert abs(falls[0]) <= 2


def test_a_shorter_reed_crows_sharper_and_a_thinner_one_flatter() -> None:
    for seed in range(30):
        reed = Reed(LONG, "finish", seed, start=Start(0.0, length=72.0, crow=-40.0))
        assert reed.crow_truth() == pytest.approx(-40)
        assert reed.clip(1.0) == 71
        sharper = reed.crow_truth() + 40
        # 25 cents a millimetre by the ratio alone, own arithmetic; each reed in its own measure.
        assert 25 * (1 - 3 * BY_LENGTH) < sharper < 25 * (1 + 3 * BY_LENGTH) + 5
        before = reed.crow_truth()
        for stop in LONG.stops("finish"):
            reed.scrape(stop.station, (stop.station.height, stop.station.height), 4)
        assert reed.crow_truth() < before
        wet = reed.crow_truth()
        reed.dry(3600)
        assert reed.crow_truth() > wet


def test_crows_scatter_about_the_truth() -> None:
    reed = Reed(LONG, "finish", 5)
    heard = [reed.crow() for _ in range(500)]
    assert statistics.fmean(heard) == pytest.approx(reed.crow_truth(), abs=0.6)
    assert statistics.stdev(heard) == pytest.approx(4, abs=0.5)


def test_a_clip_takes_the_end_away() -> None:
    reed = Reed(LONG, "tip", 1)
    assert reed.place("crossed/71.9/0").height == 71.9
    reed.clip(2.0)
    with pytest.raises(PlaceError, match="heights go from 47 to 70 mm"):
        reed.place("crossed/71.9/0")
    for wrong in (0.0, -1.0, 4.0):
        with pytest.raises(PlaceError, match="leaves no tip above 66 mm"):
            reed.clip(wrong)


def test_gouged_cane_does_not_crow() -> None:
    with pytest.raises(PlaceError, match="does not crow"):
        Reed(CANE, "gouge", 1).crow()


def test_a_lesson_begins_as_it_says() -> None:
    off = (Off(3.0, "crossed", "left"), Off(-2.0, "crossed", "left", "corners"))
    start = Start(6.0, off)
    for seed in range(5):
        reed = Reed(LONG, "tip", seed, start=start)
        for stop in LONG.stops("tip"):
            left = stop.station.blade == "crossed" and stop.station.side == "left"
            more = 6 + (3 if left else 0) - (2 if left and stop.zone == "corners" else 0)
            assert begun(stop, start) == more
            at = reed.thickness(stop.station)
            assert at == pytest.approx(float(stop.target) + more, abs=0.3)


@pytest.mark.parametrize("lesson", lessons().values(), ids=lambda each: each.name)
def test_every_lesson_has_a_reed(lesson: object) -> None:
    from gaugelink.craft.lessons import Lesson

    assert isinstance(lesson, Lesson)
    style = find(lesson.style)
    reed = Reed(style, lesson.stage, 1, start=lesson.start)
    for stop in style.stops(lesson.stage):
        wanted = float(stop.target) + begun(stop, lesson.start)
        assert reed.thickness(stop.station) == pytest.approx(wanted, abs=0.3)
    if lesson.start.length is not None:
        assert reed.length == lesson.start.length
