"""Many reeds at once: a batch sorted, and what the graded reeds of a style have alike."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import msgspec

from gaugelink.craft.sorting import sort_batch
from gaugelink.craft.style import Stop, Style
from gaugelink.daemon import advising, drafting
from gaugelink.daemon import messages as m
from gaugelink.daemon.advisor import trust_in
from gaugelink.daemon.keeper import Keeper
from gaugelink.reading import GaugelinkError
from gaugelink.store.records import OFF_THE_RACK, CaptureRecord
from gaugelink.store.store import Store

HINT = "A few reeds of one maker prove nothing: play them, and let your ear decide."

_PLAY = "note how one plays with `gaugelink reed NAME play --response 4`"


class Graded(msgspec.Struct, frozen=True):
    """A reed that was played, with its newest value at each station of each stage."""

    name: str
    grade: float
    """The mean of its newest playing test."""
    taken: dict[tuple[str, str], CaptureRecord]
    """By stage and station key."""


async def answer(
    keeper: Keeper, request: m.Request, style_of: Callable[[str], Style], own: Path | None
) -> Any:
    """Carry out a request about many reeds; `own` is the folder of the user's styles."""
    match request:
        case m.SortBatch():
            return await _sorted(keeper, request, style_of)
        case m.Best() | m.DraftStyle():
            name = request.style or await keeper.run(_only_style, keeper.store)
            style = style_of(name)
            graded = await keeper.run(_graded, keeper.store, style.name)
            if not graded:
                raise GaugelinkError(f"no reed of {style.name} has a grade yet: {_PLAY}")
            if isinstance(request, m.Best):
                return await asyncio.to_thread(_best, style, graded, request)
            good = [each for each in graded if each.grade >= request.at_least]
            return await asyncio.to_thread(drafting.draft, style, good, request, own)
    raise GaugelinkError(f"the hub does not know the request {type(request).__name__}")


async def _sorted(
    keeper: Keeper, request: m.SortBatch, style_of: Callable[[str], Style]
) -> list[m.SortedBlank]:
    store, run = keeper.store, keeper.run
    reeds = [each for each in await run(store.reeds, all=True) if each.batch == request.batch]
    reeds = [each for each in reeds if each.state not in OFF_THE_RACK]
    if not reeds:
        raise GaugelinkError(
            f"no reed on the rack is of batch {request.batch!r}: `gaugelink rack` shows the batches"
        )
    if len(styles := {each.style for each in reeds}) > 1:
        raise GaugelinkError(
            f"batch {request.batch!r} has reeds of {', '.join(sorted(styles))}: "
            "only reeds of one style can be sorted"
        )
    style = style_of(reeds[0].style)
    stage = request.stage or style.stages[0].name
    stops = style.stops(stage)
    kept = {each.name: await run(store.captures, each.name, current_only=True) for each in reeds}
    taken = {name: advising.newest(captures, stage) for name, captures in kept.items()}
    of_stage = [each for found in taken.values() for each in found.values()]
    spread, _ = await trust_in(keeper, of_stage, request.uncertainty)
    return [
        m.SortedBlank(
            each.name,
            each.place,
            each.group,
            each.off,
            each.uneven,
            each.measured,
            list(each.reasons),
        )
        for each in sort_batch(stops, taken, spread)
    ]


def _only_style(store: Store) -> str:
    """The one style whose reeds have grades; in the store's thread."""
    played = {each.reed for each in store.workbook.tests() if each.test.grades}
    found = sorted({each.style for each in store.reeds(all=True) if each.name in played})
    if len(found) > 1:
        raise GaugelinkError(f"reeds of {', '.join(found)} have grades: choose one with --style")
    if not found:
        raise GaugelinkError(f"no reed has a grade yet: {_PLAY}")
    return found[0]


def _graded(store: Store, style: str) -> list[Graded]:
    """The reeds of a style that have a grade; in the store's thread."""
    tests = {each.reed: each.test for each in store.workbook.tests() if each.test.grades}
    found = []
    for reed in store.reeds(all=True):
        mean = tests[reed.name].mean if reed.name in tests else None
        if reed.style != style or mean is None:
            continue
        captures = store.captures(reed.name, current_only=True)
        taken = {(each.stage, each.station): each for each in captures if each.style == style}
        found.append(Graded(reed.name, float(mean), taken))
    return found


def _best(style: Style, graded: Sequence[Graded], request: m.Best) -> m.BestReeds:
    from gaugelink.metrology.tolerance import samples_needed

    needs = samples_needed(request.coverage, request.confidence)
    stations = [
        found
        for stage in style.stages
        for stop in style.stops(stage.name)
        if (found := _station(stage.name, stop, graded, request, needs)) is not None
    ]
    good = [each.name for each in graded if each.grade >= request.at_least]
    return m.BestReeds(
        style=style.name,
        graded=[each.name for each in graded],
        good=good,
        at_least=request.at_least,
        coverage=request.coverage,
        confidence=request.confidence,
        free_needs=needs,
        stations=stations,
        lines=_lines(stations, graded, good, request, needs),
    )


def _station(
    stage: str, stop: Stop, graded: Sequence[Graded], request: m.Best, needs: int
) -> m.BestStation | None:
    """A station on the graded reeds; None when none of them was measured there."""
    from gaugelink.metrology.samples import mean
    from gaugelink.metrology.tolerance import distribution_free_interval, normal_interval

    place = stage, stop.station.key
    known = [each for each in graded if place in each.taken]
    if not known:
        return None
    good = [each.taken[place].hundredths for each in known if each.grade >= request.at_least]
    asked = request.coverage, request.confidence
    normal = _span(normal_interval(good, *asked)) if len(good) >= 2 else None
    free = _span(distribution_free_interval(good, *asked)) if len(good) >= needs else None
    middle = mean(good) if good else None
    goes = _goes_with(place, known)
    said = [f"mean {middle:.1f}" if middle is not None else "no good reed measured"]
    said += [f"{span.lower:.1f} to {span.upper:.1f}" for span in (normal,) if span]
    said += [f"in any shape {span.lower:.1f} to {span.upper:.1f}" for span in (free,) if span]
    if goes is not None:
        said.append(_said(goes))
    return m.BestStation(
        stage=stage,
        station=stop.station,
        zone=stop.zone,
        good=len(good),
        mean=middle,
        normal=normal,
        free=free,
        goes_with=goes,
        text=f"{stage}, {stop.station.spoken}: {'; '.join(said)}",
    )


def _span(interval: Any) -> m.Span:
    return m.Span(interval.lower, interval.upper, interval.confidence)


def _goes_with(place: tuple[str, str], known: Sequence[Graded]) -> m.GoesWith | None:
    from gaugelink.metrology.correlation import FEWEST, spearman

    values = [each.taken[place].hundredths for each in known]
    grades = [each.grade for each in known]
    if len(known) < FEWEST or len(set(values)) < 2 or len(set(grades)) < 2:
        return None
    found = spearman(values, grades)
    return m.GoesWith(found.n, found.rho, found.lower, found.upper, found.p, found.told, found.more)


def _said(goes: m.GoesWith) -> str:
    by = f"{goes.rho:+.2f} ({goes.lower:+.2f} to {goes.upper:+.2f})"
    if goes.told:
        return f"{'thicker' if goes.rho > 0 else 'thinner'} goes with a better grade {by}"
    if goes.more is None:
        return f"does not go with the grade {by}"
    return f"can't tell from chance {by}, {goes.more} graded reeds more would"


def _lines(
    stations: Sequence[m.BestStation],
    graded: Sequence[Graded],
    good: Sequence[str],
    request: m.Best,
    needs: int,
) -> list[str]:
    share, sure = 100 * request.coverage, 100 * request.confidence
    said = [
        f"{len(graded)} graded, {len(good)} of them {request.at_least:f} or better; "
        f"limits in hundredths, for {share:g} % of such reeds, {sure:g} % sure"
    ]
    if len(good) < needs:
        said.append(
            f"limits hold if thickness scatters normally; {needs} good reeds give some in any shape"
        )
    compared = [each.goes_with for each in stations if each.goes_with is not None]
    if compared:
        told = sum(each.told for each in compared)
        said.append(
            f"{told} of {len(compared)} stations go with the grade; "
            f"about {0.05 * len(compared):.1f} would by chance alone"
        )
    else:
        said.append("which stations go with the grade needs 5 reeds measured and graded unlike")
    return [*said, HINT]
