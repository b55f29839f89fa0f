"""Any interleaving of presses and readings: no value at a station where the spindle did not stand.

From a foot on a switch that bounces, over gestures, and from readings over the settler, to the
walk. The maker of the model looks where the walk stands whenever they come down, and comes down
there; when the pedals go, and what else the hand does meanwhile, is anything.
"""

from __future__ import annotations

from decimal import Decimal
from typing import get_args

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from gaugelink.capture import settling, walk
from gaugelink.capture.gestures import Gestures, Meant
from gaugelink.capture.pedals.asking import asked
from gaugelink.capture.pedals.event import PedalEvent
from gaugelink.capture.pedals.mapping import ONE_PEDAL, TWO_PEDALS, Mapping
from gaugelink.capture.settling import Settled, Settler
from gaugelink.capture.walk import Step, Trigger, WalkState
from simulators.pedals import Edge, Foot
from tests.capture.readings import reading
from tests.capture.walks import STYLE, begun

RATE = 20.0
AIR = 600.0
SLIP = settling.SLIP * STYLE.settling.still_for
"""Seconds."""
COMING_DOWN = 0.2
"""Seconds from the last look at the walk to the touch."""

CODES = {"right": "pagedown", "left": "pageup"}


class Bench(RuleBasedStateMachine):
    """A reed, a spindle, two pedals, and a maker who does anything in any order."""

    @initialize(
        trigger=st.sampled_from(get_args(Trigger)),
        mapping=st.sampled_from([ONE_PEDAL, TWO_PEDALS]),
        same=st.booleans(),
        seed=st.integers(0, 1000),
    )
    def begin(self, trigger: Trigger, mapping: Mapping, same: bool, seed: int) -> None:
        self.state: WalkState = begun(trigger)
        # Stations that are all alike are the ones most easily taken for each other.
        self.truth = {
            stop.station.key: 40.0 + (0 if same else 2.5 * index)
            for index, stop in enumerate(self.state.stops)
        }
        self.gestures = Gestures(mapping)
        self.settler = Settler(STYLE.settling)
        self.foot = Foot(seed)
        self.samples = 0
        self.edges: list[tuple[str, Edge]] = []
        self.live: Settled | None = None
        self.shown = AIR
        self.stood: list[tuple[float, str]] = [(0.0, "")]
        """From when on the spindle stood at each station, "" for in the air."""
        self.let(0.5)

    @property
    def stands(self) -> bool:
        """Whether the spindle has come to stand on a station; before that it only fumbles."""
        live = self.live
        return bool(self.stood[-1][1]) and live is not None and live.standing == "settled"

    @property
    def now(self) -> float:
        return self.samples / RATE

    def let(self, seconds: float) -> None:
        """Time passes: readings come, and what the foot does comes in between."""
        for _ in range(max(1, round(seconds * RATE))):
            self.samples += 1
            while self.edges and self.edges[0][1].at <= self.now:
                code, edge = self.edges.pop(0)
                self.do(self.gestures.feed(PedalEvent("foot", code, edge.is_down, edge.at)))
            self.do(self.gestures.due(self.now))
            self.live = self.settler.feed(reading(self.now, self.shown))
            step = walk.dwell(self.state, self.now, self.live)
            if step is not None:
                self.follow(step)

    def be(self, station: str, value: float) -> None:
        if self.stood[-1][1] != station:
            self.stood.append((self.now, station))
        self.shown = value

    def do(self, found: list[Meant]) -> None:
        for meant in found:
            wish = asked(meant.action, self.state)
            assert wish is not None
            self.follow(
                walk.press(self.state, wish.gesture, self.now, self.live, station=wish.station)
            )

    def follow(self, step: Step) -> None:
        self.state = step.state
        take, live = step.take, self.live
        if take is None:
            return
        assert live is not None
        at = next(station for since, station in reversed(self.stood) if since < live.since)
        assert at == take.stop.station.key, "a value at a wrong station"
        assert abs(take.hundredths - Decimal(self.truth[at])) <= 2
        self.state = walk.captured(step.state, take)

    @rule(up=st.floats(0.1, 1.5))
    def go_where_the_walk_stands(self, up: float) -> None:
        self.be("", AIR)
        # With a dwell whoever means another station takes the time to get there.
        self.let(max(up, SLIP) if self.state.trigger == "dwell" else up)
        stop = self.state.stop
        if stop is not None:
            self.let(COMING_DOWN)
            self.be(stop.station.key, self.truth[stop.station.key])
            self.let(0.1)

    @rule(seconds=st.floats(0.05, 2.0))
    def stand_or_wait(self, seconds: float) -> None:
        self.let(seconds)

    @rule(up=st.floats(0.05, 1.5))
    def lift(self, up: float) -> None:
        self.be("", AIR)
        self.let(up)

    @precondition(lambda self: self.state.trigger == "dwell" and self.stands)
    @rule(off=st.floats(0.05, SLIP - 0.2), up=st.sampled_from([10.0, 50.0, AIR]))
    def slip(self, off: float, up: float) -> None:
        stands = self.shown
        self.shown = stands + up
        self.let(off)
        self.shown = stands
        # Two slips within a moment may look like a lift; a hand that has slipped sits tighter.
        self.let(SLIP)

    @precondition(lambda self: self.stands)
    @rule(by=st.floats(-1.9, 1.9))
    def slide(self, by: float) -> None:
        station = self.stood[-1][1]
        self.shown = self.truth[station] + by
        self.let(0.5)

    @rule(
        pedal=st.sampled_from(["right", "right", "left"]),
        after=st.floats(0.0, 1.0),
        held=st.sampled_from([None, None, 0.4, 1.3]),
        twice=st.booleans(),
    )
    def press(self, pedal: str, after: float, held: float | None, twice: bool) -> None:
        times = [self.now + after, *([self.now + after + 0.3] if twice else [])]
        new = [(CODES[pedal], edge) for at in times for edge in self.foot.press(at, held)]
        self.edges = sorted([*self.edges, *new], key=lambda each: each[1].at)

    @invariant()
    def what_is_taken_is_what_is_there(self) -> None:
        if hasattr(self, "state"):
            for key, taken in self.state.taken.items():
                assert abs(taken.hundredths - Decimal(self.truth[key])) <= 2


TestBench = Bench.TestCase
TestBench.settings = settings(stateful_step_count=30)


def test_a_walk_by_pedal_alone_goes_through_to_the_end() -> None:
    """The machine above is no use if nothing is ever taken."""
    for trigger in get_args(Trigger):
        bench = Bench()
        bench.begin(trigger, TWO_PEDALS, same=True, seed=3)
        for _ in bench.state.stops:
            bench.go_where_the_walk_stands(0.7)
            bench.stand_or_wait(0.5)
            if trigger == "press":
                bench.press("right", 0.0, None, twice=True)
            bench.stand_or_wait(1.0)
        assert bench.state.place is None
        assert len(bench.state.taken) == len(bench.state.stops)
