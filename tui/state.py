"""What the bench knows, folded event by event: a pure function from what the hub says.

Nothing is asked of a clock: a line that was said stands until the next one takes its place.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Literal

import msgspec

from gaugelink.capture.walk import UNTAKEN
from gaugelink.craft.advice import Step
from gaugelink.craft.reed import Station, parse_key
from gaugelink.craft.verdict import Verdict, verdict
from gaugelink.daemon.messages import (
    Advice,
    Captured,
    Event,
    GaugeEvent,
    GaugeGone,
    RawEvent,
    ReadingEvent,
    Refused,
    SoakReminder,
    StopView,
    Taught,
    TeachingEvent,
    WalkEvent,
    Water,
    ZoneAlert,
    ZoneWatched,
)
from tui.gauged import let_go, renamed, unread
from tui.words import dip_again, number, place

Kind = Literal["plain", "captured", "refused", "trouble"]

PLACE_ANEW = {"same contact", "not cane"}
"""Refusals after which the spindle has to be set down anew."""

NO_WALK = "no walk yet: choose a reed and a stage first"

REMEMBERED = 12
"""Captures that the list of the newest ones can show at most."""

THICKEST_SHOWN = Decimal(150)
"""Hundredths; above it the spindle is in the air, and a verdict on it would be noise."""


@dataclass(frozen=True, slots=True)
class Notice:
    """The last line that was said."""

    kind: Kind
    text: str
    aside: str = ""
    """Said beside it, without taking its place."""
    lasting: bool = False
    """Stands also when a walk begins; only what is said next takes its place."""


@dataclass(frozen=True, slots=True)
class Scraped:
    """What the knife of practice has just done."""

    station: str
    zone: str
    """Its title."""
    strokes: int

    @property
    def said(self) -> str:
        """In words: `5 strokes · windows, crossed side, left`."""
        strokes = f"{self.strokes} stroke{'s' if self.strokes > 1 else ''}"
        try:
            station = parse_key(self.station)
        except ValueError:
            return f"{strokes} · {self.zone}, {self.station}"
        return f"{strokes} · {self.zone}, {station.blade} side, {station.side}"


@dataclass(frozen=True, slots=True)
class BenchState:
    """Everything that the bench shows."""

    bench: str = "bench"
    gauge: str = ""
    """The gauge in use when there is no walk."""
    hub: Literal["waiting", "here", "gone"] = "waiting"
    hub_reason: str = ""
    gauges: dict[str, GaugeEvent] = field(default_factory=dict)
    let_go: frozenset[str] = frozenset()
    """Gauges that were there, and were let go of."""
    reading: ReadingEvent | None = None
    quiet: bool = False
    """No reading has come for a while, though the link is up."""
    missed: int = 0
    walk: WalkEvent | None = None
    notice: Notice | None = None
    alert: str = ""
    """The zone that has just come on target."""
    scraped: Scraped | None = None
    """In practice: the last scrape, until the walk goes on."""
    watched: ZoneWatched | None = None
    """How the zone stands that is watched; None while none is, or before that is told."""
    advice: Advice | None = None
    """What was last advised on this walk."""
    muted: bool = False
    """All sounds are turned off."""
    captures: tuple[Captured, ...] = ()
    """The newest captures of this walk, newest first."""

    @property
    def in_use(self) -> str:
        """The name of the gauge in use."""
        return self.walk.gauge if self.walk else self.gauge

    @property
    def link(self) -> GaugeEvent | None:
        """The gauge in use and its link."""
        return self.gauges.get(self.in_use)

    @property
    def without(self) -> bool:
        """Whether the gauge in use was let go of."""
        return self.in_use in self.let_go

    @property
    def linked(self) -> bool:
        """Whether what the readout shows is what the gauge says now."""
        up = self.link is None or self.link.link == "up"
        return self.hub == "here" and up and not self.without

    @property
    def water(self) -> Water:
        """Where the reed in hand is, and whether it is wet."""
        return self.walk.water if self.walk else Water()

    @property
    def watching(self) -> str:
        """The name of the zone that is watched; empty when none is."""
        return self.walk.watching if self.walk else ""

    @property
    def stop(self) -> StopView | None:
        """The station to measure now."""
        return self.walk.stop(self.walk.at_stop) if self.walk else None

    @property
    def next_stop(self) -> StopView | None:
        """The station after it."""
        return self.walk.stop(self.walk.next_stop) if self.walk else None

    @property
    def station(self) -> Station | None:
        """The place of the present station; None when its key names no place."""
        if self.stop is None:
            return None
        try:
            return parse_key(self.stop.station)
        except ValueError:
            return None

    @property
    def first_step(self) -> Step | None:
        """What to take first, while a pass is done and was advised on; None for nothing to take."""
        walk, advice = self.walk, self.advice
        if walk is None or walk.at_stop is not None or advice is None or not advice.steps:
            return None
        return advice.steps[0] if _fits(advice, walk) else None

    def at(self, station: Station) -> StopView | None:
        """The station of the walk at a place; None when the stage has none there."""
        stops = self.walk.stops if self.walk else ()
        return next((stop for stop in stops if stop.station == station.key), None)

    @property
    def live(self) -> Decimal | None:
        """Hundredths that the readout shows: the settled value, else the newest."""
        if self.reading is None:
            return None
        settled = self.reading.settled
        return self.reading.hundredths if settled is None else settled

    @property
    def stands(self) -> bool:
        """Whether what the readout shows has settled, and is not of an earlier time."""
        reading = self.reading
        return bool(reading and reading.standing == "settled" and self.linked and not self.quiet)

    @property
    def spent(self) -> bool:
        """Whether what stands in the readout has been captured, and the walk has gone on.

        It says nothing about the station to measure now until the spindle has been lifted.
        """
        reading = self.reading
        if not self.captures or reading is None or reading.standing != "settled":
            return False
        last = self.captures[0]
        here = self.stop is not None and self.stop.station == last.station
        return not here and reading.at - reading.still <= last.at

    @property
    def verdict(self) -> Verdict | None:
        """The verdict on the live value here; None without a station, or with no cane under it."""
        live, stop, reading = self.live, self.stop, self.reading
        if live is None or stop is None or reading is None or not self.linked or self.quiet:
            return None
        if self.spent:
            return None
        if not 0 < live <= THICKEST_SHOWN:
            return None
        return verdict(live, stop.target, stop.tolerance, reading.resolution)


def see(state: BenchState, event: Event) -> BenchState:
    """The state after an event; one of another bench or another gauge's reading changes nothing."""
    if isinstance(event, ReadingEvent):
        if event.gauge != state.in_use:
            return state
        return replace(state, reading=event, quiet=False, missed=state.missed + event.missed)
    if isinstance(event, GaugeEvent):
        gauges = {**state.gauges, event.name: event}
        state = replace(state, gauges=gauges, let_go=state.let_go - {event.name})
        return unread(state, event.name) if event.link != "up" else state
    if isinstance(event, GaugeGone):
        return renamed(state, event) if event.renamed else let_go(state, event.name)
    if isinstance(event, RawEvent | TeachingEvent | Taught):
        return state  # the page of the gauges is told of them
    if event.bench != state.bench:
        return state
    if isinstance(event, WalkEvent):
        return _walked(state, event)
    if isinstance(event, Captured):
        said = f"{number(event.hundredths)}, {event.verdict} · {place(event.station)}"
        anew = "" if event.supersedes is None else "takes the place of the last"
        captures = (event, *state.captures)[:REMEMBERED]
        notice = Notice("captured", said, " · ".join(filter(None, (event.sure, anew))))
        return replace(state, notice=notice, captures=captures, alert="", scraped=None)
    if isinstance(event, ZoneAlert):
        if event.verdict.word == "over":
            said = f"{event.title}: {event.verdict}: put the knife down"
            return replace(state, notice=Notice("trouble", said))
        return replace(state, alert=event.title)
    if isinstance(event, ZoneWatched):
        left = event.verdict is not None and event.verdict.word == "leave"
        return replace(state, watched=event, alert=state.alert if left else "")
    if isinstance(event, Advice):
        return replace(state, advice=event) if _is_of(event, state.walk) else state
    if isinstance(event, SoakReminder):
        return replace(state, notice=Notice("plain", dip_again(event.reed, event.minutes)))
    return _refused(state, event) if isinstance(event, Refused) else state


def _refused(state: BenchState, event: Refused) -> BenchState:
    if event.why == "done" and state.walk is not None and state.walk.complete:
        # Nothing went wrong: the banner already says what follows. What the answer to the press
        # led to may have been said before this event came, and stands.
        return replace(state, notice=None if _is_refusal(state.notice) else state.notice)
    if event.why == "too soon":
        # A bounce of the pedal is no trouble, and what it followed must stay readable.
        kept = state.notice or Notice("plain", "")
        return replace(state, notice=replace(kept, aside=event.text))
    lead = "NOT TAKEN · " if event.why in UNTAKEN else ""
    return replace(state, notice=Notice("refused", lead + event.text))


def wants_placing(event: Event, after: BenchState, lifted: bool) -> bool:
    """Whether a capture was refused because the spindle has to be set down, or set down anew."""
    if not isinstance(event, Refused) or event.bench != after.bench:
        return False
    return event.why in (UNTAKEN if lifted else PLACE_ANEW)


def hushed(state: BenchState) -> BenchState:
    """The state once no reading has come for a while; a gauge sent by its button is never late."""
    if state.reading is None or state.reading.pushed:
        return state
    return replace(state, quiet=True)


def scraped(state: BenchState, stop: StopView, strokes: int) -> BenchState:
    """The state after so many more strokes at a station."""
    last = state.scraped
    if last is not None and last.station == stop.station:
        strokes += last.strokes
    title = state.walk.zone_title(stop.zone) if state.walk else stop.zone
    return replace(state, scraped=Scraped(stop.station, title, strokes), alert="")


def why_not_next(walk: WalkEvent | None) -> Notice | None:
    """Why the stage that follows cannot be started now; None when it can."""
    if walk is None:
        return Notice("trouble", NO_WALK)
    if walk.at_stop is not None and not walk.complete:
        return Notice("trouble", f"this pass is not done yet: {walk.done} of {walk.of}")
    if not walk.after:
        return Notice("plain", "this was the last stage: nothing follows it")
    return None


def night(state: BenchState) -> Notice | None:
    """What a press says where the reed rests before the stage that follows; None by day.

    A pedal that was meant for a capture must not carry the reed over into another day.
    """
    walk = state.walk
    if walk is None or not walk.overnight:
        return None
    after = walk.after_title or walk.after
    return Notice("plain", f"let it rest overnight; tomorrow 'next' begins: {after}")


def gone(state: BenchState, reason: str) -> BenchState:
    """The state once the hub went away: nothing that it said of readings holds any longer."""
    walk = state.walk
    if walk is not None:
        walk = msgspec.structs.replace(walk, watching="")
    return replace(
        state,
        hub="gone",
        hub_reason=reason,
        reading=None,
        gauges={},
        let_go=frozenset(),
        walk=walk,
        watched=None,
    )


def _walked(state: BenchState, event: WalkEvent) -> BenchState:
    before = state.walk
    same = before is not None and (before.reed, before.style, before.stage) == (
        event.reed,
        event.style,
        event.stage,
    )
    if not same:
        lasting = state.notice if state.notice and state.notice.lasting else None
        return replace(
            state,
            walk=event,
            captures=(),
            notice=lasting,
            advice=None,
            alert="",
            scraped=None,
            watched=None,
        )
    moved = before is not None and (before.at_stop, before.paused, before.in_pass) != (
        event.at_stop,
        event.paused,
        event.in_pass,
    )
    left = before is not None and before.watching != event.watching
    # A refusal is answered by the next move; a capture stays readable through the move it causes.
    return replace(
        state,
        walk=event,
        notice=None if moved and _is_refusal(state.notice) else state.notice,
        alert=state.alert if not left and before and before.in_pass == event.in_pass else "",
        scraped=None if moved else state.scraped,
        watched=None if left else state.watched,
    )


def _is_of(advice: Advice, walk: WalkEvent | None) -> bool:
    return walk is not None and (advice.reed, advice.stage) == (walk.reed, walk.stage)


def _fits(advice: Advice, walk: WalkEvent) -> bool:
    """Whether it is on the values that the walk has now: a retake makes it out of date."""
    excess = {
        stop.station: None if stop.hundredths is None else float(stop.hundredths - stop.target)
        for stop in walk.stops
    }
    return excess == {each.station.key: each.excess for each in advice.stations}


def _is_refusal(notice: Notice | None) -> bool:
    return notice is not None and notice.kind == "refused"
