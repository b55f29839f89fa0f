"""Strokes: noted in the store, and what one takes off learned from the maker's reeds of a style."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime

from gaugelink.craft.measured import COVERAGE, trusted
from gaugelink.craft.reed import parse_key
from gaugelink.craft.strokes import Rate, Strokes, assumed, knife, learn, strokes
from gaugelink.craft.style import Stop, Style
from gaugelink.craft.tally import SITTING, Capture, Counted, Told, passes, since
from gaugelink.daemon import messages as m
from gaugelink.daemon.advising import newest
from gaugelink.daemon.advisor import trust_in
from gaugelink.daemon.keeper import Keeper
from gaugelink.reading import GaugelinkError
from gaugelink.store.records import CaptureRecord
from gaugelink.store.store import Store
from gaugelink.store.workbook import StrokesRecord

Kept = tuple[list[CaptureRecord], list[StrokesRecord]]
"""Captures of a reed that stand, and its strokes."""

_NO_REMOVAL = "its passes show no removal: check the knife, and count strokes anew"


async def answer(
    keeper: Keeper, request: m.NoteStrokes | m.Strokes, style_of: Callable[[str], Style]
) -> m.StrokeAdvice:
    """Note strokes if that is asked, and say what the next ones will do."""
    store, run = keeper.store, keeper.run
    reed = await run(store.reed, request.reed)
    style = style_of(reed.style)
    if request.zone:
        style.zone(request.zone)
    noted = ""
    if isinstance(request, m.NoteStrokes):
        noted = await _note(keeper, request)
    kept = await run(_kept, store, reed.style)
    stage = reed.stage or style.stages[0].name
    spread, _ = await trust_in(keeper, kept[reed.name][0])
    return await asyncio.to_thread(
        _advice, style, reed.name, stage, kept, request.zone, noted, spread
    )


async def _note(keeper: Keeper, request: m.NoteStrokes) -> str:
    if not request.zone:
        raise GaugelinkError("strokes need a zone: name the one that was scraped")
    entry = await keeper.run(
        keeper.store.workbook.add_strokes,
        request.reed,
        request.zone,
        request.count,
        blade=request.blade,
        side=request.side,
        correct=request.correct,
    )
    where = ", ".join(each for each in (entry.zone, entry.blade, entry.side) if each)
    return f"{entry.count} strokes, {where}" if entry.count else f"strokes taken back, {where}"


def _kept(store: Store, style: str) -> dict[str, Kept]:
    """All reeds of a style with strokes or without, by name; in the store's thread."""
    counted: dict[str, list[StrokesRecord]] = {}
    for each in store.workbook.strokes():
        counted.setdefault(each.reed, []).append(each)
    names = [each.name for each in store.reeds(all=True) if each.style == style]
    return {
        name: (store.captures(name, current_only=True), counted.get(name, [])) for name in names
    }


def _advice(
    style: Style,
    reed: str,
    stage: str,
    kept: Mapping[str, Kept],
    zone: str,
    noted: str,
    spread: float,
) -> m.StrokeAdvice:
    told: list[Told] = []
    for captures, counted in kept.values():
        if counted:
            told += passes(*_plain(captures, counted))
    told.sort(key=lambda each: each.number)
    rates = learn([each.made for each in told], style.scraping)
    captures, counted = kept[reed]
    zones = [zone] if zone else [target.zone for target in style.stage(stage).targets]
    shown = {name: rates.get(name) or assumed(name, style.scraping) for name in zones}
    return m.StrokeAdvice(
        reed=reed,
        noted=noted,
        rates=[
            m.StrokeRate(each.zone, each.per_stroke, each.uncertainty, each.passes, each.text)
            for each in shown.values()
        ],
        needed=_needed(style, stage, shown, captures, counted, spread),
        knife=_knife(style, told),
    )


def _needed(
    style: Style,
    stage: str,
    rates: Mapping[str, Rate],
    captures: Sequence[CaptureRecord],
    counted: Sequence[StrokesRecord],
    spread: float,
) -> list[m.Needed]:
    """The strokes for every place of the stage that has something to take."""
    taken = newest(captures, stage)
    gone = since(*_plain(captures, counted))
    found = []
    for stop in style.stops(stage):
        capture, rate = taken.get(stop.station.key), rates.get(stop.zone)
        if capture is None or rate is None or capture.hundredths <= stop.target + stop.tolerance:
            continue
        over = gone.get(stop.station.key, 0)
        need = None if over else _strokes(capture, stop, rate, style.risk.under, spread)
        text = f"{over} strokes since it was measured: measure it again"
        if not over:
            text = _NO_REMOVAL if need is None else need.text
        found.append(
            m.Needed(
                stop.station,
                stop.zone,
                None if need is None else need.likely,
                0 if need is None else need.safe,
                None if need is None else need.low,
                None if need is None else need.high,
                over,
                f"{stop.station.spoken}: {text}",
            )
        )
    return found


def _strokes(
    capture: CaptureRecord, stop: Stop, rate: Rate, risk: float, spread: float
) -> Strokes | None:
    """None when the passes over the zone show no removal."""
    if rate.per_stroke <= 0:
        return None
    # The value itself is only known so well: on the careful side of it, by its coverage.
    room = float(capture.hundredths - stop.target + stop.tolerance)
    room -= COVERAGE * trusted(capture, spread)
    return strokes(rate, float(capture.hundredths - stop.target), max(0.0, room), risk)


def _knife(style: Style, told: Sequence[Told]) -> str:
    """The hint about the knife, from the newest sitting against all that was before it."""
    first = len(told)
    while first and (first == len(told) or told[first].at - told[first - 1].at <= SITTING):
        first -= 1
    earlier = [each.made for each in told[:first]]
    known = {zone: rate for zone, rate in learn(earlier, style.scraping).items() if rate.learned}
    found = knife([each.made for each in told[first:]], style.scraping, known)
    return "" if found is None else found.text


def _plain(
    captures: Sequence[CaptureRecord], counted: Sequence[StrokesRecord]
) -> tuple[list[Capture], list[Counted]]:
    return (
        [
            Capture(
                each.capture,
                parse_key(each.station),
                each.zone,
                float(each.hundredths),
                datetime.fromisoformat(each.taken_at),
                each.wet,
            )
            for each in captures
        ],
        [
            Counted(each.entry, each.zone, each.blade, each.side, each.count, each.after)
            for each in counted
        ],
    )
