"""One contact gives one reading: what takes itself, what a line takes, and what is refused."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.capture.settling import Settler
from gaugelink.cli.taking import DWELL, STALE, Taker, Trigger
from gaugelink.craft.style import Settling
from gaugelink.daemon.gauges import reading_event
from gaugelink.daemon.messages import ReadingEvent
from gaugelink.reading import Reading

EVERY = 0.05
LIFT = [900.0, 940.0] * 8
"""Longer than a slip of the spindle takes, and never still."""


def nothing(_: ReadingEvent) -> str:
    return ""


class Stream:
    """Readings as the hub tells of them, twenty a second."""

    def __init__(self, trigger: Trigger) -> None:
        self.taker = Taker(trigger)
        self.now = 10.0
        self.said: list[str] = []
        self._settler = Settler(Settling())
        self._seq = 0

    def feed(self, *values: float, doubt: Any = nothing, same_place: bool = False) -> list[float]:
        """What is taken by itself meanwhile."""
        taken = []
        for value in values:
            self.now += EVERY
            self._seq += 1
            reading = Reading(
                "g", self._seq, self.now, Decimal(str(value)), Decimal("0.1"), "mm", "x"
            )
            event = reading_event(reading, self._settler.feed(reading))
            found = self.taker.hear(event, self.now, doubt, same_place)
            if isinstance(found, str):
                self.said.append(found)
            elif found is not None:
                assert found.settled is not None
                taken.append(float(found.settled))
        return taken

    def press(self, doubt: Any = nothing) -> Any:
        found = self.taker.press(self.now, doubt)
        return found if isinstance(found, str) else float(found.settled or 0)


def test_a_contact_is_taken_once_by_dwell() -> None:
    stream = Stream("dwell")
    assert stream.feed(*LIFT) == []
    assert stream.feed(*[20.0] * 100) == [20]
    assert stream.feed(*LIFT) == []
    assert stream.feed(*[20.1] * 40) == [20.1]


def test_what_stood_there_from_the_start_is_not_taken_by_itself() -> None:
    stream = Stream("dwell")
    assert stream.feed(*[20.0] * 60) == []
    stream.feed(*LIFT)
    assert stream.feed(*[21.0] * 60) == [21]


def test_what_stands_shorter_than_the_dwell_is_not_taken() -> None:
    stream = Stream("dwell")
    stream.feed(*LIFT)
    assert stream.feed(*[20.0] * int((DWELL - 0.1) / EVERY)) == []


def test_what_is_in_doubt_is_waited_for_not_used_up() -> None:
    stream = Stream("dwell")
    stream.feed(*LIFT)
    assert stream.feed(*[20.0] * 40, doubt=lambda _: "the wrong one") == []
    assert stream.said == ["the wrong one"]
    assert stream.feed(20.0) == [20]
    stream.feed(*LIFT)
    stream.feed(*[20.0] * 40, doubt=lambda _: "the wrong one")
    assert stream.said == ["the wrong one"] * 2


def test_a_slip_is_no_new_contact_but_a_short_lift_at_the_same_place_is() -> None:
    for same_place, again in ((False, []), (True, [20.0])):
        stream = Stream("dwell")
        stream.feed(*LIFT)
        assert stream.feed(*[20.0] * 40) == [20]
        stream.feed(900, 900, 900, 900, same_place=same_place)
        assert stream.feed(*[20.0] * 40, same_place=same_place) == again


def test_a_line_takes_what_has_settled_once() -> None:
    stream = Stream("lines")
    assert "has sent nothing" in stream.press()
    assert stream.feed(*LIFT[:2]) == []
    assert "not settled yet" in stream.press()
    assert stream.feed(*[20.0] * 20) == []
    assert "the wrong one" in stream.press(lambda _: "the wrong one")
    assert stream.press() == 20
    assert "not lifted" in stream.press()
    stream.feed(900, 900, 900, *[21.0] * 20)
    assert stream.press() == 21


def test_an_old_reading_or_a_lost_link_gives_nothing() -> None:
    stream = Stream("lines")
    stream.feed(*[20.0] * 20)
    stream.now += STALE + 0.1
    assert "s old: nothing taken" in stream.press()
    stream.feed(20.0)
    stream.taker.lost()
    assert "has sent nothing" in stream.press()


@pytest.mark.parametrize("trigger", ["dwell", "lines"])
def test_what_the_indicators_own_button_sends_is_taken_at_once(trigger: Trigger) -> None:
    taker = Taker(trigger)
    settler = Settler(Settling())
    for seq, value in enumerate((20, 20), 1):
        reading = Reading("g", seq, seq, Decimal(value), Decimal(1), "mm", "x", pushed=True)
        event = reading_event(reading, settler.feed(reading))
        assert taker.hear(event, float(seq), lambda _: "no") == "no"
        assert taker.hear(event, float(seq), nothing) is event


@given(
    st.lists(
        st.tuples(st.sampled_from([0.0, 20.0, 40.0]), st.integers(1, 40), st.integers(2, 20)),
        max_size=8,
    )
)
def test_there_are_never_more_readings_than_contacts(
    visits: list[tuple[float, int, int]],
) -> None:
    stream = Stream("dwell")
    stream.feed(*LIFT)
    for value, stands, lifted in visits:
        # It may end its dwell at the first reading of the lift, which alone is none yet.
        taken = stream.feed(*[value] * stands, *(LIFT * 2)[:lifted])
        assert taken in ([], [value])
