"""Advice on a reed, and what moved on it overnight: captures in, messages out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from itertools import pairwise

import msgspec

from gaugelink.craft.advice import advise
from gaugelink.craft.balance import Difference, balance
from gaugelink.craft.measured import COVERAGE, Measured
from gaugelink.craft.mirroring import Proposal, settle_over
from gaugelink.craft.overnight import Condition, overnight
from gaugelink.craft.reed import Station
from gaugelink.craft.spine import spines
from gaugelink.craft.style import Stop, Style
from gaugelink.craft.tally import SITTING
from gaugelink.daemon import messages as m
from gaugelink.reading import GaugelinkError
from gaugelink.store.records import CaptureRecord

UNCERTAINTY = 0.5
"""Hundredths: the standard uncertainty of one captured value when none is given. An assumption, no
source; repeats at the same place differ by 2 at times (from memory)."""

Trust = tuple[float, str]
"""The standard uncertainty of one value in hundredths, and where it comes from."""


def newest(captures: Iterable[CaptureRecord], stage: str) -> dict[str, CaptureRecord]:
    """The newest capture of a stage at each station, by its key, out of those in their order."""
    return {each.station: each for each in captures if each.stage == stage}


def advice(
    reed: str,
    style: Style,
    stage: str,
    taken: Mapping[str, Measured],
    trust: Trust,
    bench: str = "",
) -> m.Advice:
    """What remains on a reed at a stage, by the newest value at each station.

    Raises GaugelinkError for a stage of which nothing was measured, StyleError for none at all.
    """
    of = style.stage(stage)
    stops = style.stops(stage)
    if not any(stop.station.key in taken for stop in stops):
        raise GaugelinkError(f"nothing of {reed} is measured at {stage!r} yet: walk it first")
    spread, source = trust
    found = advise(stops, taken, spread, style.risk, style.scraping)
    beside = balance(stops, taken, spread, style.balancing)
    over = settle_over(stops, taken, spread, style.scraping.removal, style.risk, style.balancing)
    return m.Advice(
        bench=bench,
        reed=reed,
        style=style.name,
        stage=stage,
        title=of.title,
        uncertainty=spread,
        trusted=source,
        lines=list(found.lines),
        steps=list(found.steps),
        stations=list(found.stations),
        zones=list(found.zones),
        over=list(over),
        sides=_worded(beside.sides),
        blades=_worded(beside.blades),
        quadrants=_worded(beside.quadrants),
        whole=_worded(beside.whole),
        spines=[
            m.SpineSeen(each.station, each.word, each.across, each.uncertainty, each.text)
            for each in spines(stops, taken, spread)
        ],
    )


def words(found: m.Advice) -> list[str]:
    """An advice as one reads it: what to take, then how it is balanced, whose judgement last."""
    *steps, hint = found.lines
    by = f"each value ± {COVERAGE * found.uncertainty:.1f} hundredths, {found.trusted}"
    said = [f"{found.reed}, {found.title} ({by}):"]
    said += [f"  {number}. {step}" for number, step in enumerate(steps, 1)]
    said += [f"  {each}" for each in _over(found.over)]
    for title, compared in (
        ("left and right", found.sides),
        ("blade and blade", [*found.blades, *found.whole]),
    ):
        if compared:
            said += [f"{title}, in hundredths:", *(f"  {each.text}" for each in compared)]
    if found.spines:
        said += ["spine:", *(f"  {each.text}" for each in found.spines)]
    return [*said, hint]


def _over(proposals: Sequence[Proposal]) -> list[str]:
    """What the style says where a place is over; those that only stop are named in one line."""
    stopped: dict[Station, list[Proposal]] = {}
    said = []
    for each in proposals:
        if each.why == "stop":
            stopped.setdefault(each.because, []).append(each)
        else:
            said.append(each.text)
    for mirrors in stopped.values():
        if len(mirrors) == 1:
            said.append(mirrors[0].text)
            continue
        why, _, _ = mirrors[0].text.partition(": ")
        places = " and ".join(each.station.spoken for each in mirrors)
        said.append(f"{why}: stop {places} at their targets")
    return said


def moved(reed: str, style: Style, captures: Sequence[CaptureRecord], trust: Trust) -> m.Moved:
    """What moved between the last two sittings at which any of the same places was measured.

    `captures` are those that stand, in their order. Raises GaugelinkError when all were measured
    in one sitting.
    """
    spread, source = trust
    sittings = _sittings(captures)
    if not sittings:
        raise GaugelinkError(f"nothing of {reed} is measured yet: walk it first")
    if len(sittings) < 2:
        raise GaugelinkError(
            f"{reed} was measured in one sitting only: soak it, measure it again, then ask"
        )
    later, earlier = sittings[-1], [each for sitting in sittings[:-1] for each in sitting]
    after: dict[str, Condition] = {}
    for each in later:
        after.setdefault(each.station, _condition(each))
    before = {each.station: _condition(each) for each in earlier}
    stops: dict[str, Stop] = {}
    for stage in style.stages:
        for stop in style.stops(stage.name):
            if stop.station.key in after or stop.station.key in {e.station for e in sittings[-2]}:
                stops.setdefault(stop.station.key, stop)
    found = overnight(list(stops.values()), before, after, spread)
    places = [
        m.MovedPlace(
            each.station, each.zone, each.hundredths, each.uncertainty, each.word, each.text
        )
        for each in found.moved
    ]
    places += [
        m.MovedPlace(
            each.station,
            each.zone,
            None,
            None,
            "not compared",
            f"{each.station.spoken}: {each.why}",
        )
        for each in found.not_compared
    ]
    return m.Moved(reed, earlier[-1].taken_at, later[0].taken_at, spread, source, places)


def _worded(differences: Sequence[Difference]) -> list[m.Compared]:
    return [m.Compared(**msgspec.structs.asdict(each), text=each.text) for each in differences]


def _sittings(captures: Sequence[CaptureRecord]) -> list[list[CaptureRecord]]:
    """The captures, parted where nothing was measured for long."""
    found = [[captures[0]]] if captures else []
    for before, after in pairwise(captures):
        apart = datetime.fromisoformat(after.taken_at) - datetime.fromisoformat(before.taken_at)
        if abs(apart) > SITTING:
            found.append([])
        found[-1].append(after)
    return found


def _condition(capture: CaptureRecord) -> Condition:
    return Condition(capture.hundredths, capture.resolution, capture.wet)
