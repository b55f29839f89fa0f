"""What the hub knows of how far its gauges can be trusted: it keeps and solves their series.

The analysis is imported when it is first asked for, in a thread: no reading waits for it.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any, TypeVar

import msgspec

from gaugelink.daemon import messages as m
from gaugelink.daemon.keeper import Keeper
from gaugelink.reading import GaugelinkError
from gaugelink.store.series import Kind, SeriesReading, SeriesRecord
from gaugelink.store.store import Store, system_utc

if TYPE_CHECKING:
    from gaugelink.metrology.plans import Plan
    from gaugelink.metrology.proving import Proof
    from gaugelink.metrology.study import Study
    from gaugelink.metrology.trust import Trust

T = TypeVar("T")


async def answer(keeper: Keeper, request: m.TrustRequest) -> Any:
    """Carry out a request about trust; GaugelinkError says why it was not done."""
    book, run = keeper.store.series, keeper.run
    match request:
        case m.BeginSeries():
            kind, plan = await asyncio.to_thread(_checked, bytes(request.plan))
            return await _told(keeper, await run(book.begin, kind, request.gauge, plan))
        case m.AddToSeries():
            await run(
                book.add,
                request.series,
                request.number,
                request.hundredths,
                request.resolution,
                request.unit,
                request.value,
            )
            return None
        case m.SolveSeries():
            record = await run(book.one, request.series)
            readings = await run(book.readings, request.series)
            result = await asyncio.to_thread(_solved, record, readings)
            return await _told(keeper, await run(book.solved, request.series, result))
        case m.AskSeries():
            return await _told(keeper, await run(book.one, request.series))
        case m.ListSeries():
            found = await run(book.all, request.gauge or None)
            return await asyncio.to_thread(lambda: [_series(each, []) for each in found])
        case m.AskTrust():
            return await _trusted(keeper, request.gauge, request.resolution)


async def with_proofs(keeper: Keeper, counts: Iterable[m.GaugeCounts]) -> list[m.GaugeCounts]:
    """The counts, each with when its gauge was proved and whether that is too long ago."""
    told = []
    for each in counts:
        proof, _ = await keeper.run(keeper.store.series.newest, each.name)
        proved_at, old = await asyncio.to_thread(_age, proof, system_utc())
        told.append(msgspec.structs.replace(each, proved_at=proved_at, proof_old=old))
    return told


def standard_uncertainty_of(store: Store, gauge: str, resolution: Decimal) -> Trust:
    """How unsure one reading of a gauge is, by what was proved and studied of it.

    With neither, by the indicator's `resolution` alone; see `gaugelink.metrology.trust`. Waits for
    the disk: the keeper runs it.
    """
    from gaugelink.metrology.trust import trust

    proof, study = store.series.newest(gauge)
    return trust(
        _proof(proof.result) if proof is not None else None,
        _study(study.result) if study is not None else None,
        float(resolution),
    )


async def _trusted(keeper: Keeper, gauge: str, resolution: Decimal) -> m.Trusted:
    if not (resolution.is_finite() and resolution > 0):
        raise GaugelinkError(f"a resolution of {resolution} is none; give one above 0")
    known = await keeper.run(standard_uncertainty_of, keeper.store, gauge, resolution)
    proof, _ = await keeper.run(keeper.store.series.newest, gauge)
    proved_at, old = await asyncio.to_thread(_age, proof, system_utc())
    return m.Trusted(
        gauge,
        known.standard,
        known.repeatability,
        known.systematic,
        known.source,
        proved_at,
        old,
    )


def _age(proof: SeriesRecord | None, now: datetime) -> tuple[str, bool]:
    """When a gauge was proved, and whether that is too old; empty when it never was."""
    if proof is None or proof.found_at is None:
        return "", False
    from gaugelink.metrology.proving import old

    return proof.found_at, old(datetime.fromisoformat(proof.found_at), now)


def _checked(plan: bytes) -> tuple[Kind, bytes]:
    """The kind of a plan and the plan as it is kept; GaugelinkError for one that is none."""
    from gaugelink.metrology.plans import Plan, steps

    try:
        found: Plan = msgspec.json.decode(plan, type=Plan)
    except msgspec.DecodeError as error:
        raise GaugelinkError(f"that is no plan of a series: {error}") from error
    steps(found)
    return _kind(found), m.encoder.encode(found)


def _kind(plan: Plan) -> Kind:
    kind: Kind = type(plan).__struct_config__.tag  # type: ignore[assignment]  # tags are texts
    return kind


def _solved(record: SeriesRecord, kept: list[SeriesReading]) -> bytes:
    from gaugelink.metrology.plans import Shown, solve

    begun = datetime.fromisoformat(record.begun_at)

    def seconds(taken_at: str) -> float:
        return (datetime.fromisoformat(taken_at) - begun).total_seconds()

    shown = [Shown(each.hundredths, each.resolution, seconds(each.taken_at)) for each in kept]
    return m.encoder.encode(solve(_plan(record.plan), shown))


async def _told(keeper: Keeper, record: SeriesRecord) -> m.Series:
    readings = await keeper.run(keeper.store.series.readings, record.series)
    return await asyncio.to_thread(_series, record, readings)


def _series(record: SeriesRecord, readings: list[SeriesReading]) -> m.Series:
    from gaugelink.metrology.plans import steps

    return m.Series(
        record.series,
        record.kind,
        record.gauge,
        record.begun_at,
        msgspec.Raw(record.plan),
        record.made,
        len(steps(_plan(record.plan))),
        record.found_at,
        msgspec.Raw(record.result or b"null"),
        tuple(msgspec.convert(each, m.SeriesReading, from_attributes=True) for each in readings),
    )


def _plan(kept: bytes) -> Plan:
    from gaugelink.metrology.plans import Plan

    return _kept(kept, Plan)  # type: ignore[arg-type]  # a union is no class


def _proof(kept: bytes | None) -> Proof:
    from gaugelink.metrology.proving import Proof

    return _kept(kept or b"null", Proof)


def _study(kept: bytes | None) -> Study:
    from gaugelink.metrology.study import Study

    return _kept(kept or b"null", Study)


def _kept(kept: bytes, kind: type[T]) -> T:
    try:
        return msgspec.json.decode(kept, type=kind)
    except msgspec.DecodeError as error:
        raise GaugelinkError(
            f"what is kept was written by another version ({error}): prove the gauge again"
        ) from error
