"""The walks at the hub's benches: presses in, captures on disk, and everybody told.

A bench carries out one gesture at a time. A capture is written first; only when the store says
that it is durable does the walk move on, and only then is anyone told.

While a zone is watched the walk waits: whatever stands, comes or is pressed makes no capture, and
once the watch is left the walk stands exactly where it stood.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import NamedTuple

import msgspec

from gaugelink.capture import walk
from gaugelink.capture.settling import Settled
from gaugelink.capture.walk import Gesture, Said, Step, Take, WalkState, Why
from gaugelink.craft.reed import Blade
from gaugelink.craft.soaking import Wetness
from gaugelink.craft.style import Style
from gaugelink.craft.verdict import LEAVE
from gaugelink.daemon.gauges import Gauge
from gaugelink.daemon.keeper import Keeper
from gaugelink.daemon.messages import (
    Captured,
    Event,
    Refused,
    SoakReminder,
    StopView,
    WalkEvent,
    Where,
    ZoneAlert,
    ZoneView,
    ZoneWatched,
)
from gaugelink.daemon.soaking import ReedInHand
from gaugelink.daemon.sureness import Sureness
from gaugelink.daemon.watching import Watch
from gaugelink.reading import Reading
from gaugelink.store.errors import StoreError
from gaugelink.store.records import NewCapture

Outcome = Captured | Refused | WalkEvent
"""What a gesture led to."""


class _Moment(NamedTuple):
    """What a capture is taken from, besides what the gauge's reading amounts to."""

    reading: Reading | None
    wet: Wetness


class Bench:
    """One place where a reed is walked."""

    def __init__(
        self,
        name: str,
        number: int,
        state: WalkState,
        style: Style,
        gauge: Gauge,
        keeper: Keeper,
        clock: Callable[[], float],
        tell: Callable[[Event], None],
        soaking: ReedInHand,
        sure: Sureness,
    ) -> None:
        self.name = name
        self.gauge = gauge
        self._number = number
        self._state = state
        self._style = style
        self._keeper = keeper
        self._clock = clock
        self._tell = tell
        self._soaking = soaking
        self._sure = sure
        self._watch: Watch | None = None
        self._one_at_a_time = asyncio.Lock()
        self._last: Reading | None = None
        self._first: Reading | None = None
        self._armed = False
        soaking.begin(lambda: tell(self.event()), self._remind)

    @property
    def state(self) -> WalkState:
        """The walk as it stands."""
        return self._state

    async def press(self, gesture: Gesture, station: str = "") -> Outcome:
        """Carry out a gesture; returns when what it did is durable, or with the refusal.

        While a zone is watched it ends the watch, and does nothing else: the spindle stands on that
        zone, not at the walk's station, and a foot is all that a maker with full hands has to say
        that this is over.

        Once asked for it is carried out, even if whoever waits for it is cancelled.
        """
        # All as it is now: while an earlier gesture is being written the spindle may move on.
        now, live, linked = self._clock(), self.gauge.live, self.gauge.linked
        seen = self._moment(self._last)

        async def whole() -> Outcome:
            async with self._one_at_a_time:
                if self._watch is not None:
                    return self._unwatch(now, live, gesture)
                step = walk.press(self._state, gesture, now, live, linked, station)
                return await self._carry_out(self._unless_it_stood(step), seen)

        return await asyncio.shield(whole())

    def wants_capture(self, reading: Reading, live: Settled) -> bool:
        """Whether this reading makes a capture by itself: by dwell, or pushed by its own button."""
        self._last = reading
        if not (self._armed or reading.pushed):
            self._arm(reading)
        if self._watch is not None:
            self._look(self._watch, live)
            return False
        if reading.pushed:
            # Every push is somebody's: one that comes while another is written waits its turn.
            return True
        if self._one_at_a_time.locked():
            return False
        return walk.dwell(self._state, self._clock(), live, self.gauge.linked) is not None

    def _arm(self, reading: Reading) -> None:
        """A lift arms the first capture too.

        A spindle that stood on the reed when the walk began or was resumed may stand on the station
        before: nothing has been seen that says otherwise.
        """
        if self._first is None:
            self._first = reading
        away = abs(reading.hundredths - self._first.hundredths)
        self._armed = away >= self._style.settling.lift

    async def capture_by_itself(self, reading: Reading, live: Settled) -> None:
        """Take what `wants_capture` found, if it still stands when its turn has come."""
        await asyncio.shield(self._take_by_itself(self._moment(reading), reading, live))

    async def _take_by_itself(self, seen: _Moment, reading: Reading, live: Settled) -> None:
        async with self._one_at_a_time:
            if self._watch is not None:
                # It began before this had its turn.
                if reading.pushed:
                    self._refuse("paused", "a zone is watched: nothing taken")
                return
            if reading.pushed:
                # The link was up when it came, whatever has become of it since.
                step = walk.press(self._state, "capture", reading.at, live)
            elif (due := walk.dwell(self._state, self._clock(), live, self.gauge.linked)) is None:
                return
            else:
                step = self._unless_it_stood(due)
            await self._carry_out(step, seen)

    def _moment(self, reading: Reading | None) -> _Moment:
        return _Moment(reading, self._soaking.water.wet)

    def _unless_it_stood(self, step: Step) -> Step:
        """The step, or a refusal of what it takes from a spindle that was not lifted yet."""
        if step.take is None or self._armed:
            return step
        # From now on the contact's number tells whether it has been lifted.
        self._armed = True
        text = "it stood there when the walk began: lift it and place it anew"
        state = msgspec.structs.replace(step.state, used_contact=step.take.contact)
        return Step(state, said=Said("same contact", text))

    async def _carry_out(self, step: Step, seen: _Moment) -> Outcome:
        if step.take is not None:
            return await self._save(step, step.take, seen)
        before, after = self._state, step.state
        if step.said is not None:
            self._state = after
            return self._refuse(step.said.why, step.said.text)
        if _lasting(before) != _lasting(after):
            try:
                await self._keeper.run(self._keeper.store.save_walk, self._number, _encode(after))
            except StoreError as error:
                # The walk stands where it stood; only the press is remembered.
                pressed = {"last_press": after.last_press, "last_gesture": after.last_gesture}
                self._state = msgspec.structs.replace(before, **pressed)
                return self._refuse("not saved", str(error))
        self._state = after
        return self._told()

    async def _save(self, step: Step, take: Take, seen: _Moment) -> Outcome:
        before, after = self._state, walk.captured(step.state, take)
        try:
            captured = await self._write(take, after, seen)
        except StoreError as error:
            # As above: a step with something to take changes nothing else.
            self._state = step.state
            return self._refuse("not saved", str(error))
        self._state = after
        self._tell(captured)
        # Whoever pressed waits for the answer; what it means for the walk follows at once.
        asyncio.get_running_loop().call_soon(self._tell_what_follows, before, after, take.stop.zone)
        return captured

    def _refuse(self, why: Why, text: str) -> Refused:
        refused = Refused(self.name, why, text)
        self._tell(refused)
        return refused

    def _tell_what_follows(self, before: WalkState, after: WalkState, zone: str) -> None:
        # The zone before the walk: whoever ends with the walk has heard of its last zone by then.
        if walk.zone(after, zone) == LEAVE and walk.zone(before, zone) != LEAVE:
            self._tell(ZoneAlert(self.name, after.reed, zone, self._style.zone(zone).title))
        if self._state is after:
            self._tell(self.event())

    async def _write(self, take: Take, after: WalkState, seen: _Moment) -> Captured:
        stop, reading = take.stop, seen.reading
        new = NewCapture(
            walk=self._number,
            in_pass=take.in_pass,
            station=stop.station.key,
            zone=stop.zone,
            hundredths=take.hundredths,
            resolution=take.resolution,
            target=stop.target,
            tolerance=stop.tolerance,
            verdict=take.verdict,
            gauge=self.gauge.name,
            unit=reading.unit if reading else "",
            value=reading.value if reading else "",
            contact=take.contact,
            at=take.at,
            wet=seen.wet,
        )
        store = self._keeper.store
        record = await self._keeper.run(store.add_capture, new, _encode(after))
        return Captured(
            capture=record.capture,
            bench=self.name,
            gauge=self.gauge.name,
            reed=after.reed,
            stage=after.stage,
            station=new.station,
            zone=new.zone,
            hundredths=record.hundredths,
            resolution=record.resolution,
            target=record.target,
            tolerance=record.tolerance,
            verdict=record.verdict,
            in_pass=record.in_pass,
            supersedes=record.supersedes,
            taken_at=record.taken_at,
            at=record.at,
            wet=record.wet,
            sure=self._sure.of(take),
        )

    # Soaking, and watching a zone

    def soak(self, where: Where) -> WalkEvent:
        """The maker says where the reed goes."""
        self._soaking.go(where)
        return self._told()

    def _remind(self, minutes: int) -> None:
        self._tell(SoakReminder(self.name, self._state.reed, minutes))

    async def watch(self, zone: str, blade: Blade | None) -> ZoneWatched:
        """Watch a zone from now on, anew if it was watched before.

        The walk waits as it stands. StyleError when the stage does not measure that zone.
        """
        async with self._one_at_a_time:
            contact = self.gauge.live.contact if self.gauge.live else 0
            self._watch = Watch(self._style, self._state.stage, zone, blade, contact)
            self._told()
            event = self._watch.event(self.name, self._state.reed)
            self._tell(event)
            return event

    async def stop_watching(self) -> WalkEvent:
        """Go on with the walk where it stood."""
        async with self._one_at_a_time:
            if self._watch is None:
                return self.event()
            return self._unwatch(self._clock(), self.gauge.live)

    def _look(self, watch: Watch, live: Settled) -> None:
        if not watch.sees(live):
            return
        event = watch.event(self.name, self._state.reed)
        self._tell(event)
        if event.alert and event.verdict is not None:
            self._tell(ZoneAlert(self.name, event.reed, event.zone, event.title, event.verdict))

    def _unwatch(self, now: float, live: Settled | None, by: Gesture | None = None) -> WalkEvent:
        before, self._watch = self._state, None
        # As after a pause in a walk by dwell: what stands there, or is on its way, was meant for
        # the zone. That holds for a press too.
        waiting = msgspec.structs.replace(before, trigger="dwell")
        after = walk.press(waiting, "resume", now, live).state
        pressed = (now, by) if by is not None else (before.last_press, before.last_gesture)
        self._state = msgspec.structs.replace(
            before,
            stood=after.stood,
            landing=after.landing,
            last_press=pressed[0],
            last_gesture=pressed[1],
        )
        return self._told()

    def _told(self) -> WalkEvent:
        event = self.event()
        self._tell(event)
        return event

    async def leave(self) -> None:
        """Leave the walk as it stands; a complete one is closed."""
        await self._soaking.end()
        async with self._one_at_a_time:
            ended = _complete(self._state)
            await self._keeper.run(
                self._keeper.store.save_walk, self._number, _encode(self._state), ended=ended
            )

    def event(self) -> WalkEvent:
        """The walk, whole, as followers get it."""
        state, style = self._state, self._style
        stage, after = style.stage(state.stage), style.after(state.stage)
        queued = set(state.queue)
        upcoming = state.upcoming
        return WalkEvent(
            bench=self.name,
            gauge=self.gauge.name,
            reed=state.reed,
            style=state.style,
            stage=state.stage,
            title=stage.title,
            note=stage.note,
            trigger=state.trigger,
            stops=[_stop_view(state, index, index in queued) for index in range(len(state.stops))],
            zones=[
                ZoneView(zone, style.zone(zone).title, verdict)
                for zone, verdict in walk.zones(state).items()
            ],
            at_stop=None if state.place is None else state.queue[state.place],
            next_stop=None if upcoming is None else state.stops.index(upcoming),
            in_pass=state.in_pass,
            paused=state.paused,
            done=sum(
                index in state.skipped or state.is_taken(state.stops[index])
                for index in state.queue
            ),
            of=len(state.queue),
            to_go=walk.to_go(state),
            complete=_complete(state),
            dwell=state.walking.dwell,
            still_for=style.settling.still_for,
            length=stage.length,
            tip_line=style.lengths.tip_line,
            after=after.name if after else "",
            after_title=after.title if after else "",
            overnight=after is not None and after.day != stage.day,
            water=self._soaking.water,
            watching=self._watch.zone if self._watch else "",
        )


def _stop_view(state: WalkState, index: int, queued: bool) -> StopView:
    stop = state.stops[index]
    taken = state.taken.get(stop.station.key)
    return StopView(
        station=stop.station.key,
        zone=stop.zone,
        target=stop.target,
        tolerance=stop.tolerance,
        hundredths=taken.hundredths if taken else None,
        verdict=taken.verdict if taken else None,
        in_pass=taken.in_pass if taken else 0,
        queued=queued,
        skipped=index in state.skipped,
    )


def _complete(state: WalkState) -> bool:
    return all(
        (taken := state.taken.get(stop.station.key)) is not None and taken.verdict.word != "take"
        for stop in state.stops
    )


def _lasting(state: WalkState) -> WalkState:
    """The state without what only this run of the program knows."""
    return walk.resumed(state)


def _encode(state: WalkState) -> bytes:
    return msgspec.json.encode(walk.resumed(state))
