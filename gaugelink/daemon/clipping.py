"""Lengths and crows: noted in the store, and the next clip planned from them."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from datetime import datetime
from decimal import Decimal

from gaugelink.craft.clipping import Crowed, Plan, goal_of_day, learn_slope, plan
from gaugelink.craft.pitch import Pitch, cents_between, cents_from, hertz, nearest, parse
from gaugelink.craft.style import Style
from gaugelink.craft.tally import SITTING
from gaugelink.daemon import messages as m
from gaugelink.daemon.keeper import Keeper
from gaugelink.reading import GaugelinkError
from gaugelink.store.records import ReedRecord
from gaugelink.store.store import Store
from gaugelink.store.workbook import CrowRecord, LengthRecord

OCTAVE = Decimal(1200)
"""Cents."""

Asked = m.NoteLength | m.NoteCrow | m.PlanClip
Kept = tuple[list[CrowRecord], list[LengthRecord], list[list[CrowRecord]]]
"""The crows and lengths of a reed, and the crows of each earlier reed of its style."""


async def answer(keeper: Keeper, request: Asked, style_of: Callable[[str], Style]) -> m.ClipPlan:
    """Note a length or a crow if that is asked, and plan the next clip."""
    reed = await keeper.run(keeper.store.reed, request.reed)
    style = style_of(reed.style)
    noted = ""
    if isinstance(request, m.NoteLength):
        length = await keeper.run(
            keeper.store.workbook.add_length,
            reed.name,
            request.length,
            request.how,
            correct=request.correct,
        )
        noted = f"length {length.length:f} mm"
    elif isinstance(request, m.NoteCrow):
        noted = await _note_crow(keeper, request, style)
    kept = await keeper.run(_kept, keeper.store, reed)
    return await asyncio.to_thread(_planned, style, reed, kept, noted)


async def _note_crow(keeper: Keeper, request: m.NoteCrow, style: Style) -> str:
    tuning = style.clipping.tuning if request.tuning is None else request.tuning
    if request.hertz is not None:
        pitch, heard = nearest(request.hertz, tuning), request.hertz
    elif request.pitch:
        pitch = parse(request.pitch, tuning)
        heard = hertz(pitch.note, float(pitch.cents), tuning)
    else:
        raise GaugelinkError("there is no crow to note; give it as C5 -15 or in hertz")
    await keeper.run(
        keeper.store.workbook.add_crow,
        request.reed,
        note=pitch.note,
        cents=pitch.cents,
        hertz=heard,
        tuning=tuning,
        source=request.source,
        correct=request.correct,
    )
    return f"crow {pitch}"


def from_goal(crow: CrowRecord, style: Style) -> Decimal:
    """Cents of a crow from the style's goal, in whichever octave it sounds; flat is negative.

    From -600 to 600. Exactly as it was said when it was read by the style's own tuning.
    """
    rule = style.clipping
    if crow.tuning == rule.tuning:
        off = cents_from(Pitch(crow.note, crow.cents), rule.goal)
    else:
        off = Decimal(f"{cents_between(hertz(rule.goal, tuning=rule.tuning), crow.hertz):.1f}")
    # A Decimal's remainder has the sign of what is divided.
    within = off % OCTAVE
    if within > OCTAVE / 2:
        return within - OCTAVE
    return within + OCTAVE if within < -OCTAVE / 2 else within


def _kept(store: Store, reed: ReedRecord) -> Kept:
    """In the store's thread."""
    others = [
        each.name
        for each in store.reeds(all=True)
        if each.style == reed.style and each.name != reed.name
    ]
    crows: dict[str, list[CrowRecord]] = {name: [] for name in [*others, reed.name]}
    for each in store.workbook.crows():
        if each.reed in crows:
            crows[each.reed].append(each)
    return crows.pop(reed.name), store.workbook.lengths(reed.name), list(crows.values())


def _planned(style: Style, reed: ReedRecord, kept: Kept, noted: str) -> m.ClipPlan:
    crows, lengths, others = kept
    length = lengths[-1].length if lengths else None
    newest = crows[-1] if crows else None
    cents = None if newest is None else from_goal(newest, style)
    found = _next(style, reed, crows, length, others)
    return m.ClipPlan(
        reed=reed.name,
        noted=noted,
        length=length,
        crow="" if newest is None else str(Pitch(newest.note, newest.cents)),
        cents=cents,
        hertz=None if newest is None else newest.hertz,
        why=found.why if isinstance(found, Plan) else found[0],
        step=found.step if isinstance(found, Plan) else None,
        expected=found.expected if isinstance(found, Plan) else None,
        spread=found.spread if isinstance(found, Plan) else None,
        text=found.text if isinstance(found, Plan) else found[1],
    )


def _next(
    style: Style,
    reed: ReedRecord,
    crows: Sequence[CrowRecord],
    length: Decimal | None,
    others: Sequence[Sequence[CrowRecord]],
) -> Plan | tuple[str, str]:
    """The plan, or what is wanting for one: a word for it, and what to do."""
    if length is None:
        return "length", f"note its length, too: gaugelink reed {reed.name} clip --length 70.5"
    if not crows or crows[-1].length != length:
        return "crow it", f"at {length:f} mm: crow it, then the next clip can be planned"
    points = _points(_sitting(crows), style)
    day = style.stage(reed.stage).day if reed.stage in _stages(style) else 1
    slope = learn_slope([_longest(each, style) for each in others], style.clipping)
    goal = goal_of_day(style.clipping, day)
    return plan(points, goal, slope, style.clipping, style.shortest, style.risk.past)


def _stages(style: Style) -> list[str]:
    return [stage.name for stage in style.stages]


def _points(crows: Sequence[CrowRecord], style: Style) -> list[Crowed]:
    return [
        Crowed(each.length, from_goal(each, style)) for each in crows if each.length is not None
    ]


def _longest(crows: Sequence[CrowRecord], style: Style) -> list[Crowed]:
    """The points of the one sitting in which a reed was clipped the most; a night parts them."""
    sittings = [_points(each, style) for each in _parted(crows)]
    return max(sittings, key=_clipped, default=[])


def _clipped(points: Sequence[Crowed]) -> Decimal:
    lengths = [each.length for each in points]
    return max(lengths) - min(lengths) if lengths else Decimal(-1)


def _sitting(crows: Sequence[CrowRecord]) -> list[CrowRecord]:
    """The crows of the newest sitting."""
    return _parted(crows)[-1]


def _parted(crows: Sequence[CrowRecord]) -> list[list[CrowRecord]]:
    """The crows, parted where a night lies between: it moves the crow."""
    found: list[list[CrowRecord]] = []
    last: datetime | None = None
    for each in crows:
        at = datetime.fromisoformat(each.at)
        if last is None or abs(at - last) > SITTING:
            found.append([])
        found[-1].append(each)
        last = at
    return found
