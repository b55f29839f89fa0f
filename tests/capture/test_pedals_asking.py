"""From an action of a pedal to a gesture of the walk."""

from __future__ import annotations

from typing import get_args

from gaugelink.capture.pedals.asking import Asked, asked, next_zone
from gaugelink.capture.pedals.mapping import ListAction, WalkAction
from gaugelink.capture.walk import press
from tests.capture.walks import FIRST, STYLE, begun, here, take, take_all, why

STAGE = "tip"


def test_every_action_of_a_walk_asks_for_a_gesture_and_none_of_a_list_does() -> None:
    state = begun()
    for action in get_args(WalkAction):
        wish = asked(action, state)
        assert wish is not None
        assert press(state, wish.gesture, 1.0, station=wish.station)
    assert [asked(action, state) for action in get_args(ListAction)] == [None] * 4


def test_one_press_pauses_and_the_same_goes_on() -> None:
    state = begun()
    assert asked("pause", state) == Asked("pause")
    state = press(state, "pause", 1.0).state
    assert asked("pause", state) == Asked("resume")


def test_the_next_zone_is_gone_to_and_what_was_left_out_is_come_back_to() -> None:
    state = begun(stage="windows")
    zones = [(stop.zone, stop.station.blade) for stop in state.stops]
    first_of_second = next(i for i, each in enumerate(zones) if each != zones[0])
    wish = asked("next-zone", state)
    assert wish == Asked("goto", state.stops[first_of_second].station.key)
    state = press(state, wish.gesture, 1.0, station=wish.station).state
    assert here(state) == wish.station
    for contact in range(1, len(zones) - first_of_second + 1):
        state = take(state, 10.0 * contact, 40, contact)
    assert here(state) == state.stops[0].station.key


def test_the_same_zone_of_the_other_blade_is_another() -> None:
    state = begun(stage="windows")
    blades: list[tuple[str, str]] = []
    while (key := next_zone(state)) and len(blades) < 10:
        state = press(state, "goto", 10.0 * len(blades) + 10, station=key).state
        assert state.stop is not None
        blades.append((state.stop.station.blade, state.stop.zone))
    assert {blade for blade, _ in blades} == {"crossed", "uncrossed"}


def test_a_zone_that_is_done_or_skipped_is_passed_over() -> None:
    state = begun()
    order = list(dict.fromkeys((stop.zone, stop.station.blade) for stop in state.stops))
    second, third = (
        [stop.station.key for stop in state.stops if (stop.zone, stop.station.blade) == zone]
        for zone in order[1:3]
    )
    for number, key in enumerate(second):
        at = 10.0 * number + 10
        state = press(state, "goto", at, station=key).state
        state = press(state, "skip", at + 5).state
    state = press(state, "goto", 900.0, station=FIRST).state
    assert next_zone(state) == third[0]


def test_with_no_zone_to_come_the_walk_says_so() -> None:
    stops = STYLE.stops(STAGE)
    state = take_all(begun(), [40] * (len(stops) - 1))
    assert next_zone(state) == ""
    wish = asked("next-zone", state)
    assert wish is not None
    assert why(press(state, wish.gesture, 900.0, station=wish.station)) == "nowhere"
    done = take(state, 990.0, 40, contact=99)
    assert done.place is None
    assert next_zone(done) == ""
