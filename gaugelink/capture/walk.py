"""The walk: going through a stage's stations, one capture each, as a pure state machine.

A step takes the state, what was pressed, and what the gauge says at that moment, and returns the
new state with at most one capture to take and at most one thing to say. It neither waits nor
writes. The caller makes the capture durable and only then goes on with `captured`; until then the
old state stands, so a capture that could not be written has not happened.

Four rules keep a value from landing at the wrong station:
- a second press within the gesture time belongs to the first: it captures nothing, and a pedal
  that bounces or is held down goes no further back or on than one station;
- one contact of the spindle serves one station: it must lift before the next is captured. In a walk
  by dwell a slip, off for an instant and back at nearly the same place, is no lift, nor is sinking
  on from where it hovered;
- a contact that began before a gesture moved the walk belongs to where the walk stood then;
- a reading that is stale, unsettled, or no thickness of cane is refused, with the reason.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Literal

import msgspec

from gaugelink.capture.settling import Settled
from gaugelink.craft.style import Stop, Style, Walking
from gaugelink.craft.verdict import Verdict, verdict, zone_verdict

Gesture = Literal["capture", "retake", "skip", "back", "pause", "resume", "goto", "again"]
Trigger = Literal["press", "dwell"]
Why = Literal[
    "no reading",
    "link lost",
    "stale",
    "moving",
    "same contact",
    "not cane",
    "too soon",
    "paused",
    "done",
    "nowhere",
    "not saved",
]

UNTAKEN: frozenset[Why] = frozenset(
    ("no reading", "link lost", "stale", "moving", "same contact", "not cane", "not saved")
)
"""Refusals of a capture; the others refuse a move, or that there is anything to do."""

LANDING = 0.35
"""Seconds from the touch until the trembling ends and a still stretch begins. One that begins
sooner after the walk has moved was on its way to the station before; common practice, no source."""


class Taken(msgspec.Struct, frozen=True):
    """What was captured at a station, the newest there."""

    hundredths: Decimal
    resolution: Decimal
    verdict: Verdict
    in_pass: int


class WalkState(msgspec.Struct, frozen=True):
    """Where a walk stands; kept in the store with every capture, so that it resumes exactly."""

    reed: str
    style: str
    stage: str
    stops: tuple[Stop, ...]
    walking: Walking
    trigger: Trigger = "press"
    taken: dict[str, Taken] = {}
    """By station key. Values of an earlier pass stand until they are measured again."""
    queue: tuple[int, ...] = ()
    """The stops of this pass, by index, in the order of the walk."""
    skipped: frozenset[int] = frozenset()
    place: int | None = 0
    """Index in the queue, None when the pass is done."""
    in_pass: int = 1
    paused: bool = False
    # The rest belongs to this run of the program only: clocks and contacts start anew.
    last_press: float | None = None
    """None before the first press; JSON, in which a state is kept, has no infinity."""
    last_gesture: Gesture | None = None
    used_contact: int = 0
    used_station: str = ""
    stood: int = 0
    """The contact that stood, or had stood last, when a gesture last moved the walk."""
    landing: float | None = None
    """Until when a contact may begin that was under way at that moment; None for none."""

    @property
    def stop(self) -> Stop | None:
        """The stop that is measured next, None when the pass is done."""
        return None if self.place is None else self.stops[self.queue[self.place]]

    @property
    def upcoming(self) -> Stop | None:
        """The stop after the present one, None when there is none left."""
        if self.place is None:
            return None
        after = _next_place(self, self.place)
        return None if after is None or after == self.place else self.stops[self.queue[after]]

    def is_taken(self, stop: Stop) -> bool:
        """Whether the stop has been captured in this pass."""
        found = self.taken.get(stop.station.key)
        return found is not None and found.in_pass == self.in_pass


class Take(msgspec.Struct, frozen=True):
    """A capture to be made durable."""

    stop: Stop
    hundredths: Decimal
    resolution: Decimal
    verdict: Verdict
    in_pass: int
    contact: int
    at: float
    """Seconds, monotonic: when the captured stretch was last seen."""


class Said(msgspec.Struct, frozen=True):
    """A refusal, to be said aloud: a word for programs, a sentence for people."""

    why: Why
    text: str


class Step(msgspec.Struct, frozen=True):
    """What a press led to."""

    state: WalkState
    take: Take | None = None
    said: Said | None = None


def begin(style: Style, stage: str, reed: str, trigger: Trigger = "press") -> WalkState:
    """A walk over all stations of a stage; StyleError for a stage the style does not have."""
    stops = tuple(style.stops(stage))
    return WalkState(
        reed=reed,
        style=style.name,
        stage=stage,
        stops=stops,
        walking=style.walking,
        trigger=trigger,
        queue=tuple(range(len(stops))),
    )


def resumed(state: WalkState) -> WalkState:
    """The walk as it stands after a restart: the clock and the contacts of the old run are gone."""
    return msgspec.structs.replace(
        state,
        last_press=None,
        last_gesture=None,
        used_contact=0,
        used_station="",
        stood=0,
        landing=None,
    )


def press(
    state: WalkState,
    gesture: Gesture,
    now: float,
    live: Settled | None = None,
    linked: bool = True,
    station: str = "",
) -> Step:
    """One gesture at `now` seconds (monotonic).

    `live` is the newest that the gauge said, None before the first reading; `linked` whether its
    link is up; `station` the key of the station to go to.
    """
    step = _pressed(state, gesture, now, live, linked, station)
    after = step.state
    # In a pause it may have stood anywhere; but whoever presses then, means that it stands right.
    moved = after.stop != state.stop or (gesture == "resume" and state.trigger == "dwell")
    if not moved:
        return step
    stands = live is not None and _is_cane(state.walking, live.value)
    after = msgspec.structs.replace(
        after,
        stood=0 if live is None else live.contact,
        landing=None if stands else now + LANDING,
    )
    return msgspec.structs.replace(step, state=after)


def _pressed(
    state: WalkState,
    gesture: Gesture,
    now: float,
    live: Settled | None,
    linked: bool,
    station: str,
) -> Step:
    # The size alone counts: presses from two sources may come a little out of order.
    hurried = state.last_press is not None and abs(now - state.last_press) < state.walking.gesture
    bounced = hurried and gesture == state.last_gesture
    state = msgspec.structs.replace(state, last_press=now, last_gesture=gesture)
    match gesture:
        case "capture":
            if hurried:
                return _refuse(state, "too soon", "second press: not taken")
            return _capture(state, now, live, linked)
        case "again":
            return _again(state)
        case "pause" | "resume":
            return Step(msgspec.structs.replace(state, paused=gesture == "pause"))
        case "goto":
            return _goto(state, station)
    if state.paused:
        return _refuse(state, "paused", "paused: resume first")
    if bounced:
        return _refuse(state, "too soon", "second press: gone one station only")
    match gesture:
        case "skip":
            return _skip(state)
        case "back":
            return _back(state)
        case "retake":
            return _goto(state, state.used_station) if state.used_station else _back(state)
    raise ValueError(f"no gesture is called {gesture!r}")


def dwell(state: WalkState, now: float, live: Settled, linked: bool = True) -> Step | None:
    """The capture that standing still long enough makes by itself; None when it is not yet one.

    Asked at every reading. A true lift arms the next: a contact that has been used makes no second
    capture, nor does one that stood when the walk was moved; and a lifted spindle or the bare
    tongue, however still, is not waited for.
    """
    due = (
        state.trigger == "dwell"
        and not state.paused
        and state.place is not None
        and live.standing == "settled"
        and not _is_visit(state, live, state.used_contact)
        and not _is_visit(state, live, state.stood)
        and not _was_landing(state, live)
        and live.still >= state.walking.dwell
        and _is_cane(state.walking, live.value)
    )
    return _capture(state, now, live, linked) if due else None


def captured(state: WalkState, take: Take) -> WalkState:
    """The walk after a capture has been made durable: it stands at the next station."""
    key = take.stop.station.key
    taken = {
        **state.taken,
        key: Taken(take.hundredths, take.resolution, take.verdict, take.in_pass),
    }
    index = state.stops.index(take.stop)
    state = msgspec.structs.replace(
        state,
        taken=taken,
        skipped=state.skipped - {index},
        used_contact=take.contact,
        used_station=key,
    )
    here = state.queue.index(index) if index in state.queue else 0
    return msgspec.structs.replace(state, place=_next_place(state, here))


def verdicts_of(state: WalkState, zone: str) -> list[Verdict | None]:
    """The verdicts of a zone's stations in the order of the walk, None where none was captured."""
    found = [state.taken.get(stop.station.key) for stop in state.stops if stop.zone == zone]
    return [None if each is None else each.verdict for each in found]


def zone(state: WalkState, name: str) -> Verdict | None:
    """The verdict of a zone as a whole, None while it is open."""
    return zone_verdict(verdicts_of(state, name))


def zones(state: WalkState) -> dict[str, Verdict | None]:
    """The verdict of each zone of the stage, in the stage's order."""
    return {name: zone(state, name) for name in dict.fromkeys(stop.zone for stop in state.stops)}


def to_go(state: WalkState) -> int:
    """Hundredths still to be taken off, summed over the stations measured so far."""
    return sum(each.verdict.amount for each in state.taken.values() if each.verdict.word == "take")


def _refuse(state: WalkState, why: Why, text: str) -> Step:
    return Step(state, said=Said(why, text))


def _is_cane(walking: Walking, value: Decimal | None) -> bool:
    return value is not None and walking.thinnest <= value <= walking.thickest


def _capture(state: WalkState, now: float, live: Settled | None, linked: bool) -> Step:
    if state.paused:
        return _refuse(state, "paused", "paused: resume first")
    if state.place is None:
        # The pedal alone must be able to go on: a press at the end begins the next pass.
        return _again(state)
    said = _fault(state, now, live, linked)
    stop = state.stop
    if said is not None or live is None or live.value is None or stop is None:
        return Step(state, said=said)
    return Step(
        state,
        take=Take(
            stop=stop,
            hundredths=live.value,
            resolution=live.resolution,
            verdict=verdict(live.value, stop.target, stop.tolerance, live.resolution),
            in_pass=state.in_pass,
            contact=live.contact,
            at=live.at,
        ),
    )


def _fault(state: WalkState, now: float, live: Settled | None, linked: bool) -> Said | None:
    """Why the newest reading cannot be captured here and now, None when it can."""
    if not linked:
        return Said("link lost", "the gauge's link is down: nothing taken")
    if live is None:
        return Said("no reading", "the gauge has sent nothing yet")
    age = now - live.at
    if age > state.walking.stale:
        return Said("stale", f"the last reading is {age:.1f} s old: nothing taken")
    if live.standing != "settled" or live.value is None:
        return Said("moving", "not settled yet: hold still and press again")
    if not _is_cane(state.walking, live.value):
        return Said("not cane", f"{live.value:f} is no thickness of cane: is the spindle down?")
    stop = state.stop
    if _is_visit(state, live, state.used_contact):
        if stop is None or stop.station.key == state.used_station:
            return None
        since = state.used_station or "the walk began"
        return Said("same contact", f"not lifted since {since}: place it anew")
    if _is_visit(state, live, state.stood) or _was_landing(state, live):
        return Said("same contact", "it stood there before the walk moved: place it anew")
    return None


def _is_visit(state: WalkState, live: Settled, contact: int) -> bool:
    """Whether the spindle still stands where it stood in that contact.

    Where the pedal captures, whoever presses again means another place, however soon that is.
    """
    first = live.contact - (live.unlifted if state.trigger == "dwell" else 0)
    return first <= contact <= live.contact


def _was_landing(state: WalkState, live: Settled) -> bool:
    """Whether the present contact was under way when a gesture last moved the walk."""
    began = live.at - live.still - live.earlier
    return state.landing is not None and began < state.landing


def _at(state: WalkState, place: int) -> WalkState:
    return msgspec.structs.replace(state, place=place, skipped=state.skipped - {state.queue[place]})


def _goto(state: WalkState, key: str) -> Step:
    if state.paused:
        return _refuse(state, "paused", "paused: resume first")
    for index, stop in enumerate(state.stops):
        if stop.station.key == key:
            if index not in state.queue:
                queue = tuple(sorted({*state.queue, index}))
                state = msgspec.structs.replace(state, queue=queue)
            return Step(_at(state, state.queue.index(index)))
    return _refuse(state, "nowhere", f"this stage has no station {key!r}")


def _back(state: WalkState) -> Step:
    before = (len(state.queue) if state.place is None else state.place) - 1
    if before < 0:
        return _refuse(state, "nowhere", "this is the first station")
    return Step(_at(state, before))


def _skip(state: WalkState) -> Step:
    here = state.place
    if here is None:
        return _refuse(state, "done", "every station of this pass is done")
    state = msgspec.structs.replace(state, skipped=state.skipped | {state.queue[here]})
    return Step(msgspec.structs.replace(state, place=_next_place(state, here)))


def _again(state: WalkState) -> Step:
    """A new pass over what is not yet on target: to be taken down, or never measured."""
    if state.paused:
        return _refuse(state, "paused", "paused: resume first")
    queue = tuple(
        index
        for index, stop in enumerate(state.stops)
        if (found := state.taken.get(stop.station.key)) is None or found.verdict.word == "take"
    )
    if not queue:
        return _refuse(state, "done", "nothing is left to take at this stage")
    return Step(
        msgspec.structs.replace(
            state, queue=queue, place=0, in_pass=state.in_pass + 1, skipped=frozenset()
        )
    )


def _next_place(state: WalkState, here: int) -> int | None:
    """The next place in the queue that is neither captured in this pass nor skipped."""
    count = len(state.queue)
    order: Sequence[int] = [*range(here + 1, count), *range(min(here + 1, count))]
    for place in order:
        index = state.queue[place]
        if index not in state.skipped and not state.is_taken(state.stops[index]):
            return place
    return None
