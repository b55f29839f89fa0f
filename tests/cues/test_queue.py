"""The queue never lags behind the hands, and what stops the knife is never lost."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from gaugelink.craft.reed import BLADES, Station
from gaugelink.craft.verdict import LEAVE, Verdict
from gaugelink.cues.cue import (
    EXAMPLES,
    KINDS,
    Captured,
    Cue,
    LinkBack,
    LinkLost,
    NextStation,
    OnTarget,
    Refused,
    SoakReminder,
)
from gaugelink.cues.queue import (
    LIMITS,
    URGENCY,
    CueQueue,
    Waiting,
    begin,
    cuts,
    limit,
    offer,
    urgent,
)

TAKE, LEAVE_IT, OVER = EXAMPLES["take"], EXAMPLES["leave"], EXAMPLES["over"]
ELSEWHERE = Captured(Station("uncrossed", 64, 0.4), "heart", Decimal(44), Verdict("over", 2))
NEXT, ZONE, LOST, BACK, SOAK = (EXAMPLES[kind] for kind in ("next", "zone", "lost", "back", "soak"))


def offered(*cues: Cue, sounding: Cue | None = None) -> CueQueue:
    queue = CueQueue(sounding=sounding)
    for index, cue in enumerate(cues):
        queue = offer(queue, cue, index / 10)
    return queue


def left(queue: CueQueue) -> list[Cue]:
    return [each.cue for each in queue.waiting]


def test_what_is_offered_first_is_said_at_once_and_the_rest_waits() -> None:
    queue = begin(offered(TAKE), 0.0)
    assert queue == CueQueue((), TAKE)
    queue = offer(queue, NEXT, 0.1)
    assert queue == CueQueue((Waiting(NEXT, 0.1),), TAKE)
    assert begin(queue, 0.5) == CueQueue((), NEXT)
    assert begin(begin(queue, 0.5), 0.9) == CueQueue()


@pytest.mark.parametrize(
    ("cues", "rest"),
    [
        ((TAKE, EXAMPLES["refused"]), [EXAMPLES["refused"]]),  # as urgent, and newer
        ((TAKE, NEXT), [TAKE, NEXT]),  # less urgent: what comes after it
        ((TAKE, NEXT, ZONE), [ZONE]),  # both are of a moment ago
        ((NEXT, NEXT), [NEXT]),
        ((TAKE, OVER), [OVER]),
        ((OVER, TAKE), [TAKE]),  # the same place, measured anew: it is over no more
        ((ELSEWHERE, TAKE), [ELSEWHERE, TAKE]),  # another place: that one still is
        ((ELSEWHERE, OVER, LOST), [ELSEWHERE, OVER, LOST]),  # none of them is lost
        ((LOST, BACK), [BACK]),  # it is not lost any more
        ((BACK, LOST), [LOST]),
        ((LOST, LinkBack("other")), [LOST, LinkBack("other")]),
        ((SOAK, TAKE), [SOAK, TAKE]),
        ((SOAK, TAKE, NEXT, LOST), [LOST]),
        ((NEXT, TAKE, SOAK), [SOAK]),
    ],
)
def test_which_of_those_that_wait_are_still_worth_saying(
    cues: tuple[Cue, ...], rest: list[Cue]
) -> None:
    assert left(offered(*cues)) == rest


@pytest.mark.parametrize("sounding", EXAMPLES.values(), ids=lambda cue: cue.kind)
@pytest.mark.parametrize("newer", [*EXAMPLES.values(), ELSEWHERE], ids=lambda cue: cue.kind)
def test_only_the_urgent_cuts_and_only_what_is_not(sounding: Cue, newer: Cue) -> None:
    queue = offered(newer, sounding=sounding)
    assert cuts(queue) == (newer.kind in {"over", "lost"} and sounding.kind not in {"over", "lost"})
    assert queue.sounding == sounding, "the shell cuts it, and then begins"


def test_silence_is_never_cut() -> None:
    assert not cuts(offered(OVER))
    assert not cuts(CueQueue(sounding=TAKE))


@pytest.mark.parametrize("kind", KINDS)
def test_what_waited_longer_than_its_limit_is_dropped(kind: str) -> None:
    cue = EXAMPLES[kind]  # type: ignore[index]
    queue = offer(CueQueue(sounding=EXAMPLES["take"]), cue, 10.0)
    assert begin(queue, 10.0 + limit(cue)).sounding == cue
    assert begin(queue, 10.0 + limit(cue) + 0.001) == CueQueue()


def test_one_that_is_dropped_is_not_in_the_way_of_one_that_is_not() -> None:
    queue = offer(offer(CueQueue(), TAKE, 0.0), NEXT, 1.0)
    assert begin(queue, 3.5) == CueQueue((), NEXT)


stations = st.builds(Station, st.sampled_from(BLADES), st.sampled_from([53.0, 56.0]), st.just(-0.5))
cues = st.one_of(
    st.builds(
        Captured,
        stations,
        st.just("windows"),
        st.just(Decimal(40)),
        st.sampled_from([LEAVE, Verdict("take", 3), Verdict("over", 1)]),
    ),
    st.builds(Refused, st.sampled_from(["not settled yet", "paused: resume first"])),
    st.builds(OnTarget, st.sampled_from(["windows", "heart"])),
    st.builds(NextStation, stations, st.just("windows")),
    st.builds(LinkLost, st.sampled_from(["a", "b"])),
    st.builds(LinkBack, st.sampled_from(["a", "b"])),
    st.builds(SoakReminder, st.just("R07"), st.integers(15, 30)),
)


class Listening(RuleBasedStateMachine):
    """A shell that offers, cuts and begins as `speaker` does, and a listener who keeps count.

    No cue sounds for longer than `SOUNDS` seconds. There are four stations and two links, so that
    many urgent cues at most can wait at once.
    """

    SOUNDS = 4.0
    URGENT_AT_ONCE = 6

    def __init__(self) -> None:
        super().__init__()
        self.now = 0.0
        self.queue = CueQueue()
        self.ends = 0.0
        self.urgent: list[tuple[Cue, float]] = []
        """Urgent cues that were offered and neither begun nor overtaken by newer news."""
        self.newest: Cue | None = None

    @rule(cue=cues, silence=st.sampled_from([0.0, 0.05, 0.5, 2.0]), sounds=st.floats(0.1, SOUNDS))
    def offer(self, cue: Cue, silence: float, sounds: float) -> None:
        self.pass_time(silence, sounds)
        self.queue = offer(self.queue, cue, self.now)
        self.newest = cue
        self.urgent = [each for each in self.urgent if each[0].about != cue.about]
        if urgent(cue):
            self.urgent.append((cue, self.now))
        assert cue in left(self.queue), "the newest is never refused"
        if cuts(self.queue):
            assert self.queue.sounding is not None
            assert not urgent(self.queue.sounding)
            self.ends = self.now
        self.pass_time(0.0, sounds)

    @rule(silence=st.floats(0, 20), sounds=st.floats(0.1, SOUNDS))
    def pass_time(self, silence: float, sounds: float) -> None:
        until = self.now + silence
        while self.queue.waiting or self.queue.sounding:
            at = max(self.now, self.ends) if self.queue.sounding else self.now
            if at > until:
                break
            self.now = at
            self.begin(sounds)
        self.now = until

    def begin(self, sounds: float) -> None:
        before = self.queue
        self.queue = begin(before, self.now)
        cue = self.queue.sounding
        if cue is None:
            return
        self.ends = self.now + sounds
        (waited,) = (self.now - each.at for each in before.waiting if each.cue == cue)
        assert waited <= LIMITS[URGENCY[cue.kind]], "nothing is said later than its limit"
        if self.urgent:
            assert cue == self.urgent[0][0], "what is urgent is said first, in its order"
            self.urgent.pop(0)

    @invariant()
    def nothing_urgent_is_lost(self) -> None:
        assert [each.cue for each in self.queue.waiting if urgent(each.cue)] == [
            cue for cue, _ in self.urgent
        ]
        for _, at in self.urgent:
            assert self.now - at <= self.SOUNDS * self.URGENT_AT_ONCE

    @invariant()
    def at_most_one_of_each_degree_waits_beside_the_urgent(self) -> None:
        degrees = [URGENCY[each.cue.kind] for each in self.queue.waiting]
        assert degrees == sorted(degrees, reverse=True)
        usual = [each for each in degrees if each < 3]
        assert len(set(usual)) == len(usual)
        abouts = [each.cue.about for each in self.queue.waiting]
        assert len(set(abouts)) == len(abouts)

    @invariant()
    def nothing_waits_in_silence(self) -> None:
        assert self.queue.sounding is not None or not self.queue.waiting


TestListening = Listening.TestCase


@given(st.lists(cues, min_size=1))
def test_a_newer_one_replaces_all_that_are_as_urgent_or_less(offers: list[Cue]) -> None:
    queue = CueQueue()
    for index, cue in enumerate(offers):
        before = left(queue)
        queue = offer(queue, cue, float(index))
        for old in before:
            overtaken = old.about == cue.about or (
                not urgent(old) and URGENCY[old.kind] <= URGENCY[cue.kind]
            )
            assert (old in left(queue)) == (not overtaken or old == cue)
