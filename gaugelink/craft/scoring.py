"""What came of a lesson: its points, what went well, and where cane was lost, by which stroke.

From what was measured only: a place that was scraped after its last value counts as not measured.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from decimal import Decimal

import msgspec

from gaugelink.craft.clipping import Crowed, Goal
from gaugelink.craft.lessons import Lesson
from gaugelink.craft.reed import Station, parse_key
from gaugelink.craft.rules import Balancing
from gaugelink.craft.style import Stop
from gaugelink.craft.verdict import Verdict, verdict

FAR = 5.0
"""Times what the goal allows: a crow as far from it is worth no points."""

LARGER = Decimal("1.2")
"""A clip counts as larger than the last beyond this ratio: none is cut as exactly as it was meant.
"""


class Captured(msgspec.Struct, frozen=True):
    """A place was measured."""

    station: str
    hundredths: Decimal
    resolution: Decimal = Decimal("0.1")


class Scraped(msgspec.Struct, frozen=True):
    """A zone was scraped on the blade and the side of a station, or the station alone."""

    station: str
    zone: str
    """Empty for the station alone."""
    strokes: int


class Clipped(msgspec.Struct, frozen=True):
    """The end was clipped."""

    mm: Decimal


Event = Captured | Scraped | Clipped | Crowed


class History(msgspec.Struct, frozen=True):
    """A run of a lesson, and what its style asks for."""

    stops: tuple[Stop, ...]
    goal: Goal
    events: tuple[Event, ...]
    """In the order in which they happened."""
    balancing: Balancing = Balancing()


class Part(msgspec.Struct, frozen=True):
    """What one part of the lesson was worth."""

    name: str
    points: float
    most: int
    text: str


class Lost(msgspec.Struct, frozen=True):
    """Cane that is gone and cannot be put back."""

    where: str
    """The station's key, or `length`."""
    amount: float
    """Hundredths under the lower limit of the target; cents past the goal for the length."""
    stroke: int | None
    """The stroke, or the clip, by which it was lost; None when it was gone before the first."""
    text: str


class Score(msgspec.Struct, frozen=True):
    """A lesson's score."""

    points: int
    """0 to 100."""
    parts: tuple[Part, ...]
    good: tuple[str, ...]
    """What went well, in words."""
    lost: tuple[Lost, ...]
    """The worst first."""

    @property
    def lines(self) -> tuple[str, ...]:
        """All of it in words."""
        rest = [part.text for part in self.parts if part.text not in self.good]
        return (
            f"{self.points} of 100 points",
            *(f"well done: {text}" for text in self.good),
            *rest,
            *(each.text for each in self.lost),
        )


class _Go(msgspec.Struct):
    """Strokes on one side of a zone of one blade, without a value in between."""

    seen: bool = True
    """Every place of it was measured before the first of them."""


class _Track(msgspec.Struct):
    """One stop, through the run."""

    stop: Stop
    now: Captured | None = None
    since: int = 0
    """Strokes since its last value."""
    go: _Go | None = None
    """The one that they belong to."""
    gone: Lost | None = None
    how: str = ""
    """How it was lost, in words."""

    @property
    def measured(self) -> Captured | None:
        """Its value, if nothing was scraped there after it."""
        return None if self.since else self.now

    @property
    def said(self) -> Verdict | None:
        """What is to be done there by its value."""
        now = self.measured
        if now is None:
            return None
        return verdict(now.hundredths, self.stop.target, self.stop.tolerance, now.resolution)


def score(lesson: Lesson, history: History) -> Score:
    """The score of a run; an empty run has none of the points.

    Raises ValueError for an event at what is no station.
    """
    counts = lesson.counts
    tracks, goes = _followed(history)
    clips = _clips(history.events)
    parts: list[Part] = []
    if counts.target:
        parts.append(_on_target(tracks, counts.target))
    if counts.balance:
        parts.append(_balanced(tracks, history.balancing, counts.balance))
    if counts.cane:
        parts.append(_kept(tracks, counts.cane))
    if counts.crow:
        parts.append(_crowed(history, counts.crow))
    if counts.care:
        care = _clipped_with_care(clips) if lesson.clips else _measured_first(goes)
        parts.append(_part("care", counts.care, *care))
    lost = [track.gone for track in tracks if track.gone is not None]
    if lesson.clips:
        lost += _past(history, clips)
    return Score(
        math.floor(math.fsum(part.points for part in parts) + 1e-9),
        tuple(parts),
        tuple(part.text for part in parts if part.points == part.most),
        tuple(sorted(lost, key=lambda each: -each.amount)),
    )


def _part(name: str, most: int, share: float, text: str) -> Part:
    return Part(name, most * share, most, text)


def _followed(history: History) -> tuple[list[_Track], list[_Go]]:
    """Every stop through the run, and the goes of strokes."""
    tracks = [_Track(stop) for stop in history.stops]
    goes: list[_Go] = []
    open_goes: dict[tuple[str, str, str], _Go] = {}
    for event in history.events:
        if isinstance(event, Captured):
            for track in tracks:
                if track.stop.station.key == event.station:
                    _measure(track, event)
                    open_goes.pop(_patch(track.stop.station, track.stop.zone), None)
        elif isinstance(event, Scraped):
            inside = _scraped(tracks, event)
            patch = _patch(parse_key(event.station), inside[0].stop.zone if inside else "")
            go = open_goes.get(patch)
            if go is None:
                go = open_goes[patch] = _Go()
                goes.append(go)
            for track in inside:
                go.seen = go.seen and (track.go is go or track.measured is not None)
                track.go = go
                track.since += event.strokes
    return tracks, goes


def _scraped(tracks: Sequence[_Track], event: Scraped) -> list[_Track]:
    """What a scrape reached: its zone on that side of that blade, or just the station."""
    if not event.zone:
        return [track for track in tracks if track.stop.station.key == event.station]
    patch = _patch(parse_key(event.station), event.zone)
    return [track for track in tracks if _patch(track.stop.station, track.stop.zone) == patch]


def _patch(station: Station, zone: str) -> tuple[str, str, str]:
    return station.blade, station.side, zone


def _measure(track: _Track, now: Captured) -> None:
    """Take a value, and find out whether the strokes before it took too much."""
    before, strokes = track.now, track.since
    track.now, track.since, track.go = now, 0, None
    lower = track.stop.target - track.stop.tolerance
    said = track.said
    if said is None or said.word != "over":
        track.gone = None
        return
    stroke = None if track.gone is None else track.gone.stroke
    if strokes and before is not None and before.hundredths > lower:
        share = (before.hundredths - lower) / (before.hundredths - now.hundredths)
        stroke = min(strokes, math.ceil(strokes * share))
        track.how = (
            f"lost at about stroke {stroke} of {strokes} after it had measured "
            f"{before.hundredths:f}"
        )
    elif track.gone is None:
        track.how = "lost before its first value" if strokes else "from the start"
    under = lower - now.hundredths
    where = f"{track.stop.station.spoken}: {under:f} under its limit of {lower:f}"
    track.gone = Lost(track.stop.station.key, float(under), stroke, f"{where}, {track.how}")


def _on_target(tracks: Sequence[_Track], most: int) -> Part:
    found = [each.said for each in tracks]
    right = sum(each is not None and each.word == "leave" for each in found)
    open_ones = sum(each is None for each in found)
    text = f"{right} of {len(tracks)} places are on target"
    if open_ones:
        text += f", {open_ones} not measured at the end"
    return _part("target", most, right / len(tracks) if tracks else 0.0, text)


def _balanced(tracks: Sequence[_Track], rule: Balancing, most: int) -> Part:
    by_key = {track.stop.station.key: track for track in tracks}
    pairs = alike = 0
    worst: tuple[Decimal, str] = (Decimal(0), "")
    for one, other in _pairs(by_key):
        pairs += 1
        first, second = one.measured, other.measured
        if first is None or second is None:
            continue
        apart = abs(first.hundredths - second.hundredths)
        alike += apart <= rule.within
        spoken = f"{one.stop.station.spoken} and {other.stop.station.spoken}"
        worst = max(worst, (apart, f"{spoken} are {apart:f} apart"))
    text = f"{alike} of {pairs} mirrored pairs are alike"
    if alike < pairs and worst[0] > rule.within:
        text += f"; {worst[1]}"
    return _part("balance", most, alike / pairs if pairs else 0.0, text)


def _pairs(by_key: dict[str, _Track]) -> Iterator[tuple[_Track, _Track]]:
    """Each place with those that mirror it on its blade and over it, once, if alike by design."""
    for key, track in by_key.items():
        for mirror in (track.stop.station.mirrored(), track.stop.station.opposite()):
            other = by_key.get(mirror.key)
            if other is not None and key < mirror.key and other.stop.target == track.stop.target:
                yield track, other


def _kept(tracks: Sequence[_Track], most: int) -> Part:
    measured = [track for track in tracks if track.measured is not None]
    whole = sum(track.gone is None for track in measured)
    under = len(measured) - whole
    text = f"{under} of {len(tracks)} places went under" if under else "no cane was lost"
    if not measured:
        text = "nothing was measured at the end, so nothing is known of the cane"
    return _part("cane", most, whole / len(tracks) if tracks else 0.0, text)


def _measured_first(goes: Sequence[_Go]) -> tuple[float, str]:
    if not goes:
        return 0.0, "nothing was scraped"
    seen = sum(go.seen for go in goes)
    text = f"{seen} of {len(goes)} goes of strokes began from fresh values"
    return seen / len(goes), text


class _Clip(msgspec.Struct, frozen=True):
    mm: Decimal
    before: Crowed | None
    """The crow since the clip before."""


def _clips(events: Sequence[Event]) -> list[_Clip]:
    found, heard = [], None
    for event in events:
        if isinstance(event, Crowed):
            heard = event
        elif isinstance(event, Clipped):
            found.append(_Clip(event.mm, heard))
            heard = None
    return found


def _clipped_with_care(clips: Sequence[_Clip]) -> tuple[float, str]:
    if not clips:
        return 0.0, "nothing was clipped"
    careful = sum(
        clip.before is not None and (place == 0 or clip.mm <= LARGER * clips[place - 1].mm)
        for place, clip in enumerate(clips)
    )
    text = f"{careful} of {len(clips)} clips were crowed for, and no larger than the last"
    return careful / len(clips), text


def _crowed(history: History, most: int) -> Part:
    last = history.events[-1] if history.events else None
    crows = [event for event in history.events if isinstance(event, Crowed)]
    if not crows or isinstance(last, Clipped):
        return _part("crow", most, 0.0, "it was not crowed after the last clip")
    goal, cents = history.goal, crows[-1].cents
    off = abs(float(cents - goal.cents))
    text = f"it crows {cents:+f} cents, the goal is {goal.cents:+f} within {goal.within:f}"
    within = float(goal.within)
    if off <= within:
        return _part("crow", most, 1.0, text)
    farthest = FAR * max(within, 1.0)
    return _part("crow", most, max(0.0, (farthest - off) / (farthest - within)), text)


def _past(history: History, clips: Sequence[_Clip]) -> list[Lost]:
    """The clip that took the crow past its goal, when it ends there."""
    top = history.goal.cents + history.goal.within
    heard: Crowed | None = None
    number, found = 0, None
    for event in history.events:
        if isinstance(event, Clipped):
            number += 1
        elif isinstance(event, Crowed):
            if event.cents <= top:
                heard, found = event, None
            elif found is None and number:
                found = (number, heard)
    crows = [event for event in history.events if isinstance(event, Crowed)]
    if found is None:
        return []
    number, heard = found
    clip, over = clips[number - 1], crows[-1].cents - top
    was = f" after it had crowed {heard.cents:+f}" if heard is not None else ""
    text = f"length: {over:f} cents past its goal, lost at clip {number}, {clip.mm:f} mm{was}"
    return [Lost("length", float(over), number, text)]
