"""Gestures: short, long, double and two pedals, from presses with bounces, and from keys without
releases."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.capture.gestures import FIRST_REPEAT, NEXT_REPEAT, Gestures, Meant
from gaugelink.capture.pedals.event import PedalEvent
from gaugelink.capture.pedals.mapping import (
    ONE_PEDAL,
    TWO_PEDALS,
    AtWalk,
    Context,
    InLists,
    Mapping,
    Pedal,
    Together,
)
from simulators.pedals import Foot

ALL = Mapping(
    pedal=(
        Pedal(
            "left",
            ("a",),
            AtWalk(short="back", long="pause", double="skip"),
            InLists(short="previous", double="leave"),
        ),
        Pedal("right", ("b",), AtWalk(short="capture"), InLists(short="next", long="choose")),
    ),
    together=Together(walk="again"),
)
HOLD, DOUBLE, DEBOUNCE = ALL.hold, ALL.double, ALL.debounce

Move = tuple[float, str, bool]


def read(
    moves: list[Move], mapping: Mapping = ALL, context: Context = "walk", until: float = 100.0
) -> list[tuple[str, str, Any]]:
    """What moves of pedals mean: the action, the kind, and when."""
    gestures = Gestures(mapping, context)
    found = [
        meant
        for at, code, is_down in moves
        for meant in gestures.feed(PedalEvent("s", code, is_down, at))
    ]
    return told([*found, *gestures.due(until)])


def told(found: list[Meant]) -> list[tuple[str, str, Any]]:
    return [(each.action, each.kind, pytest.approx(each.at)) for each in found]


def press(code: str, at: float, held: float = 0.15) -> list[Move]:
    return [(at, code, True), (at + held, code, False)]


def test_a_pedal_that_means_one_thing_means_it_the_moment_it_goes_down() -> None:
    gestures = Gestures(ALL)
    assert told(gestures.feed(PedalEvent("s", "b", True, 5.0))) == [("capture", "short", 5.0)]
    waits = [gestures.deadline]
    assert gestures.feed(PedalEvent("s", "b", False, 9.0)) == []
    waits.append(gestures.deadline)
    assert gestures.due(9.0 + DEBOUNCE) == []
    assert [*waits, gestures.deadline] == [None, 9.0 + DEBOUNCE, None]


def test_a_held_pedal_that_means_one_thing_means_it_once() -> None:
    assert read(press("b", 1.0, held=20.0)) == [("capture", "short", 1.0)]


def test_a_short_press_where_a_hold_means_something_counts_when_it_is_let_go() -> None:
    gestures = Gestures(ONE_PEDAL)
    assert gestures.feed(PedalEvent("s", "any", True, 1.0)) == []
    assert gestures.deadline == 1.0 + HOLD
    assert gestures.feed(PedalEvent("s", "any", False, 1.2)) == []
    found = gestures.due(1.2 + DEBOUNCE)
    assert told(found) == [("capture", "short", 1.0)], "dated by when it went down"


def test_a_hold_counts_once_it_has_been_long_enough_while_it_is_still_down() -> None:
    gestures = Gestures(ONE_PEDAL)
    gestures.feed(PedalEvent("s", "any", True, 1.0))
    assert gestures.due(1.0 + HOLD - 0.001) == []
    assert told(gestures.due(1.0 + HOLD)) == [("back", "long", 1.0 + HOLD)]
    assert gestures.feed(PedalEvent("s", "any", False, 9.0)) == []
    assert gestures.due(10.0) == []


def test_a_pedal_let_go_just_before_the_hold_is_a_short_press_though_it_may_bounce_past_it() -> (
    None
):
    just = HOLD - DEBOUNCE / 2
    assert read(press("any", 1.0, held=just), ONE_PEDAL) == [("capture", "short", 1.0)]
    bounced = [*press("any", 1.0, held=just), (1.0 + HOLD, "any", True), (3.0, "any", False)]
    assert read(bounced, ONE_PEDAL) == [("back", "long", 1.0 + HOLD)], "it was only a bounce"


def test_at_once_a_hold_does_both() -> None:
    eager = Mapping(pedal=(Pedal("p", walk=AtWalk(short="capture", long="back", at_once=True)),))
    assert read(press("x", 1.0, held=2.0), eager) == [
        ("capture", "short", 1.0),
        ("back", "long", 1.0 + HOLD),
    ]
    assert read(press("x", 1.0), eager) == [("capture", "short", 1.0)]


def test_a_second_press_in_time_is_a_double_one_as_it_goes_down() -> None:
    twice = [*press("a", 1.0, 0.1), *press("a", 1.0 + DOUBLE - 0.01)]
    assert read(twice) == [("skip", "double", 1.0 + DOUBLE - 0.01)]
    gestures = Gestures(ALL)
    for at, code, is_down in twice[:2]:
        assert gestures.feed(PedalEvent("s", code, is_down, at)) == []
    assert told(gestures.feed(PedalEvent("s", "a", True, 1.3))) == [("skip", "double", 1.3)]


def test_a_second_press_too_late_is_another_short_one() -> None:
    late = [*press("a", 1.0, 0.1), *press("a", 1.0 + DOUBLE)]
    assert read(late) == [("back", "short", 1.0), ("back", "short", 1.0 + DOUBLE)]


def test_three_quick_presses_are_a_double_and_a_short_one() -> None:
    thrice = [move for at in (1.0, 1.2, 1.4) for move in press("a", at, 0.08)]
    assert read(thrice) == [("skip", "double", 1.2), ("back", "short", 1.4)]


def test_without_a_hold_a_pedal_that_may_be_pressed_twice_waits_no_longer_than_that() -> None:
    assert read(press("x", 1.0, held=5.0), TWO_PEDALS, "lists") == []
    gestures = Gestures(TWO_PEDALS, "lists")
    gestures.feed(PedalEvent("s", "pagedown", True, 1.0))
    assert gestures.deadline == 1.0 + DOUBLE
    assert told(gestures.due(2.0)) == [("next", "short", 1.0)]
    assert gestures.feed(PedalEvent("s", "pagedown", False, 6.0)) == []


def test_one_held_and_the_other_pressed_are_two_together() -> None:
    moves = [(1.0, "a", True), (1.4, "b", True), (1.5, "b", False), (3.0, "a", False)]
    assert read(moves) == [("again", "together", 1.4)]


def test_the_second_may_be_held_on_and_neither_means_anything_more() -> None:
    moves = [(1.0, "a", True), (1.4, "b", True), (3.0, "a", False), (9.0, "b", False)]
    assert read([*moves, *press("b", 20.0)]) == [
        ("again", "together", 1.4),
        ("capture", "short", 20.0),
    ]


def test_what_captures_at_once_cannot_be_held_for_two_together() -> None:
    moves = [(1.0, "b", True), (1.1, "a", True), (1.2, "a", False), (1.3, "b", False)]
    assert read(moves) == [("capture", "short", 1.0), ("back", "short", 1.1)]


def test_once_the_hold_has_counted_the_other_pedal_is_on_its_own() -> None:
    moves = [(1.0, "a", True), (3.0, "b", True), (3.1, "b", False), (4.0, "a", False)]
    assert read(moves) == [("pause", "long", 1.0 + HOLD), ("capture", "short", 3.0)]


def test_two_where_nothing_is_meant_by_them_together_are_each_their_own() -> None:
    moves = [(1.0, "a", True), (1.1, "b", True), (1.2, "b", False), (1.3, "a", False)]
    assert read(moves, context="lists") == [("next", "short", 1.1), ("previous", "short", 1.0)]


def test_turning_to_a_list_lets_what_is_down_mean_nothing_there() -> None:
    gestures = Gestures(ALL)
    gestures.feed(PedalEvent("s", "a", True, 1.0))
    gestures.feed(PedalEvent("s", "b", True, 1.1))
    gestures.turn_to("lists")
    assert gestures.context == "lists"
    for code in "ab":
        assert gestures.feed(PedalEvent("s", code, False, 1.3)) == []
    assert gestures.due(5.0) == []
    gestures.feed(PedalEvent("s", "b", True, 6.0))
    assert told(gestures.due(8.0)) == [("choose", "long", 6.0 + HOLD)]
    gestures.turn_to("walk")
    assert gestures.feed(PedalEvent("s", "b", False, 9.0)) == []
    assert told(gestures.feed(PedalEvent("s", "b", True, 10.0))) == [("capture", "short", 10.0)]


def test_a_first_press_in_a_list_is_no_half_of_a_double_one_at_the_walk() -> None:
    gestures = Gestures(ALL, "lists")
    for at, is_down in ((1.0, True), (1.08, False), (1.14, None)):
        if is_down is None:
            gestures.due(at)
        else:
            gestures.feed(PedalEvent("s", "a", is_down, at))
    gestures.turn_to("walk")
    for at, is_down in ((1.2, True), (1.3, False)):
        gestures.feed(PedalEvent("s", "a", is_down, at))
    assert told(gestures.due(5.0)) == [("back", "short", 1.2)]


def test_a_source_that_is_lost_leaves_nothing_pressed() -> None:
    gestures = Gestures(ALL)
    gestures.feed(PedalEvent("gone", "a", True, 1.0))
    gestures.feed(PedalEvent("here", "a", True, 1.1))
    gestures.forget("gone")
    assert told(gestures.due(5.0)) == [("pause", "long", 1.1 + HOLD)]
    assert gestures.feed(PedalEvent("gone", "a", False, 6.0)) == []
    assert gestures.due(9.0) == []
    assert told(gestures.feed(PedalEvent("gone", "b", True, 10.0))) == [("capture", "short", 10.0)]


def test_a_code_that_is_nobodys_means_nothing() -> None:
    assert read(press("z", 1.0)) == []


def test_two_alike_switches_are_told_apart_by_their_source() -> None:
    alike = Mapping(
        pedal=(
            Pedal("left", ("one/cts",), AtWalk(short="back")),
            Pedal("right", ("cts",), AtWalk(short="capture")),
        )
    )
    gestures = Gestures(alike)
    assert told(gestures.feed(PedalEvent("one", "cts", True, 1.0))) == [("back", "short", 1.0)]
    assert told(gestures.feed(PedalEvent("two", "cts", True, 1.1))) == [("capture", "short", 1.1)]


def test_events_a_little_out_of_order_count_as_one_after_the_other() -> None:
    gestures = Gestures(ALL)
    gestures.due(1.004)
    assert told(gestures.feed(PedalEvent("s", "b", True, 1.0))) == [("capture", "short", 1.004)]


# Bounces and time


taps = st.lists(
    st.tuples(
        st.sampled_from("ab"),
        st.floats(0.2, 2.0),
        st.sampled_from([0.08, 0.2, HOLD + 0.2]),
    ),
    max_size=8,
)


def spread(taps: list[tuple[str, float, float]]) -> list[tuple[str, float, float]]:
    """One after the other: (code, when, held for)."""
    found, now = [], 1.0
    for code, pause, held in taps:
        now += pause
        found.append((code, now, held))
        now += held
    return found


@given(taps=taps, seed=st.integers(0, 10_000), context=st.sampled_from(["walk", "lists"]))
def test_a_pedal_that_bounces_means_what_one_that_does_not_means(
    taps: list[tuple[str, float, float]], seed: int, context: Context
) -> None:
    foot = Foot(seed)
    clean = [move for code, at, held in spread(taps) for move in press(code, at, held)]
    bouncing = [
        (edge.at, code, edge.is_down)
        for code, at, held in spread(taps)
        for edge in foot.press(at, held)
    ]
    assert [each[:2] for each in read(bouncing, context=context)] == [
        each[:2] for each in read(clean, context=context)
    ]


@given(
    gaps=st.lists(st.floats(0.0, DEBOUNCE - 0.001), max_size=40),
    mapping=st.sampled_from([ONE_PEDAL, TWO_PEDALS, ALL]),
)
def test_a_burst_however_long_is_one_capture(gaps: list[float], mapping: Mapping) -> None:
    """Nothing but that no edge is further from the next than the time to debounce."""
    code = {ONE_PEDAL: "x", TWO_PEDALS: "pagedown", ALL: "b"}[mapping]
    moves, now, is_down = [], 1.0, False
    for gap in [0.0, *gaps]:
        now, is_down = now + gap, not is_down
        moves.append((now, code, is_down))
    if is_down:
        moves.append((now + 0.01, code, False))
    found = [each[0] for each in read(moves, mapping)]
    # A burst of a second and more is a hold on the pedal for which that means something.
    is_hold = mapping is ONE_PEDAL and moves[-1][0] >= 1.0 + HOLD
    assert found == (["back"] if is_hold else ["capture"])


@given(
    taps=taps,
    looks=st.lists(st.floats(0, 40), max_size=30),
    mapping=st.sampled_from([ALL, ONE_PEDAL]),
)
def test_it_makes_no_difference_how_often_it_is_asked_what_is_due(
    taps: list[tuple[str, float, float]], looks: list[float], mapping: Mapping
) -> None:
    moves = [move for code, at, held in spread(taps) for move in press(code, at, held)]
    gestures = Gestures(mapping)
    found: list[Meant] = []
    pending = sorted(looks)
    for at, code, is_down in moves:
        while pending and pending[0] <= at:
            found += gestures.due(pending.pop(0))
        found += gestures.feed(PedalEvent("s", code, is_down, at))
    found += gestures.due(100.0)
    assert told(found) == read(moves, mapping)
    assert gestures.deadline is None


@given(
    moves=st.lists(
        st.tuples(
            st.sampled_from("abz"), st.booleans(), st.floats(-1, 2), st.booleans(), st.booleans()
        ),
        max_size=60,
    )
)
def test_whatever_comes_nothing_raises_and_what_is_meant_comes_in_time(
    moves: list[tuple[str, bool, float, bool, bool]],
) -> None:
    gestures = Gestures(ALL)
    now = 0.0
    presses = 0
    meant = 0
    for code, is_down, pause, has_release, turns in moves:
        now += pause
        if turns:
            gestures.turn_to("lists" if gestures.context == "walk" else "walk")
        meant += len(gestures.feed(PedalEvent("s", code, is_down, now, has_release)))
        presses += is_down and code != "z"
        assert meant <= presses, "no press means two things"
        deadline = gestures.deadline
        assert deadline is None or deadline > now - 1.0
    while (deadline := gestures.deadline) is not None:
        meant += len(gestures.due(deadline))
        assert gestures.deadline is None or gestures.deadline > deadline
    assert meant <= presses


# Keys without releases


def key(times: list[float], code: str = "b", mapping: Mapping = ALL) -> list[tuple[str, str, Any]]:
    gestures = Gestures(mapping)
    found = [
        meant
        for at in times
        for meant in gestures.feed(PedalEvent("keys", code, True, at, has_release=False))
    ]
    return told([*found, *gestures.due(100.0)])


def repeated(at: float, delay: float, rate: float, seconds: float) -> list[float]:
    """When a key is heard that is held for so long."""
    return [at, *(at + delay + index / rate for index in range(int((seconds - delay) * rate)))]


def test_a_key_means_it_at_once_and_again_when_it_is_pressed_again_later() -> None:
    gestures = Gestures(ALL)
    for at in (1.0, 1.0 + FIRST_REPEAT, 9.0):
        found = gestures.feed(PedalEvent("keys", "b", True, at, has_release=False))
        assert told(found) == [("capture", "short", at)]


def test_a_second_press_of_a_key_that_soon_waits_until_it_cannot_be_a_repeat() -> None:
    gestures = Gestures(ALL)
    gestures.feed(PedalEvent("keys", "b", True, 1.0, has_release=False))
    assert gestures.feed(PedalEvent("keys", "b", True, 1.5, has_release=False)) == []
    assert gestures.deadline == 1.5 + NEXT_REPEAT
    assert told(gestures.due(1.5 + NEXT_REPEAT)) == [("capture", "short", 1.5)]


@given(delay=st.floats(0.2, 0.7), rate=st.floats(10, 40), seconds=st.floats(0.9, 4))
def test_a_key_that_is_held_is_one_press_whatever_the_system_repeats_it_by(
    delay: float, rate: float, seconds: float
) -> None:
    times = repeated(1.0, delay, rate, seconds)
    assert key(times) == [("capture", "short", 1.0)]
    assert key(times, "a") == [("back", "short", 1.0)], "nor is it pressed twice"
    again = times[-1] + 2.0
    assert key([*times, again]) == [("capture", "short", 1.0), ("capture", "short", again)]


def test_a_key_pressed_twice_is_a_double_press() -> None:
    assert key([1.0, 1.25], "a") == [("skip", "double", 1.25)]
    assert key([1.0, 1.0 + DOUBLE + 0.01], "a") == [
        ("back", "short", 1.0),
        ("back", "short", 1.0 + DOUBLE + 0.01),
    ]
    assert key([1.0, 1.0], "a") == [("back", "short", 1.0)], "no foot is as quick"


def test_a_key_cannot_be_held_and_counts_at_once_where_only_a_hold_would_mean_more() -> None:
    assert key([1.0], mapping=ONE_PEDAL) == [("capture", "short", 1.0)]
    assert key(repeated(1.0, 0.5, 30, 5.0), mapping=ONE_PEDAL) == [("capture", "short", 1.0)]


def test_a_key_that_chose_from_a_list_does_nothing_at_the_walk_while_it_is_held_on() -> None:
    gestures = Gestures(ALL, "lists")
    gestures.feed(PedalEvent("keys", "b", True, 1.0, has_release=False))
    gestures.turn_to("walk")
    for at in repeated(1.0, 0.5, 30, 3.0)[1:]:
        assert gestures.feed(PedalEvent("keys", "b", True, at, has_release=False)) == []
    assert gestures.due(50.0) == []
