"""Answers about the craft: what the store keeps, handed to the cores, and told in messages."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime
from typing import Any

from gaugelink.craft.agenda import agenda
from gaugelink.craft.grades import playing_test
from gaugelink.craft.style import Style, StyleError
from gaugelink.daemon import advising, clipping, stroking
from gaugelink.daemon import messages as m
from gaugelink.daemon.advisor import trust_in
from gaugelink.daemon.keeper import Keeper
from gaugelink.reading import GaugelinkError
from gaugelink.store.records import CaptureRecord, ReedChange, ReedRecord
from gaugelink.store.workbook import TestRecord

StyleOf = Callable[[str], Style]
"""The style of a name; StyleError when there is none."""


async def answer(keeper: Keeper, request: m.Request, style_of: StyleOf) -> Any:
    """Carry out a request about the craft; GaugelinkError says why it was not done."""
    match request:
        case m.Advise():
            return await _advise(keeper, request, style_of)
        case m.NoteStrokes() | m.Strokes():
            return await stroking.answer(keeper, request, style_of)
        case m.NoteLength() | m.NoteCrow() | m.PlanClip():
            return await clipping.answer(keeper, request, style_of)
        case m.NoteTest() | m.Tests():
            return await _tests(keeper, request)
        case m.Changes():
            changes = await keeper.run(keeper.store.changes, request.reed)
            return [m.ReedChange(each.state, each.stage, each.note, each.at) for each in changes]
        case m.Agenda():
            return await keeper.run(_rack, keeper, request.all, style_of)
        case m.Overnight():
            reed = await keeper.run(keeper.store.reed, request.reed)
            captures = await keeper.run(keeper.store.captures, reed.name, current_only=True)
            trust = await trust_in(keeper, captures, request.uncertainty)
            return advising.moved(reed.name, style_of(reed.style), captures, trust)
    raise GaugelinkError(f"the hub does not know the request {type(request).__name__}")


async def _advise(keeper: Keeper, request: m.Advise, style_of: StyleOf) -> m.Advice:
    reed = await keeper.run(keeper.store.reed, request.reed)
    if not reed.stage:
        raise GaugelinkError(f"nothing of {reed.name} is measured yet: walk its first stage")
    captures = await keeper.run(keeper.store.captures, reed.name, current_only=True)
    # The walk may be of another style than the reed was put on the rack with.
    style = style_of(_style_at(reed, captures))
    trust = await trust_in(keeper, captures, request.uncertainty)
    taken = advising.newest(captures, reed.stage)
    return advising.advice(reed.name, style, reed.stage, taken, trust)


def _style_at(reed: ReedRecord, captures: Sequence[CaptureRecord]) -> str:
    styles = [each.style for each in captures if each.stage == reed.stage]
    return styles[-1] if styles else reed.style


async def _tests(keeper: Keeper, request: m.NoteTest | m.Tests) -> list[m.PlayingTest]:
    book = keeper.store.workbook
    if isinstance(request, m.NoteTest):
        test = playing_test(request.grades, request.note)
        if not (test.grades or test.note):
            raise GaugelinkError("there is nothing to note; give a grade from 1 to 5, or a --note")
        try:
            day = date.fromisoformat(request.day)
        except ValueError as error:
            raise GaugelinkError(f"{request.day!r} is no day; write it as 2031-05-04") from error
        await keeper.run(
            book.add_test, request.reed, day.isoformat(), test, correct=request.correct
        )
    return [_test(each) for each in await keeper.run(book.tests, request.reed)]


def _test(record: TestRecord) -> m.PlayingTest:
    test = record.test
    return m.PlayingTest(
        record.reed, record.day, test.grades, test.mean, test.note, test.text, record.at
    )


def _rack(keeper: Keeper, everything: bool, style_of: StyleOf) -> list[m.RackEntry]:
    """Each reed with what comes next; in the store's thread."""
    store, now = keeper.store, datetime.now(UTC)
    known: dict[str, Style | StyleError] = {}
    found = []
    for reed in store.reeds(all=everything):
        if reed.style not in known:
            try:
                known[reed.style] = style_of(reed.style)
            except StyleError as error:
                known[reed.style] = error
        style = known[reed.style]
        changes = store.changes(reed.name)
        since = _since(changes)
        fields = {name: getattr(reed, name) for name in m.ReedRecord.__struct_fields__}
        if isinstance(style, StyleError):
            # Its reeds stay on the rack all the same.
            found.append(m.RackEntry(**fields, since=since, next=str(style)))
            continue
        complete = reed.state in ("first day", "second day") and _complete(
            style, reed.stage, store.captures(reed.name, current_only=True)
        )
        step = agenda(
            style, reed.state, reed.stage, complete, datetime.fromisoformat(since), reed.note
        )
        found.append(
            m.RackEntry(
                **fields,
                since=since,
                next=step.text,
                next_stage=step.stage,
                due="" if step.due is None else step.due.isoformat().replace("+00:00", "Z"),
                waits=step.waits(now),
            )
        )
    return found


def _since(changes: Sequence[ReedChange]) -> str:
    """When a reed came into the state that it is in."""
    since = changes[-1].at
    for each in reversed(changes):
        if each.state != changes[-1].state:
            break
        since = each.at
    return since


def _complete(style: Style, stage: str, captures: Sequence[CaptureRecord]) -> bool:
    """Whether every station of a stage is measured and has nothing left to take."""
    if stage not in [each.name for each in style.stages]:
        return False
    taken = advising.newest(captures, stage)
    return all(
        (capture := taken.get(stop.station.key)) is not None and capture.verdict.word != "take"
        for stop in style.stops(stage)
    )
