"""A bench without a hub, in an invented scenario: for the picture of the bench and for its tests.

Reed, maker and numbers are made up. The scripted client answers from a table and says what it is
told to say; it keeps every request, so that one can see what a key led to.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator, Sequence
from decimal import Decimal
from functools import cache
from typing import Any, Literal

from gaugelink.craft.style import Stop, Style, find
from gaugelink.craft.verdict import verdict, zone_verdict
from gaugelink.daemon.client import HubGone
from gaugelink.daemon.messages import (
    Captured,
    Event,
    GaugeEvent,
    Gauges,
    Rack,
    ReadingEvent,
    ReedRecord,
    Request,
    StartWalk,
    StopView,
    Styles,
    StyleSummary,
    WalkEvent,
    ZoneView,
)
from tui.plan import Plan

REED = "Halvard 12"
STYLE = "millrace-long"
STAGE = "balance"
GAUGE = "dial"

AFTER_CAPTURES = 1000.0
"""Seconds on the hub's clock: the scene's captures are all made earlier."""

PLAN = Plan(reed=REED, style=STYLE, stage=STAGE, gauge=GAUGE)

# Off the target by so many hundredths, station after station: mostly cane left to take.
OFFSETS = (3, 1, 0, 2, 5, 1, 4, 2, 0, -1, 3, 6, 1, 2, 0, 8, 1, 0, 3, -3, 2, 1)


class SceneClient:
    """A client of no hub: scripted events, answers by the type of the request."""

    def __init__(self, answers: dict[type[Request], Any] | None = None) -> None:
        self.requests: list[Request] = []
        self.closed = False
        self._answers = {**default_answers(), **(answers or {})}
        self._events: asyncio.Queue[Event | Exception | None] = asyncio.Queue()

    async def ask(self, request: Request) -> Any:
        """The scripted answer: a value, an exception to raise, or a function of the request."""
        if self.closed:
            raise HubGone("the scene is over")
        self.requests.append(request)
        answer = self._answers.get(type(request))
        if isinstance(answer, Exception):
            raise answer
        return answer(request) if callable(answer) else answer

    async def events(self) -> AsyncGenerator[Event, None]:
        """What `say` was told, until `leave`."""
        while True:
            event = await self._events.get()
            try:
                if event is None:
                    return
                if isinstance(event, Exception):
                    raise event
                yield event
            finally:
                self._events.task_done()

    async def close(self) -> None:
        """No more questions."""
        self.closed = True

    def say(self, *events: Event) -> None:
        """Say these, in order."""
        for event in events:
            self._events.put_nowait(event)

    def leave(self, error: Exception | None = None) -> None:
        """Go away: the events end, or end with an error."""
        self._events.put_nowait(error)

    async def heard(self) -> None:
        """Wait until everything said has been taken in."""
        await self._events.join()

    def asked(self, kind: type[Request]) -> list[Any]:
        """The requests of a kind, oldest first."""
        return [request for request in self.requests if type(request) is kind]


def default_answers() -> dict[type[Request], Any]:
    """The answers of a hub on which all is well."""

    def started(request: StartWalk) -> WalkEvent:
        return walk(stage=request.stage)

    return {Gauges: [gauge()], StartWalk: started, Rack: rack(), Styles: styles()}


def reading(
    hundredths: str,
    standing: Literal["moving", "settling", "settled"] = "moving",
    still: float = 0.0,
    seq: int = 1,
    *,
    pushed: bool = False,
) -> ReadingEvent:
    """A reading of the scene's gauge, which shows whole hundredths, after all its captures."""
    value = Decimal(hundredths)
    return ReadingEvent(
        gauge=GAUGE,
        seq=seq,
        at=AFTER_CAPTURES + seq,
        hundredths=value,
        resolution=Decimal(1),
        unit="mm",
        value=f"{value / 100:.2f}",
        standing=standing,
        settled=value if standing == "settled" else None,
        still=still,
        pushed=pushed,
    )


def gauge(
    link: Literal["opening", "up", "down"] = "up",
    reason: str = "",
    retry_in: float = 0.0,
    status: str = "",
) -> GaugeEvent:
    """The scene's gauge."""
    return GaugeEvent(
        name=GAUGE,
        port="/dev/ttyUSB0",
        description="signed-decimal-unit-cr",
        title="sign, decimal, unit",
        link=link,
        reason=reason,
        retry_in=retry_in,
        status=status,
    )


def walk(
    done: int = 0,
    stage: str = STAGE,
    *,
    offsets: Sequence[int] = OFFSETS,
    skipped: Sequence[int] = (),
    paused: bool = False,
    dwell: bool = False,
    in_pass: int = 1,
) -> WalkEvent:
    """A walk of the example style, with its first `done` stations captured.

    Each value lies `offsets` hundredths above its target, the offsets being used in turn.
    """
    style = _style()
    stops = [
        _stop(stop, offsets[index % len(offsets)] if index < done else None, index in skipped)
        for index, stop in enumerate(style.stops(stage))
    ]
    open_stops = [index for index in range(done, len(stops)) if index not in skipped]
    found = [stop.verdict for stop in stops]
    after = style.after(stage)
    return WalkEvent(
        bench=PLAN.bench,
        gauge=GAUGE,
        reed=REED,
        style=STYLE,
        stage=stage,
        title=style.stage(stage).title,
        note=style.stage(stage).note,
        trigger="dwell" if dwell else "press",
        stops=stops,
        zones=[_zone(style, target.zone, stops) for target in style.stage(stage).targets],
        at_stop=open_stops[0] if open_stops else None,
        next_stop=open_stops[1] if len(open_stops) > 1 else None,
        in_pass=in_pass,
        paused=paused,
        done=len(stops) - len(open_stops),
        of=len(stops),
        to_go=sum(each.amount for each in found if each and each.word == "take"),
        complete=all(each is not None and each.word != "take" for each in found),
        dwell=style.walking.dwell,
        still_for=style.settling.still_for,
        length=style.stage(stage).length,
        tip_line=style.lengths.tip_line,
        after=after.name if after else "",
        after_title=after.title if after else "",
        overnight=after is not None and after.day != style.stage(stage).day,
    )


def captured(at: WalkEvent, index: int, supersedes: int | None = None) -> Captured:
    """The capture that stands at a station of a walk."""
    stop = at.stops[index]
    assert stop.hundredths is not None, "nothing was captured there"
    assert stop.verdict is not None, "what was captured has a verdict"
    return Captured(
        capture=index + 1,
        bench=at.bench,
        gauge=at.gauge,
        reed=at.reed,
        stage=at.stage,
        station=stop.station,
        zone=stop.zone,
        hundredths=stop.hundredths,
        resolution=Decimal(1),
        target=stop.target,
        tolerance=stop.tolerance,
        verdict=stop.verdict,
        in_pass=at.in_pass,
        supersedes=supersedes,
        taken_at=f"2031-03-04T09:{index:02}:00Z",
        at=float(index),
    )


def rack() -> list[ReedRecord]:
    """Three reeds at different steps."""
    return [
        _reed("Halvard 12", STYLE, "in progress", "balance", 34),
        _reed("Halvard 13", STYLE, "in progress", "windows", 12),
        _reed("Roux 3", "quayside-short", "in progress", "slope", 0),
    ]


def styles() -> list[StyleSummary]:
    """The shipped example styles."""
    return [
        StyleSummary(
            name=name,
            title=style.title,
            scrape=style.scrape,
            stages=[stage.name for stage in style.stages],
            note=style.note,
        )
        for name, style in ((name, find(name)) for name in (STYLE, "quayside-short"))
    ]


@cache
def _style() -> Style:
    return find(STYLE)


def _stop(stop: Stop, offset: int | None, skipped: bool) -> StopView:
    value = None if offset is None or skipped else stop.target.to_integral_value() + offset
    found = None if value is None else verdict(value, stop.target, stop.tolerance, Decimal(1))
    return StopView(
        station=stop.station.key,
        zone=stop.zone,
        target=stop.target,
        tolerance=stop.tolerance,
        hundredths=value,
        verdict=found,
        in_pass=0 if value is None else 1,
        skipped=skipped,
    )


def _zone(style: Style, name: str, stops: Sequence[StopView]) -> ZoneView:
    found = zone_verdict(stop.verdict for stop in stops if stop.zone == name)
    return ZoneView(name, style.zone(name).title, found)


def _reed(name: str, style: str, state: str, stage: str, captures: int) -> ReedRecord:
    return ReedRecord(
        name=name,
        style=style,
        batch="spring",
        state=state,
        stage=stage,
        added_at="2031-03-01T08:00:00Z",
        changed_at="2031-03-04T09:00:00Z",
        captures=captures,
    )
