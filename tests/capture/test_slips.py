"""What is a lift and what is not: a slip, sinking on from a hover, and a gesture in between.

The spindle's true station is known here; readings go through the settler to the walk, as in life.
"""

from __future__ import annotations

import itertools
import math
from decimal import Decimal
from typing import get_args

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from gaugelink.capture import settling, walk
from gaugelink.capture.settling import Settled, Settler
from gaugelink.capture.walk import LANDING, Take, Trigger, captured
from gaugelink.craft.style import Settling
from tests.capture.readings import feed, reading
from tests.capture.walks import STYLE, begun, here

RULE = Settling()
AIR = 600.0
SLIP = settling.SLIP * RULE.still_for
"""Seconds."""


class Bench:
    """A walk that is followed reading by reading."""

    def __init__(self, trigger: Trigger, rate: float) -> None:
        self.state = begun(trigger)
        self.settler = Settler(STYLE.settling)
        self.rate = rate
        self.now = 0.0
        self.count = itertools.count()
        self.live: Settled | None = None
        self.taken: list[Take] = []

    def say(self, value: float, seconds: float) -> None:
        """The gauge says a value for so long, at least once."""
        for _ in range(max(1, round(seconds * self.rate))):
            self.now = next(self.count) / self.rate
            self.live = self.settler.feed(reading(self.now, value))
            step = walk.dwell(self.state, self.now, self.live)
            if step is not None:
                self.follow(step)

    def press(self, gesture: walk.Gesture) -> walk.Step:
        step = walk.press(self.state, gesture, self.now, self.live)
        self.follow(step)
        return step

    def follow(self, step: walk.Step) -> None:
        self.state = step.state
        if step.take is not None:
            self.taken.append(step.take)
            self.state = captured(step.state, step.take)


@given(
    rate=st.sampled_from([10.0, 20.0, 50.0, 100.0]),
    thickness=st.floats(15, 60),
    slips=st.lists(
        # How long it is off, how far up, where it comes back, and how long it stands there.
        st.tuples(
            st.floats(0.02, SLIP - 0.25),
            st.sampled_from([8.0, 60.0, AIR]),
            st.floats(-5, 5),
            st.floats(SLIP, 3.0),
        ),
        min_size=1,
        max_size=5,
    ),
    first=st.floats(0.1, 2.5),
)
def test_however_often_it_slips_a_visit_is_one_station(
    rate: float, thickness: float, slips: list[tuple[float, float, float, float]], first: float
) -> None:
    bench = Bench("dwell", rate)
    bench.say(AIR, 1.0)
    bench.say(thickness, first)
    for off, up, back, stands in slips:
        bench.say(thickness + up, off)
        thickness += back / len(slips)
        bench.say(thickness, stands)
    bench.say(thickness, 2.0)
    assert len(bench.taken) == 1
    assert bench.taken[0].stop == bench.state.stops[0]


@given(
    rate=st.sampled_from([10.0, 20.0, 50.0]),
    thicknesses=st.lists(st.integers(15, 60), min_size=2, max_size=6),
    off=st.floats(SLIP + 0.05, 2.0),
)
@example(rate=10.0, thicknesses=[40, 40, 40], off=SLIP + 0.05)
def test_a_lift_as_long_as_a_hand_needs_is_another_station_also_at_the_same_thickness(
    rate: float, thicknesses: list[int], off: float
) -> None:
    bench = Bench("dwell", rate)
    for thickness in thicknesses:
        bench.say(AIR, math.ceil(off * rate) / rate)
        bench.say(thickness, 1.5)
    assert [take.hundredths for take in bench.taken] == thicknesses
    assert [take.stop for take in bench.taken] == list(bench.state.stops[: len(thicknesses)])


@given(off=st.floats(0.05, SLIP - 0.1), back=st.integers(10, 30), down=st.booleans())
def test_back_soon_but_elsewhere_is_another_station(off: float, back: int, down: bool) -> None:
    bench = Bench("dwell", 50.0)
    bench.say(AIR, 1.0)
    bench.say(45, 1.5)
    bench.say(AIR, off)
    bench.say(45 - back if down else 45 + back, 1.5)
    assert [take.stop for take in bench.taken] == list(bench.state.stops[:2])


@given(above=st.integers(7, 80), hovers=st.floats(0.9, 2.0), steps=st.integers(0, 20))
def test_what_sinks_on_from_a_hover_is_not_another_station(
    above: int, hovers: float, steps: int
) -> None:
    bench = Bench("dwell", 20.0)
    bench.say(AIR, 1.0)
    bench.say(40 + above, hovers)
    for step in range(steps):
        bench.say(40 + above * (1 - step / steps), 0.05)
    bench.say(40, 3.0)
    assert len(bench.taken) == 1
    bench.say(AIR, 1.0)
    bench.say(38, 1.5)
    assert [take.stop for take in bench.taken] == list(bench.state.stops[:2])


def test_down_to_the_bare_tongue_and_back_is_a_lift() -> None:
    """The reed is drawn off, and the spindle follows down to the tongue."""
    bench = Bench("dwell", 20.0)
    for thickness in (45, 37, 30):
        bench.say(0, 0.7)
        bench.say(thickness, 1.5)
    assert [take.hundredths for take in bench.taken] == [45, 37, 30]


def test_a_settler_counts_the_contacts_of_a_visit() -> None:
    settler = Settler(RULE)
    values = [*[43.0] * 10, AIR, AIR, *[44.0] * 10, AIR, AIR, *[43.5] * 10]
    found = feed(settler, values)
    assert [(each.contact, each.unlifted) for each in (found[9], found[21], found[-1])] == [
        (1, 0),
        (2, 1),
        (3, 2),
    ]
    later = feed(settler, [*[AIR] * 8, *[43.5] * 10], start=4.4)[-1]
    assert (later.contact, later.unlifted) == (5, 0), "held still in the air it is a contact, too"


def test_a_pushed_value_is_never_a_slip() -> None:
    settler = Settler(RULE)
    found = [settler.feed(reading(at, 43.0, pushed=True)) for at in (0.0, 0.1, 0.2)]
    assert [(each.contact, each.unlifted) for each in found] == [(1, 0), (2, 0), (3, 0)]


def test_in_a_walk_by_dwell_a_press_takes_no_slip_for_another_station_either() -> None:
    bench = Bench("dwell", 20.0)
    bench.say(AIR, 1.0)
    bench.say(40, 1.5)
    bench.say(AIR, 0.2)
    bench.say(40, 1.5)
    refused = bench.press("capture")
    assert refused.said is not None
    assert refused.said.why == "same contact"
    assert len(bench.taken) == 1


# A gesture that moves the walk


@pytest.mark.parametrize("gesture", ["skip", "back", "retake"])
@pytest.mark.parametrize("stood", [0.2, 0.5, 0.7])
def test_what_stood_as_the_walk_was_moved_is_not_captured_where_it_moved_to(
    gesture: walk.Gesture, stood: float
) -> None:
    bench = Bench("dwell", 20.0)
    bench.say(AIR, 1.0)
    bench.say(40, 1.5)
    bench.say(AIR, 1.0)
    bench.say(50, stood)
    bench.press(gesture)
    bench.say(50, 5.0)
    assert [take.hundredths for take in bench.taken] == [40]
    asks = here(bench.state)
    bench.say(AIR, 1.0)
    bench.say(45, 1.5)
    assert [take.stop.station.key for take in bench.taken[1:]] == [asks]


@pytest.mark.parametrize("stood", [0.0, 0.2, 0.7])
def test_nor_is_it_by_a_press_until_it_is_placed_anew(stood: float) -> None:
    bench = Bench("press", 20.0)
    bench.say(AIR, 1.0)
    bench.say(40, 1.0)
    assert bench.press("capture").take is not None
    bench.say(AIR, 1.0)
    if stood:
        bench.say(50, stood)
    bench.press("back")
    bench.say(50, 1.5)
    refused = bench.press("capture")
    assert refused.said is not None
    assert refused.said.why == "same contact"
    assert "place it anew" in refused.said.text
    bench.say(AIR, 0.6)
    bench.say(41, 1.0)
    taken = bench.press("capture").take
    assert taken is not None
    assert taken.stop == bench.state.stops[0]


def test_what_landed_as_the_walk_was_moved_is_not_captured_after_it_slid_either() -> None:
    for trigger in get_args(Trigger):
        bench = Bench(trigger, 20.0)
        bench.say(AIR, 1.0)
        bench.say(50, 0.1)
        bench.press("skip")
        bench.say(50, 0.7)
        bench.say(46, 2.0)
        bench.press("capture")
        assert bench.taken == []


def test_what_comes_down_a_while_after_the_walk_was_moved_is_captured() -> None:
    for trigger in get_args(Trigger):
        bench = Bench(trigger, 20.0)
        bench.say(AIR, 1.0)
        bench.press("skip")
        bench.say(AIR, LANDING + 0.1)
        bench.say(50, 1.5)
        if trigger == "press":
            bench.press("capture")
        assert [take.stop for take in bench.taken] == [bench.state.stops[1]]


def test_what_stood_in_a_pause_is_not_captured_by_dwell_but_by_a_press() -> None:
    for trigger in get_args(Trigger):
        bench = Bench(trigger, 20.0)
        bench.press("pause")
        bench.say(AIR, 1.0)
        bench.say(50, 2.0)
        bench.press("resume")
        bench.say(50, 3.0)
        if trigger == "press":
            bench.press("capture")
        assert len(bench.taken) == (trigger == "press")


def test_a_capture_moves_the_walk_and_is_no_such_gesture() -> None:
    bench = Bench("press", 20.0)
    for thickness in (40, 41, 42):
        bench.say(AIR, 0.2)
        bench.say(thickness, 0.6)
        assert bench.press("capture").take is not None
    assert [take.hundredths for take in bench.taken] == [Decimal(each) for each in (40, 41, 42)]
