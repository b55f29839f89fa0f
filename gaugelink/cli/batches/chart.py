"""`gaugelink batch chart`: how a batch varies at one place, and what that means."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

import click

from gaugelink.cli import common

if TYPE_CHECKING:
    from gaugelink.daemon.messages import CaptureRecord, History
    from gaugelink.metrology.batch import Batch


class Picked(NamedTuple):
    """What is looked at of a batch, reed by reed in the order in which they were added."""

    names: tuple[str, ...]
    values: tuple[Decimal, ...]
    target: Decimal
    tolerance: Decimal
    notes: tuple[str, ...]
    """What has to be known to read it rightly."""


@click.command("chart")
@click.argument("batch")
@click.option("--station", help="The place, such as crossed/53/-0.5.")
@click.option("--zone", help="The mean of all places of this zone instead.")
@click.option("--stage", help="The stage; the one that most reeds have reached when not given.")
@common.json_option
@click.pass_context
def command(
    ctx: click.Context,
    batch: str,
    station: str | None,
    zone: str | None,
    stage: str | None,
    as_json: bool,
) -> None:
    """Draw a batch in the order of making, and say what stands out, drifts or will be outside.

    Each reed counts with its newest value at that stage. The tolerance is that of its style.

    \b
    Example: gaugelink batch chart autumn --station crossed/53/-0.5
             gaugelink batch chart autumn --zone windows --stage windows
    """
    if (station is None) == (zone is None):
        raise click.UsageError("Name a --station or a --zone")
    common.run(_chart(ctx, batch, (station, zone), stage, as_json))


async def _chart(
    ctx: click.Context,
    batch: str,
    where: tuple[str | None, str | None],
    stage: str | None,
    as_json: bool,
) -> None:
    from gaugelink.metrology.batch import look_at, say_batch
    from gaugelink.metrology.conformity import Limits
    from gaugelink.metrology.words import Things

    histories = await _histories(ctx, batch)
    chosen = stage or _stage_of(histories, where)
    picked = pick(histories, where, chosen)
    half = float(picked.tolerance)
    low, high = float(picked.target) - half, float(picked.target) + half
    found = look_at(picked.values, Limits(low, high) if half > 0 else None)
    things = Things("reed", "reeds", names=picked.names)
    words, figures = say_batch(found, things)
    about = {"batch": batch, "station": where[0], "zone": where[1], "stage": chosen}
    if as_json:
        common.say(common.json_line(_record(about, picked, found, (*words, *picked.notes))))
        return
    place = where[0] or f"the mean of zone {where[1]}"
    common.say(f"batch {batch}, {place}, stage {chosen}: {len(picked.values)} reeds")
    for line in (
        *_wrapped((*picked.notes, *words)),
        "",
        *_drawn(found, picked),
        "",
        *_wrapped(figures),
    ):
        common.say(line)


def _wrapped(sentences: Iterable[str]) -> Iterable[str]:
    """As lines of the chart's width."""
    from textwrap import wrap

    from gaugelink.cli.batches.drawing import WIDTH

    for each in sentences:
        yield from wrap(each, WIDTH, subsequent_indent="  ")


async def _histories(ctx: click.Context, batch: str) -> list[History]:
    from gaugelink.daemon import messages as m
    from gaugelink.reading import GaugelinkError

    async with common.reach(common.folders_of(ctx)) as client:
        reeds = await client.ask(m.Rack(all=True))
        names = [each.name for each in reeds if each.batch == batch]
        if not names:
            known = ", ".join(sorted({each.batch for each in reeds if each.batch})) or "none"
            raise GaugelinkError(f"no reed is of batch {batch!r}; known batches are {known}")
        return [await client.ask(m.ReedHistory(name=name)) for name in names]


def _at(
    captures: Iterable[CaptureRecord], where: tuple[str | None, str | None], stage: str | None
) -> list[CaptureRecord]:
    """The captures that count: of the place and the stage, and not retaken."""
    station, zone = where
    return [
        each
        for each in captures
        if each.superseded_by is None
        and (stage is None or each.stage == stage)
        and (each.station == station if station is not None else each.zone == zone)
    ]


def _stage_of(histories: list[History], where: tuple[str | None, str | None]) -> str:
    """The stage that most reeds have reached there; of several, the one measured last."""
    from gaugelink.reading import GaugelinkError

    found: Counter[str] = Counter()
    newest: dict[str, int] = {}
    for each in histories:
        captures = _at(each.captures, where, None)
        found.update({capture.stage for capture in captures})
        for capture in captures:
            newest[capture.stage] = max(newest.get(capture.stage, 0), capture.capture)
    if not found:
        raise GaugelinkError(_nothing(histories, where))
    return max(found, key=lambda stage: (found[stage], newest[stage]))


def _nothing(histories: list[History], where: tuple[str | None, str | None]) -> str:
    station, zone = where
    seen = [capture for each in histories for capture in each.captures]
    known = {each.station if station is not None else each.zone for each in seen}
    place = f"station {station!r}" if station is not None else f"zone {zone!r}"
    listed = ", ".join(sorted(known)[:8]) or "nothing"
    return f"no reed of the batch was measured at {place}; measured are {listed}"


def pick(histories: list[History], where: tuple[str | None, str | None], stage: str) -> Picked:
    """The newest value of each reed, or the mean of those of the zone.

    A reed that lacks a place of the zone is left out, and the notes say so. GaugelinkError when
    nothing is left.
    """
    from gaugelink.reading import GaugelinkError

    reeds = {
        each.reed.name: {capture.station: capture for capture in _at(each.captures, where, stage)}
        for each in histories
    }
    places = {station for newest in reeds.values() for station in newest}
    whole = {
        name: newest for name, newest in reeds.items() if newest and len(newest) == len(places)
    }
    if not whole:
        raise GaugelinkError(f"at stage {stage!r}: {_nothing(histories, where)}")
    used = [capture for newest in whole.values() for capture in newest.values()]
    last = max(used, key=lambda capture: capture.capture)
    return Picked(
        tuple(whole),
        tuple(_mean(each.hundredths for each in newest.values()) for newest in whole.values()),
        last.target,
        last.tolerance,
        tuple(_notes(used, [name for name in reeds if name not in whole])),
    )


def _mean(values: Iterable[Decimal]) -> Decimal:
    found = list(values)
    return sum(found, Decimal(0)) / len(found)


def _notes(used: list[CaptureRecord], left_out: list[str]) -> Iterable[str]:
    if left_out:
        yield f"left out, for they are not measured there: {', '.join(left_out)}"
    if {"wet", "dry"} <= {each.wet for each in used}:
        yield "some were measured wet and some dry: that alone makes them differ"
    if len({(each.target, each.tolerance) for each in used}) > 1:
        yield "their targets differ: the newest one counts"
    if len({each.gauge for each in used}) > 1:
        yield "they were measured with several gauges"


def _drawn(found: Batch, picked: Picked) -> list[str]:
    from gaugelink.cli.batches.drawing import LEGEND, LEGEND_TOLERANCE, LOW, draw

    half = float(picked.tolerance)
    target = float(picked.target)
    tolerance = (target - half, target + half) if half > 0 else ()
    return [
        LEGEND,
        *([LEGEND_TOLERANCE] if tolerance else []),
        *draw(found.chart.individuals, picked.names, tolerance),
        "the step from each reed to the next:",
        *draw(found.chart.ranges, picked.names, rows=LOW),
    ]


def _record(
    about: dict[str, str | None], picked: Picked, found: Batch, says: tuple[str, ...]
) -> dict[str, object]:
    return {
        "is": "batch-chart",
        **about,
        "reeds": picked.names,
        "values": picked.values,
        "target": picked.target,
        "tolerance": picked.tolerance,
        "says": says,
        "found": found,
    }
