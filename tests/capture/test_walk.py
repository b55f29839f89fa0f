"""The walk: what each gesture does, and what is refused with which reason."""

from __future__ import annotations

from decimal import Decimal
from typing import get_args

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.capture import walk
from gaugelink.capture.settling import Settled
from gaugelink.capture.walk import Gesture, WalkState, captured, dwell, press
from gaugelink.craft.style import Style, StyleError, find
from gaugelink.craft.verdict import LEAVE, Verdict
from tests.capture.walks import FIRST, SECOND, STYLE, THIRD, begun, here, live, take, take_all, why


def test_it_begins_at_the_first_station_of_the_stage() -> None:
    state = begun()
    assert state.stops == tuple(STYLE.stops("tip"))
    assert here(state) == FIRST
    assert state.upcoming == state.stops[1]
    assert (state.in_pass, state.taken, state.paused) == (1, {}, False)
    with pytest.raises(StyleError, match="has no stage 'polish'"):
        begun(stage="polish")


def test_a_capture_holds_what_the_gauge_said_and_its_verdict() -> None:
    step = press(begun(), "capture", 10.2, live(10.0, 38.4, contact=7, resolution="0.2"))
    assert step.take is not None
    assert step.said is None
    assert step.take.stop == begun().stop
    assert (step.take.hundredths, step.take.resolution) == (Decimal("38.4"), Decimal("0.2"))
    assert step.take.verdict == Verdict("take", 5)
    assert (step.take.contact, step.take.at, step.take.in_pass) == (7, 10.0, 1)


def test_until_it_is_durable_a_capture_has_not_happened() -> None:
    step = press(begun(), "capture", 10.0, live(10.0))
    assert step.take is not None
    assert step.state.taken == {}
    assert here(step.state) == FIRST
    after = captured(step.state, step.take)
    assert here(after) == SECOND
    assert after.taken[FIRST].hundredths == 40
    again = press(step.state, "capture", 11.0, live(11.0))
    assert again.take is not None
    assert again.take.stop == step.take.stop, "one that was not saved is taken at the same station"


@pytest.mark.parametrize(
    ("reason", "says", "linked"),
    [
        ("link lost", live(10.0), False),
        ("no reading", None, True),
        ("stale", live(8.9), True),
        ("moving", live(10.0, None), True),
        ("not cane", live(10.0, 0), True),
        ("not cane", live(10.0, -0.0), True),
        ("not cane", live(10.0, 2.9), True),
        ("not cane", live(10.0, 150.1), True),
        ("not cane", live(10.0, 400), True),
    ],
)
def test_what_cannot_be_trusted_is_refused_with_the_reason(
    reason: str, says: Settled | None, linked: bool
) -> None:
    state = begun()
    step = press(state, "capture", 10.0, says, linked)
    assert why(step) == reason
    assert here(step.state) == FIRST
    assert step.state.taken == {}


@pytest.mark.parametrize(("value", "age"), [(3, 0), (150, 1.0), (40, -0.1)])
def test_the_limits_of_what_can_be_trusted(value: float, age: float) -> None:
    assert press(begun(), "capture", 10.0, live(10.0 - age, value)).take is not None


def test_a_second_press_within_the_gesture_time_takes_nothing() -> None:
    state = take(begun(), 10.0)
    gesture = STYLE.walking.gesture
    for now in (10.0, 10.0 + gesture - 0.01, 10.0 + 1.9 * gesture):
        # Another contact stands already: only the time tells that this press is the first's.
        step = press(state, "capture", now, live(now, 39, contact=2))
        assert why(step) == "too soon"
        assert here(step.state) == SECOND
        state = step.state
    step = press(state, "capture", 10.0 + 3 * gesture, live(11.5, 39, contact=2))
    assert step.take is not None


def test_a_press_that_comes_a_little_out_of_order_is_still_a_second_one() -> None:
    state = take(begun(), 10.0)
    assert why(press(state, "capture", 9.99, live(9.99, 39, contact=2))) == "too soon"


def test_a_refused_press_counts_as_the_first_of_its_gesture() -> None:
    refused = press(begun(), "capture", 10.0, live(10.0, None))
    assert why(press(refused.state, "capture", 10.2, live(10.2))) == "too soon"


@pytest.mark.parametrize("gesture", ["skip", "back"])
def test_a_pedal_that_bounces_goes_one_station_only(gesture: Gesture) -> None:
    state = take_all(begun(), [40, 39, 38])
    once = press(state, gesture, 100.0).state
    held = once
    for now in (100.03, 100.3, 100.7):
        step = press(held, gesture, now)
        assert why(step) == "too soon"
        held = step.state
    assert here(held) == here(once) != here(state)
    assert here(press(held, gesture, 102.0).state) not in (here(once), here(state))


def test_one_contact_serves_one_station() -> None:
    state = take(begun(), 10.0, contact=4)
    step = press(state, "capture", 12.0, live(12.0, 40, contact=4))
    assert why(step) == "same contact"
    assert FIRST in (step.said.text if step.said else "")
    assert press(step.state, "capture", 14.0, live(14.0, 40, contact=5)).take is not None


@pytest.mark.parametrize("gesture", ["skip", "back", "goto"])
def test_moving_the_walk_does_not_free_a_used_contact(gesture: Gesture) -> None:
    state = take_all(begun(), [40, 39])
    state = press(state, gesture, 100.0, station=THIRD).state
    if gesture == "back":
        # At the station that the contact was used for it may be taken again.
        assert press(state, "capture", 110.0, live(110.0, 39, contact=2)).take is not None
        state = press(state, "back", 120.0).state
    assert why(press(state, "capture", 130.0, live(130.0, 39, contact=2))) == "same contact"


def test_a_retake_goes_back_to_the_last_capture_and_supersedes_it() -> None:
    state = take_all(begun(), [40, 39])
    state = press(state, "retake", 50.0).state
    assert here(state) == SECOND
    state = take(state, 60.0, 37, contact=9)
    assert state.taken[SECOND].hundredths == 37
    assert state.taken[FIRST].hundredths == 40
    assert here(state) == THIRD


def test_a_retake_before_any_capture_of_this_run_goes_one_back() -> None:
    state = walk.resumed(take_all(begun(), [40, 39]))
    assert here(press(state, "retake", 50.0).state) == SECOND
    assert why(press(begun(), "retake", 50.0)) == "nowhere"


def test_skip_leaves_a_station_out_of_this_pass() -> None:
    state = press(begun(), "skip", 1.0).state
    assert here(state) == SECOND
    for number in range(len(state.stops) - 1):
        state = take(state, 10.0 * (number + 1), 32, contact=number + 1)
    assert state.stop is None
    assert FIRST not in state.taken
    assert why(press(state, "skip", 900.0)) == "done"
    state = press(state, "again", 910.0).state
    assert here(state) == FIRST
    assert len(state.queue) == 1


def test_back_returns_to_a_skipped_station_and_measures_it() -> None:
    state = press(begun(), "skip", 1.0).state
    state = press(state, "back", 5.0).state
    assert here(state) == FIRST
    assert state.skipped == frozenset()
    state = take(state, 10.0)
    assert here(state) == SECOND


def test_back_stops_at_the_first_station_and_returns_from_the_end() -> None:
    assert why(press(begun(), "back", 1.0)) == "nowhere"
    done = take_all(begun(), [32.0] * len(begun().stops))
    assert done.stop is None
    assert done.upcoming is None
    assert here(press(done, "back", 900.0).state) == done.stops[-1].station.key


def test_after_going_back_the_walk_goes_on_where_it_had_come_to() -> None:
    state = take_all(begun(), [40, 39, 38])
    at = here(state)
    state = press(state, "back", 100.0).state
    state = press(state, "back", 101.0).state
    state = take(state, 110.0, 36, contact=9)
    assert here(state) == at


def test_goto_goes_to_any_station_of_the_stage() -> None:
    state = begun()
    last = state.stops[-1].station.key
    state = press(state, "goto", 1.0, station=last).state
    assert here(state) == last
    assert here(take(state, 10.0)) == FIRST
    for wrong in ("", "crossed/1/+0", "uncrossed"):
        assert why(press(state, "goto", 2.0, station=wrong)) == "nowhere"


def test_goto_adds_a_station_that_this_pass_left_out() -> None:
    count = len(begun().stops)
    state = take_all(begun(), [*[32.0] * (count - 2), 45.0, 46.0])
    state = press(state, "again", 900.0).state
    assert [state.stops[index].station.key for index in state.queue] == [
        stop.station.key for stop in state.stops[-2:]
    ]
    state = press(state, "goto", 901.0, station=FIRST).state
    assert here(state) == FIRST
    assert len(state.queue) == 3
    assert here(take(state, 910.0, 31, contact=50)) == state.stops[-2].station.key


def test_pause_refuses_everything_until_it_is_resumed() -> None:
    state = press(begun(), "pause", 1.0).state
    assert state.paused
    for now, gesture in enumerate(get_args(Gesture), 10):
        if gesture not in ("pause", "resume"):
            assert why(press(state, gesture, now, live(now), station=SECOND)) == "paused"
    state = press(state, "resume", 30.0).state
    assert here(state) == FIRST
    assert here(take(state, 40.0)) == SECOND


def test_again_passes_over_what_is_to_be_taken_or_was_never_measured() -> None:
    state = begun()
    targets = [float(stop.target) for stop in state.stops]
    # On target, over, to be taken, skipped, and the rest on target.
    state = take(state, 10.0, targets[0], 1)
    state = take(state, 20.0, targets[1] - 9, 2)
    state = take(state, 30.0, targets[2] + 9, 3)
    state = press(state, "skip", 40.0).state
    for number, target in enumerate(targets[4:], 5):
        state = take(state, number * 10.0, target, number)
    assert state.stop is None
    assert walk.to_go(state) == 9
    state = press(state, "again", 900.0).state
    assert state.queue == (2, 3)
    assert (state.in_pass, here(state)) == (2, state.stops[2].station.key)
    assert state.taken[FIRST].in_pass == 1, "values of the pass before stand"
    state = take(state, 910.0, targets[2], 60)
    state = take(state, 920.0, targets[3], 61)
    assert why(press(state, "again", 930.0)) == "done"
    assert walk.to_go(state) == 0


def test_a_press_at_the_end_of_a_pass_begins_the_next() -> None:
    state = take_all(begun(), [45.0] * len(begun().stops))
    step = press(state, "capture", 900.0, live(900.0, 45, contact=99))
    assert step.take is None
    assert step.said is None
    assert here(step.state) == FIRST
    assert step.state.in_pass == 2


def test_zones_and_their_verdicts() -> None:
    state = begun()
    assert walk.zones(state) == {"tip-middle": None, "tip-sides": None, "corners": None}
    state = take(state, 10.0, 32.5)
    assert walk.verdicts_of(state, "tip-middle") == [LEAVE, None]
    assert walk.zones(state)["tip-middle"] is None
    other = next(s for s in state.stops[1:] if s.zone == "tip-middle").station.key
    state = press(state, "goto", 20.0, station=other).state
    assert walk.zones(take(state, 30.0, 32.5, 2))["tip-middle"] == LEAVE
    assert walk.zones(take(state, 30.0, 40, 2))["tip-middle"] == Verdict("take", 7)


def test_dwell_takes_by_itself_once_and_waits_for_a_lift() -> None:
    state = begun("dwell")
    assert dwell(state, 10.0, live(10.0, still=STYLE.walking.dwell - 0.01)) is None
    step = dwell(state, 10.0, live(10.0, still=STYLE.walking.dwell))
    assert step is not None
    assert step.take is not None
    state = captured(step.state, step.take)
    for at in (10.1, 20.0, 500.0):
        assert dwell(state, at, live(at, still=at - 9)) is None, "not lifted"
    step = dwell(state, 501.0, live(501.0, 39, contact=2))
    assert step is not None
    assert step.take is not None
    assert step.take.stop.station.key == SECOND


@pytest.mark.parametrize("value", [0, -0.5, 2.9, 151, 400, None])
def test_dwell_takes_neither_the_bare_tongue_nor_a_lifted_spindle(value: float | None) -> None:
    assert dwell(begun("dwell"), 10.0, live(10.0, value, still=99.0)) is None


def test_dwell_is_only_for_walks_that_asked_for_it() -> None:
    ready = live(10.0, still=99.0)
    assert dwell(begun("press"), 10.0, ready) is None
    assert dwell(press(begun("dwell"), "pause", 1.0).state, 10.0, ready) is None
    done = take_all(begun("dwell"), [32.0] * len(begun().stops))
    assert dwell(done, 999.0, live(999.0, contact=999, still=99.0)) is None


def test_dwell_refuses_what_cannot_be_trusted() -> None:
    stale = dwell(begun("dwell"), 20.0, live(10.0, still=5.0))
    assert stale is not None
    assert why(stale) == "stale"
    lost = dwell(begun("dwell"), 10.0, live(10.0, still=5.0), linked=False)
    assert lost is not None
    assert why(lost) == "link lost"


def test_a_press_right_after_a_dwell_capture_takes_nothing_more() -> None:
    step = dwell(begun("dwell"), 10.0, live(10.0))
    assert step is not None
    assert step.take is not None
    state = captured(step.state, step.take)
    assert why(press(state, "capture", 10.1, live(10.1))) == "same contact"


def test_a_restart_resumes_exactly_where_it_stood() -> None:
    state = take_all(begun(), [40, 39])
    state = press(state, "skip", 100.0).state
    state = press(state, "pause", 101.0).state
    kept = msgspec.json.decode(msgspec.json.encode(walk.resumed(state)), type=WalkState)
    assert kept == walk.resumed(state)
    for name in ("stop", "taken", "queue", "skipped", "place", "in_pass", "paused", "stops"):
        assert getattr(kept, name) == getattr(state, name)
    # The clock of the new run begins anew, below the old one's, and so do the contacts.
    kept = press(kept, "resume", 0.1).state
    assert press(kept, "capture", 1.0, live(1.0, 38, contact=2)).take is not None


@given(
    values=st.lists(st.decimals(3, 150, places=3), max_size=6),
    style=st.sampled_from(["millrace-long", "quayside-short"]),
    data=st.data(),
)
def test_every_state_comes_back_from_json_as_it_was(
    values: list[Decimal], style: str, data: st.DataObject
) -> None:
    of: Style = find(style)
    state = walk.begin(of, data.draw(st.sampled_from([s.name for s in of.stages])), "résumé ✓")
    states = [state]
    for contact, value in enumerate(values, 1):
        at = contact * 10.0
        if data.draw(st.booleans()):
            state = press(state, data.draw(st.sampled_from(get_args(Gesture))), at - 5).state
        says = msgspec.structs.replace(live(at, 40, contact), value=value)
        step = press(state, "capture", at, says)
        state = captured(step.state, step.take) if step.take else step.state
        states.append(state)
    for each in states:
        kept = msgspec.json.decode(msgspec.json.encode(each), type=WalkState)
        assert kept == each
        assert [str(taken.hundredths) for taken in kept.taken.values()] == [
            str(taken.hundredths) for taken in each.taken.values()
        ], "with exactly the digits that were known"
        assert msgspec.json.encode(kept) == msgspec.json.encode(each)


def test_an_unknown_gesture_is_a_fault_of_the_program() -> None:
    with pytest.raises(ValueError, match="no gesture is called 'stamp'"):
        press(begun(), "stamp", 1.0)  # type: ignore[arg-type]
