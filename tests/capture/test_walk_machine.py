"""Any interleaving of presses, readings, lost links and restarts: no value at a wrong station.

The model is a bench: a spindle that is lifted and placed, each time on a thickness of its own, so
that a value tells which contact it came from. The software must never give one contact to two
stations, nor take what the gauge does not say at that moment.
"""

from __future__ import annotations

from decimal import Decimal
from typing import get_args

import msgspec
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from gaugelink.capture import walk
from gaugelink.capture.settling import Settled, Standing
from gaugelink.capture.walk import Gesture, Step, Take, Trigger, WalkState
from gaugelink.craft.style import find

STYLE = find("quayside-short")
STAGES = [stage.name for stage in STYLE.stages]
RESOLUTION = Decimal("0.001")


class Bench(RuleBasedStateMachine):
    """A maker who does anything in any order."""

    @initialize(trigger=st.sampled_from(get_args(Trigger)), stage=st.sampled_from(STAGES))
    def begin(self, trigger: Trigger, stage: str) -> None:
        self.state = walk.begin(STYLE, stage, "reed 1", trigger)
        self.now = 100.0
        self.contact = self.placed = 0
        self.live: Settled | None = None
        self.linked = True
        self.last_press = float("-inf")
        self.stored: dict[str, Decimal] = {}
        self.station_of: dict[Decimal, str] = {}

    def say(self, value: Decimal | None, still: float = 0.0) -> None:
        shown = Decimal(300) if value is None else value
        standing: Standing = "moving" if value is None else "settled"
        self.live = Settled(
            standing, self.now, shown, RESOLUTION, value, self.contact, still, self.now
        )

    @rule(seconds=st.sampled_from([0.0, 0.05, 0.3, 0.6, 2.0]))
    def time_passes(self, seconds: float) -> None:
        self.now += seconds

    @rule(still=st.sampled_from([0.4, 0.8, 3.0]))
    def place_on_cane(self, still: float) -> None:
        self.contact += 1
        self.placed += 1
        self.say(40 + self.placed * RESOLUTION, still)

    @rule(value=st.sampled_from([Decimal(0), Decimal("-0.0"), Decimal(2), Decimal(400)]))
    def place_on_nothing(self, value: Decimal) -> None:
        self.contact += 1
        self.say(value, 3.0)

    @rule()
    def lift(self) -> None:
        self.say(None)

    @precondition(lambda self: self.live is not None and self.live.value is not None)
    @rule(still=st.sampled_from([0.5, 3.0]))
    def go_on_standing(self, still: float) -> None:
        assert self.live is not None
        self.say(self.live.value, still)

    @rule(linked=st.booleans())
    def link(self, linked: bool) -> None:
        self.linked = linked

    @rule(
        gesture=st.sampled_from(get_args(Gesture)) | st.just("capture"),
        place=st.integers(0, 40),
        saved=st.sampled_from([True, True, True, False]),
        twice=st.booleans(),
    )
    def press(self, gesture: Gesture, place: int, saved: bool, twice: bool) -> None:
        stops = self.state.stops
        key = stops[place].station.key if place < len(stops) else "crossed/1/+0"
        for press in range(1 + twice):
            before = self.state
            hurried = self.now - self.last_press < STYLE.walking.gesture
            self.last_press = self.now
            step = walk.press(before, gesture, self.now, self.live, self.linked, key)
            if step.take is not None:
                assert gesture == "capture"
                assert not hurried, "the second press of a gesture takes nothing"
                assert press == 0
            if gesture in ("back", "skip") and press == 1:
                assert step.state.place == before.place, "a bounce goes no further"
            self.follow(before, step, saved)

    @rule()
    def dwell(self) -> None:
        if self.live is None:
            return
        before = self.state
        step = walk.dwell(before, self.now, self.live, self.linked)
        if step is None:
            return
        assert before.trigger == "dwell"
        if step.take is not None:
            assert self.live.still >= STYLE.walking.dwell
            assert step.take.hundredths not in self.station_of, "lifted since the last"
        self.follow(before, step, saved=True)

    def follow(self, before: WalkState, step: Step, saved: bool) -> None:
        self.state = step.state
        assert self.state.taken == before.taken, "nothing is taken before it is durable"
        if step.said is not None:
            assert step.take is None
            assert step.state.place == before.place
            assert step.state.queue == before.queue
        if step.take is not None:
            self.check(before, step.take)
            if saved:
                self.keep(step.take)

    def check(self, before: WalkState, take: Take) -> None:
        assert self.linked
        assert not before.paused
        assert self.live is not None
        assert self.live.standing == "settled"
        assert self.now - self.live.at <= STYLE.walking.stale
        assert take.hundredths == self.live.value
        assert 3 <= take.hundredths <= 150
        assert take.stop == before.stop

    def keep(self, take: Take) -> None:
        key = take.stop.station.key
        first = self.station_of.setdefault(take.hundredths, key)
        assert first == key, "one contact, two stations"
        self.stored[key] = take.hundredths
        self.state = walk.captured(self.state, take)
        assert self.state.is_taken(take.stop)

    @rule()
    def restart(self) -> None:
        kept = msgspec.json.encode(walk.resumed(self.state))
        before, self.state = self.state, msgspec.json.decode(kept, type=WalkState)
        assert self.state.stop == before.stop
        # Another clock, contacts from the first, and the maker takes the spindle off meanwhile.
        self.now, self.contact, self.live, self.last_press = 5.0, 0, None, float("-inf")

    @invariant()
    def the_newest_value_stands_at_each_station(self) -> None:
        if hasattr(self, "state"):
            assert {key: each.hundredths for key, each in self.state.taken.items()} == self.stored

    @invariant()
    def a_pedal_alone_is_never_stuck(self) -> None:
        """With no key but the capture pedal every walk that is not paused comes to its end."""
        if not hasattr(self, "state") or self.state.paused:
            return
        state, now, contact = self.state, self.now + 10, 10**6
        for _ in range(3 * len(state.stops) + 3):
            now, contact = now + 10, contact + 1
            target = state.stop.target if state.stop else Decimal(40)
            says = Settled("settled", now, target, RESOLUTION, target, contact, 1.0, now)
            step = walk.press(state, "capture", now, says)
            if step.said is not None:
                assert step.said.why == "done"
                break
            state = walk.captured(step.state, step.take) if step.take else step.state
        else:
            raise AssertionError("the pedal never came to an end")
        assert all(walk.verdicts_of(state, zone) for zone in walk.zones(state))
        assert walk.to_go(state) == 0


TestBench = Bench.TestCase
TestBench.settings = settings(stateful_step_count=30)
