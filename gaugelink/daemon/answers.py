"""Answers that come from the store and the styles alone."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import msgspec

from gaugelink.craft.style import Style
from gaugelink.daemon import messages as m
from gaugelink.daemon.keeper import Keeper
from gaugelink.reading import GaugelinkError
from gaugelink.store import records as kept


def styles(known: Mapping[str, Style]) -> list[m.StyleSummary]:
    """The styles in short."""
    return [
        m.StyleSummary(
            style.name,
            style.title,
            style.scrape,
            [stage.name for stage in style.stages],
            style.note,
        )
        for style in known.values()
    ]


async def from_store(keeper: Keeper, request: m.Request, check_style: Callable[[str], None]) -> Any:
    """Carry out a request about the rack; GaugelinkError says why it was not done."""
    store, run = keeper.store, keeper.run
    match request:
        case m.AddReed():
            check_style(request.style)
            return reed(
                await run(
                    store.add_reed,
                    request.name,
                    request.style,
                    batch=request.batch,
                    note=request.note,
                )
            )
        case m.UpdateReed():
            return reed(
                await run(
                    store.update_reed, request.name, state=request.state or None, note=request.note
                )
            )
        case m.Rack():
            return [reed(each) for each in await run(store.reeds, all=request.all)]
        case m.ReedHistory():
            record = await run(store.reed, request.name)
            captures = await run(store.captures, request.name)
            return m.History(reed(record), [capture(each) for each in captures])
    raise GaugelinkError(f"the hub does not know the request {type(request).__name__}")


def reed(record: kept.ReedRecord) -> m.ReedRecord:
    """A reed as the protocol says it."""
    return msgspec.convert(record, m.ReedRecord, from_attributes=True)


def capture(record: kept.CaptureRecord) -> m.CaptureRecord:
    """A capture as the protocol says it: what concerns the store alone is left out."""
    return msgspec.convert(record, m.CaptureRecord, from_attributes=True)
