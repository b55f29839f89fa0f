"""What a bench hears of what the hub says: from events to cues, as a pure function.

Whoever follows a bench keeps a `Hearing`, gives it every event in order, and offers the cues to a
speaker in the order in which they come. Of several gauges and benches only its own are heard.
"""

from __future__ import annotations

import msgspec

from gaugelink.capture.walk import UNTAKEN
from gaugelink.craft.reed import Station, parse_key
from gaugelink.craft.verdict import LEAVE
from gaugelink.cues import cue
from gaugelink.cues.cue import Cue
from gaugelink.daemon.messages import (
    Captured,
    Event,
    GaugeEvent,
    GaugeGone,
    Refused,
    SoakReminder,
    WalkEvent,
    ZoneAlert,
)

HUB = "hub"
"""What the hub is called where its own loss is told."""


class Hearing(msgspec.Struct, frozen=True):
    """What a bench was told so far, as far as what it hears next depends on it."""

    bench: str
    gauge: str = ""
    """The gauge in use when there is no walk."""
    walk: WalkEvent | None = None
    down: frozenset[str] = frozenset()
    """Gauges whose link went down or that were let go of, and are not up again."""
    lost: str = ""
    """The gauge in use, once its loss was told and while it lasts."""
    away: bool = False
    """The hub's own loss was told, and lasts."""
    place: tuple[str, ...] = ()
    """The station that was told last, with its walk and pass; empty when there is none."""
    captured: str = ""
    """The zone of a capture whose consequences the hub has not told yet."""
    ahead: str = ""
    """A zone that was told to be on target before the hub's own word of it."""

    @property
    def in_use(self) -> str:
        """The name of the gauge in use."""
        return self.walk.gauge if self.walk else self.gauge


Heard = tuple[Hearing, tuple[Cue, ...]]
"""What is known afterwards, and the cues to offer, first to last."""


def hear(known: Hearing, event: Event) -> Heard:
    """Take in an event; most are nothing to be heard."""
    cues: tuple[Cue, ...] = ()
    match event:
        case GaugeEvent():
            known = _told_of_gauge(known, event)
        case GaugeGone():
            known = _let_go(known, event)
        case Captured() if event.bench == known.bench:
            known, cues = _captured(known, event)
        case Refused() if event.bench == known.bench:
            cues = _refused(known, event)
        case WalkEvent() if event.bench == known.bench:
            known, cues = _walked(known, event)
        case ZoneAlert() if event.bench == known.bench:
            known, cues = _on_target(known, event)
        case SoakReminder() if event.bench == known.bench:
            cues = (cue.SoakReminder(event.reed, event.minutes),)
    known, links = _links(known)
    return known, (*cues, *links)


def measured_with(known: Hearing, gauge: str) -> Heard:
    """Take in that another gauge is the bench's own; a walk goes on with the one it has."""
    return _links(msgspec.structs.replace(known, gauge=gauge))


def hub_lost(known: Hearing) -> Heard:
    """Take in that the hub is away: once it is back, it tells anew of gauges and walk."""
    left = Hearing(known.bench, known.in_use, away=True)
    return left, () if known.away else (cue.LinkLost(HUB),)


def hub_back(known: Hearing) -> Heard:
    """Take in that the hub is there, for the first time or again."""
    here = msgspec.structs.replace(known, away=False)
    return here, (cue.LinkBack(HUB),) if known.away else ()


def _told_of_gauge(known: Hearing, event: GaugeEvent) -> Hearing:
    # While it is opening, a link that was lost still is: each new try would be one more loss.
    down = known.down
    if event.link == "down":
        down |= {event.name}
    elif event.link == "up":
        down -= {event.name}
    return msgspec.structs.replace(known, down=down)


def _let_go(known: Hearing, event: GaugeGone) -> Hearing:
    old, new = event.name, event.renamed
    if not new:
        return msgspec.structs.replace(known, down=known.down | {old})
    walk = known.walk
    if walk is not None and walk.gauge == old:
        walk = msgspec.structs.replace(walk, gauge=new)
    return msgspec.structs.replace(
        known,
        gauge=new if known.gauge == old else known.gauge,
        walk=walk,
        down=frozenset(new if name == old else name for name in known.down),
        lost=new if known.lost == old else known.lost,
    )


def _links(known: Hearing) -> Heard:
    """Tell of the gauge in use what was not told yet."""
    gauge = known.in_use
    if gauge in known.down:
        cues: tuple[Cue, ...] = () if known.lost == gauge else (cue.LinkLost(gauge),)
        return msgspec.structs.replace(known, lost=gauge), cues
    cues = (cue.LinkBack(gauge),) if gauge and known.lost == gauge else ()
    return msgspec.structs.replace(known, lost=""), cues


def _captured(known: Hearing, event: Captured) -> Heard:
    known = msgspec.structs.replace(known, captured=event.zone, ahead="")
    station = _station(event.station)
    if station is None:
        return known, ()
    zone = known.walk.zone_title(event.zone) if known.walk else event.zone
    return known, (cue.Captured(station, zone, event.hundredths, event.verdict),)


def _refused(known: Hearing, event: Refused) -> tuple[Cue, ...]:
    if event.why == "too soon":
        return ()  # a pedal that bounced: what it followed is still being said
    if event.why == "done" and known.walk is not None and known.walk.complete:
        return ()  # nothing went wrong: there is nothing left to do
    return (cue.Refused(event.text, capture=event.why in UNTAKEN),)


def _walked(known: Hearing, event: WalkEvent) -> Heard:
    cues: list[Cue] = []
    ahead = known.ahead
    if _came_on_target(known, event):
        # The hub says so only after the walk has gone on, and the next station would come first.
        ahead = known.captured
        cues.append(cue.OnTarget(event.zone_title(ahead)))
    stop = event.stop(event.at_stop)
    place = known.place
    if stop is None or event.watching:
        # After a watch the spindle has to come back, and is told where to.
        place = ()
    elif not event.paused:
        place = (event.reed, event.style, event.stage, str(event.in_pass), stop.station)
        station = _station(stop.station)
        if place != known.place and station is not None:
            cues.append(cue.NextStation(station, event.zone_title(stop.zone)))
    known = msgspec.structs.replace(known, walk=event, place=place, captured="", ahead=ahead)
    return known, tuple(cues)


def _came_on_target(known: Hearing, event: WalkEvent) -> bool:
    """Whether the zone of the last capture has just come on target."""
    before = known.walk
    if before is None or (before.reed, before.style, before.stage) != (
        event.reed,
        event.style,
        event.stage,
    ):
        return False

    def on_target(walk: WalkEvent) -> bool:
        return any(zone.name == known.captured and zone.verdict == LEAVE for zone in walk.zones)

    return on_target(event) and not on_target(before)


def _on_target(known: Hearing, event: ZoneAlert) -> Heard:
    told = event.zone == known.ahead
    known = msgspec.structs.replace(known, captured="", ahead="")
    if event.verdict.word == "over":
        return known, (cue.ZoneOver(event.title, event.verdict),)
    return known, () if told else (cue.OnTarget(event.title),)


def _station(key: str) -> Station | None:
    """The place of a station; None when its key names none, and nothing can be said of it."""
    try:
        return parse_key(key)
    except ValueError:
        return None
