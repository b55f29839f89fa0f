"""Settling: what counts as standing still, for how long it stands, and what a contact is."""

from __future__ import annotations

import math
from decimal import Decimal
from statistics import median

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.capture.settling import FEWEST, LONGEST_GAP, Settler
from gaugelink.craft.style import Settling
from tests.capture.readings import feed, reading, settled
from tests.published.tables import table

RULE = Settling()
LIFTED = [400.0] * 6
RATES = [2.0, 5.0, 10.0, 50.0, 1000.0]


def approach(hundredths: float, rate: float = 10.0, seconds: float = 1.2) -> list[float]:
    """From well above the cane down onto it, and standing there."""
    down = [300.0 - 30 * step for step in range(9)] if rate < 100 else []
    return [*down, *[hundredths] * math.ceil(seconds * rate)]


def test_nothing_stands_before_there_are_enough_readings() -> None:
    found = feed(Settler(RULE), [43.0, 43.0], rate=1.0)
    assert [each.standing for each in found] == ["moving", "moving"]
    assert [(each.value, each.contact, each.still) for each in found] == [(None, 0, 0.0)] * 2


@pytest.mark.parametrize("rate", RATES)
def test_it_settles_once_when_it_has_stood_long_enough(rate: float) -> None:
    found = feed(Settler(RULE), [43.0] * max(4, int(rate)), rate)
    first = next(index for index, each in enumerate(found) if each.standing == "settled")
    assert first == max(FEWEST - 1, math.ceil(RULE.still_for * rate))
    assert all(each.standing == "settled" for each in found[first:])
    assert {each.value for each in found[first:]} == {Decimal(43)}
    assert {each.contact for each in found[first:]} == {1}
    assert {each.since for each in found[first:]} == {found[first].at}


@pytest.mark.parametrize("rate", RATES)
def test_the_time_that_it_has_stood_never_runs_backwards(rate: float) -> None:
    found = feed(Settler(RULE), [43.0] * max(6, int(2 * rate)), rate)
    stood = [each.still for each in found]
    assert stood == sorted(stood)
    assert stood[-1] == pytest.approx(found[-1].at)


@pytest.mark.parametrize("spread", [0.2, 0.5, 1.0])
def test_a_tremor_within_the_tolerance_and_one_digit_settles_at_its_middle(spread: float) -> None:
    found = feed(Settler(RULE), [43.0, 43.0 + spread, 43.0 + spread / 2] * 20, rate=50)
    (once,) = settled(found)
    assert once.value is not None
    assert 43 < once.value < Decimal(43 + spread)


def test_a_tremor_beyond_it_never_settles() -> None:
    found = feed(Settler(RULE), [43.0, 44.3] * 200, rate=50)
    assert not settled(found)
    assert {each.standing for each in found} <= {"moving", "settling"}


@pytest.mark.parametrize("rate", [2.0, 10.0, 100.0])
def test_slow_creep_settles_and_however_long_it_lasts_is_one_contact(rate: float) -> None:
    sinking = [43.0 - 0.9 * index / rate for index in range(int(30 * rate))]
    found = feed(Settler(RULE), [*LIFTED[:2], *sinking], rate)
    assert {each.contact for each in found[-int(20 * rate) :]} == {1}
    assert found[-1].standing == "settled"
    assert len(settled(found)) == 1
    assert found[-1].value is not None
    assert abs(found[-1].value - 43) <= 1, "the thickness, before it gave way"


def test_a_rise_as_slow_is_no_creep() -> None:
    rising = [43.0 + 4 * index / 50 for index in range(500)]
    assert not settled(feed(Settler(RULE), rising, rate=50))


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("direction", [1, -1])
@given(speed=st.floats(7, 500), within=st.sampled_from(["0.5", "1"]))
def test_a_fast_ramp_never_settles(rate: float, direction: int, speed: float, within: str) -> None:
    # Beyond (within + resolution) / still_for + creep hundredths a second.
    settler = Settler(Settling(within=Decimal(within)))
    values = [direction * speed * index / rate for index in range(min(600, int(3 * rate) + 4))]
    assert not settled(feed(settler, values, rate))


def test_the_same_value_after_a_lift_is_a_new_contact() -> None:
    visits = [*approach(43.0), *LIFTED, *approach(43.0), *LIFTED, *approach(43.0)]
    found = feed(Settler(RULE), visits)
    contacts = [(each.value, each.contact) for each in settled(found) if each.value == 43]
    assert [value for value, _ in contacts] == [43] * 3
    assert len({contact for _, contact in contacts}) == 3


def test_two_contacts_of_different_height() -> None:
    found = settled(feed(Settler(RULE), [43.0] * 10 + [52.0] * 10 + [43.0] * 10))
    assert [each.value for each in found] == [43, 52, 43]
    assert [each.contact for each in found] == [1, 2, 3]


def test_one_wild_reading_is_no_lift_and_two_are() -> None:
    settler = Settler(RULE)
    feed(settler, [43.0] * 10)
    wild = feed(settler, [900.0, 43.0, -900.0, 43.0, 900.0, 43.0], start=1.0)
    assert [(each.standing, each.value, each.contact) for each in wild] == [
        ("settled", Decimal(43), 1)
    ] * 6
    lifted = feed(settler, [900.0, -900.0], start=1.6)
    assert [each.standing for each in lifted] == ["settled", "moving"]
    assert lifted[-1].value is None


def test_one_wild_reading_while_settling_only_starts_it_again() -> None:
    found = feed(Settler(RULE), [43.0, 43.0, 43.0, 900.0, *[43.0] * 6])
    (once,) = settled(found)
    assert once.value == 43
    assert once.at == pytest.approx(0.8)


def test_hovering_on_the_way_down_is_given_up_for_where_it_comes_to_stand() -> None:
    """Five hundredths are less than a lift, and far too much to be wrong by."""
    found = feed(Settler(RULE), [*[45.0] * 6, *[40.0] * 10])
    hovering, seated = settled(found)
    assert hovering.value == 45
    assert seated.value == 40
    assert hovering.contact == seated.contact == 1, "it was not lifted"
    down = found[7:]  # the second of them shows that the first was no slip of the line
    assert [each.standing for each in down[:3]] == ["moving", "moving", "settling"]
    assert all(each.value != 45 for each in down)


def test_sliding_on_by_less_than_a_lift_is_the_same_contact() -> None:
    found = settled(feed(Settler(RULE), [43.0] * 10 + [39.0] * 10 + [35.0] * 10))
    assert [each.value for each in found] == [43, 39, 35]
    assert [each.contact for each in found] == [1, 1, 1]


def test_a_coarse_indicator_that_flickers_between_two_digits_is_not_lifted() -> None:
    step = "10"
    settler = Settler(RULE)
    found = feed(settler, [40.0] * 6 + [50.0] * 6 + [40.0] * 6, resolution=step)
    assert {each.contact for each in found[-10:]} == {1}
    assert {each.contact for each in feed(settler, [90.0] * 6, start=5, resolution=step)} == {1, 2}


def test_after_an_interruption_it_must_be_seen_standing_again() -> None:
    settler = Settler(RULE)
    feed(settler, [43.0] * 10)
    settler.interrupt()
    found = feed(settler, [43.0] * 10, start=1.0)
    assert [each.standing for each in found[:3]] == ["moving", "moving", "settling"]
    assert found[0].value is None
    (again,) = settled(found)
    assert again.contact == 1, "no lift was seen, so none is claimed"


def test_an_interruption_with_a_lift_after_it_is_a_new_contact() -> None:
    settler = Settler(RULE)
    feed(settler, [43.0] * 10)
    settler.interrupt()
    found = feed(settler, [400.0, 400.0, *[43.0] * 10], start=600.0)
    assert [each.contact for each in settled(found)] == [2]


def test_another_styles_rule_holds_from_now_on() -> None:
    settler = Settler(RULE)
    feed(settler, [43.0] * 10)
    settler.retune(Settling(still_for=1.0))
    found = feed(settler, [43.0] * 20, start=1.0)
    assert settled(found)[0].at == pytest.approx(2.0)
    assert settler.contact == 1


def test_a_pushed_value_counts_at_once_and_each_push_is_a_contact() -> None:
    settler = Settler(RULE)
    found = [settler.feed(reading(at, 43.0, pushed=True)) for at in (0.0, 7.0, 7.1)]
    assert [(each.standing, each.value, each.contact) for each in found] == [
        ("settled", Decimal(43), count) for count in (1, 2, 3)
    ]
    assert [each.since for each in found] == [0.0, 7.0, 7.1]


def test_a_slow_stream_needs_three_readings_that_agree() -> None:
    """Half a second lies between two, so two alone stand for long enough."""
    found = feed(Settler(RULE), [400.0, 43.0, 43.0, 43.0, 43.0], rate=2.0)
    (once,) = settled(found)
    assert once.at == 1.5
    odd = feed(Settler(RULE), [400.0, 43.0, 44.0, 60.0, 61.0, 80.0], rate=2.0)
    assert not settled(odd)


def test_nothing_is_known_of_a_long_gap() -> None:
    settler = Settler(RULE)
    feed(settler, [43.0] * 3)
    after = feed(settler, [43.0] * 3, start=0.2 + LONGEST_GAP + 0.01)
    assert [each.still for each in after] == [0.0, 0.0, pytest.approx(0.2)]
    assert settled(feed(settler, [43.0] * 3, start=after[-1].at + 0.1))


def test_readings_that_come_at_the_same_instant_do_not_stand_for_any_time() -> None:
    settler = Settler(RULE)
    burst = [settler.feed(reading(5.0, 43.0)) for _ in range(50)]
    assert {each.standing for each in burst} == {"moving"}
    assert {each.still for each in burst} == {0.0}
    later = [settler.feed(reading(5.4, 43.0)) for _ in range(3)]
    assert later[0].standing == "settled"


def test_time_that_steps_back_starts_anew() -> None:
    settler = Settler(RULE)
    feed(settler, [43.0] * 3, start=100.0)
    found = feed(settler, [43.0] * 6, start=50.0)
    assert settled(found)[0].at == pytest.approx(50.4)
    assert all(each.still >= 0 for each in found)


def test_what_came_before_the_stretch_is_not_in_the_median() -> None:
    """At two readings a second one from before the break is kept for its time."""
    found = feed(Settler(Settling(still_for=0.9)), [90.0, 43.0, 43.4, 43.2, 43.2], rate=2.0)
    (once,) = settled(found)
    assert once.value == Decimal("43.2")


moments = st.floats(0, 100) | st.floats()
values = st.decimals(-3000, 3000, places=2) | st.sampled_from([Decimal(43), Decimal("43.1")])


@given(
    line=st.lists(st.tuples(moments, values, st.booleans()), max_size=60),
    interruptions=st.sets(st.integers(0, 60)),
    resolution=st.sampled_from(["0.01", "1", "2.54", "10"]),
)
def test_no_readings_raise_and_contacts_only_count_up(
    line: list[tuple[float, Decimal, bool]], interruptions: set[int], resolution: str
) -> None:
    settler = Settler(RULE)
    contact = 0
    for index, (at, value, pushed) in enumerate(line):
        if index in interruptions:
            settler.interrupt()
        found = settler.feed(reading(at, value, resolution, pushed))
        assert found.hundredths == value
        assert (found.value is None) == (found.standing != "settled")
        assert contact <= found.contact <= contact + 1
        assert found.contact == settler.contact
        contact = found.contact


steps = st.lists(
    st.tuples(st.sampled_from([0.0, 0.05, 0.1, 0.5, 1.2]), st.integers(-20, 20)), max_size=80
)


@given(steps=steps, still_for=st.sampled_from([0.1, 0.375, 1.0]), within=st.integers(0, 6))
def test_a_settled_value_is_the_median_of_a_still_stretch_that_it_lies_within(
    steps: list[tuple[float, int]], still_for: float, within: int
) -> None:
    settler = Settler(Settling(still_for=still_for, within=Decimal(within), lift=Decimal(8)))
    past: list[tuple[float, Decimal]] = []
    at, contact, since = 0.0, 0, math.nan
    for silence, tenths in steps:
        at += silence
        value = 43 + Decimal(tenths) / 10 * (1 + within)
        past.append((at, value))
        found = settler.feed(reading(at, value))
        if found.standing == "settled" and found.since != since:
            stretch = [each for when, each in past if when >= at - found.still - 1e-9]
            assert found.still >= still_for
            assert found.value is not None
            assert min(stretch) <= found.value <= max(stretch)
            # Of those at the stretch's first instant some may not belong to it.
            own = [median(stretch[first:]) for first in range(max(1, len(stretch) - FEWEST + 1))]
            assert found.value in own
            assert found.contact in (contact, contact + 1)
            since = found.since
        contact = found.contact


@given(
    heights=st.lists(st.integers(10, 70), min_size=1, max_size=5),
    rate=st.sampled_from([5.0, 10.0, 50.0]),
    tremor=st.floats(0, 0.4),
    creep=st.floats(0, 0.9),
)
def test_every_visit_is_one_contact_with_its_own_thickness(
    heights: list[int], rate: float, tremor: float, creep: float
) -> None:
    settler = Settler(RULE)
    start, found = 0.0, []
    for height in heights:
        times = [index / rate for index in range(int(1.6 * rate))]
        values = [400.0 + 60 * index for index in range(4)]
        values += [height + tremor * math.sin(50 * at) - creep * at for at in times]
        found += feed(settler, values, rate, start)
        start += len(values) / rate
    visits = settled(found)
    assert len({each.contact for each in visits}) == len(visits) == len(heights)
    for each, height in zip(visits, heights, strict=True):
        assert each.value is not None
        assert abs(each.value - height) <= 1


def test_a_slowly_drifting_instrument_settles() -> None:
    shape = [20 + 1000 * (each - 2) for each in table("strd.toml", "mavro")["begins"]]
    assert len(settled(feed(Settler(RULE), shape))) == 1


def test_an_oscillating_beam_never_settles() -> None:
    shape = [float(each) for each in table("strd.toml", "lew")["begins"]]
    assert not settled(feed(Settler(RULE), shape * 5, rate=50))


def test_a_flood_at_one_moment_costs_no_more_than_a_stream() -> None:
    settler = Settler(Settling())
    for number in range(20_000):
        settler.feed(reading(5.0 + number * 1e-7, 43.0))
    assert len(settler._window) <= 210
