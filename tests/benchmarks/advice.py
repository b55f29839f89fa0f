"""Reeds scraped by the advice, against makers who go by the bare numbers.

A thousand simulated makers measure the windows, scrape what is advised in as many strokes as are
advised, measure again, and stop when nothing is. The bare maker takes off, at every place that
reads too thick, all that the reading shows above the target. Both have the same reeds, knives,
hands and gauges, and both learn what their strokes take off.

Whether a place is on target is asked of the truth. A zone's side counts as on target by the mean of
its places, and more strictly when each of its places is. The gauge shows a thousandth of a
millimetre and scatters; how much is assumed, for nothing was published: half a hundredth is the
best of what is thought of one maker (from memory), two tenths what the simulated spindle of a
practised hand does. How far values repeat, the hand's placing included, the maker knows from
measuring reeds twice.
"""

from __future__ import annotations

import math
import random
import statistics
from collections.abc import Callable
from decimal import Decimal
from typing import NamedTuple

import msgspec

from gaugelink.craft.advice import advise
from gaugelink.craft.strokes import Pass, assumed, learn, strokes
from gaugelink.craft.style import Stop, Style, find
from gaugelink.craft.verdict import verdict
from simulators.cane import UNSORTED
from simulators.knife import Edge
from simulators.maker import Placing
from simulators.reed import FALL_ALONG, REACH_ACROSS, Reed
from tests.benchmarks import clipping
from tests.benchmarks.table import Row

MAKERS = 1000
STEP = Decimal("0.1")
"""Hundredths: the last digit of an indicator of 0.001 mm."""

MOST_PASSES = 15

PLACING = Placing(along=0.2, across=0.02)
"""How well a maker finds a place again; assumed."""

FARTHEST = 1.5
"""Millimetres to either side of a place that its strokes reach at most; assumed."""

WITHIN = 1.0
"""Hundredths: what counts as on target."""

STUDIED = 20
"""Reeds that are measured twice, to know how far values repeat."""


class Value(msgspec.Struct, frozen=True):
    """A captured thickness, in hundredths."""

    hundredths: Decimal
    resolution: Decimal = STEP


Taken = dict[str, Value]
Passes = list[Pass]


class Job(NamedTuple):
    """What a maker is given."""

    style: Style
    stage: str
    stops: list[Stop]
    scatter: float
    """Hundredths: what the gauge itself scatters by."""


Wanted = Callable[[Job, Taken, Passes], dict[str, int]]
"""A kind of maker: the strokes to do by station key, from the values and from earlier strokes."""


def by_advice(job: Job, taken: Taken, passes: Passes, uncertainty: float) -> dict[str, int]:
    """What the advice says, in the strokes after which it says to measure."""
    style = job.style
    rates = learn(passes, style.scraping)
    found = {}
    for each in advise(job.stops, taken, uncertainty, style.risk, style.scraping).stations:
        if each.take:
            stop = next(stop for stop in job.stops if stop.station == each.station)
            room = float(taken[each.station.key].hundredths - stop.target + stop.tolerance)
            rate = rates.get(each.zone) or assumed(each.zone, style.scraping)
            count = strokes(rate, each.take, room, style.risk.under)
            found[each.station.key] = min(count.likely, count.safe)
    return {key: count for key, count in found.items() if count}


def bare(job: Job, taken: Taken, passes: Passes) -> dict[str, int]:
    """All that is above the target, wherever that is more than is tolerated."""
    rates = learn(passes, job.style.scraping)
    found = {}
    for stop in job.stops:
        value = taken[stop.station.key].hundredths
        if verdict(value, stop.target, stop.tolerance, STEP).word == "take":
            rate = rates.get(stop.zone) or assumed(stop.zone, job.style.scraping)
            found[stop.station.key] = max(1, int(float(value - stop.target) / rate.per_stroke))
    return found


def reaches(stop: Stop, stops: list[Stop]) -> tuple[float, float]:
    """From where to where a place is scraped: the cut runs out half-way to the next place."""
    here = stop.station
    gaps = [
        abs(each.station.height - here.height)
        for each in stops
        if each.station.blade == here.blade
        and each.station.height != here.height
        and abs(each.station.across - here.across) < REACH_ACROSS
    ]
    along = max(0.1, min([FARTHEST, *((gap - FALL_ALONG) / 2 for gap in gaps)]))
    return here.height - along, here.height + along


class Maker:
    """One maker with one reed."""

    def __init__(self, job: Job, seed: int) -> None:
        self._rng = random.Random(f"{seed}/maker")
        # Hands press differently, and not every knife was sharpened today; assumed.
        edge = Edge(per_stroke=self._rng.uniform(0.4, 0.8), worn=self._rng.uniform(0, 200))
        self.reed = Reed(job.style, job.stage, seed, cane=UNSORTED, edge=edge)
        self.passes = 0
        self._job = job

    def measured(self) -> Taken:
        """One pass over all places."""
        self.passes += 1
        found = {}
        for stop in self._job.stops:
            place = PLACING.found(stop.station, self._rng)
            value = self.reed.reads(place) + self._rng.gauss(0, self._job.scatter)
            found[stop.station.key] = Value(Decimal(value).quantize(STEP))
        return found

    def work(self, wanted: Wanted) -> None:
        """Measure and scrape until nothing is wanted."""
        passes: Passes = []
        taken = self.measured()
        while (todo := wanted(self._job, taken, passes)) and self.passes < MOST_PASSES:
            done = [stop for stop in self._job.stops if stop.station.key in todo]
            for stop in done:
                self.reed.scrape(
                    stop.station, reaches(stop, self._job.stops), todo[stop.station.key]
                )
            before, taken = taken, self.measured()
            for stop in done:
                key = stop.station.key
                gone = float(before[key].hundredths - taken[key].hundredths)
                passes.append(Pass(stop.zone, todo[key], gone))

    def off(self) -> dict[tuple[str, str, str], list[float]]:
        """Hundredths above the target by the truth: of the places of each side of each zone."""
        found: dict[tuple[str, str, str], list[float]] = {}
        for stop in self._job.stops:
            station = stop.station
            off = self.reed.thickness(station) - float(stop.target)
            found.setdefault((stop.zone, station.blade, station.side), []).append(off)
        return found


class Tally:
    """What came of many reeds."""

    def __init__(self) -> None:
        self.reeds = self.places = self.passes = 0
        self.zones = self.strict = self.overshot = self.under = self.above = 0

    def add(self, maker: Maker) -> None:
        off = maker.off()
        places = [each for members in off.values() for each in members]
        under = sum(each < -WITHIN for each in places)
        self.reeds += 1
        self.places += len(places)
        self.passes += maker.passes
        self.zones += all(abs(statistics.fmean(members)) <= WITHIN for members in off.values())
        self.strict += all(abs(each) <= WITHIN for each in places)
        self.overshot += under > 0
        self.under += under
        self.above += sum(each > WITHIN for each in places)


def scraped(job: Job, wanted: Wanted) -> Tally:
    """What comes of a thousand reeds."""
    tally = Tally()
    for seed in range(MAKERS):
        maker = Maker(job, seed)
        maker.work(wanted)
        tally.add(maker)
    return tally


def repeatability(job: Job) -> float:
    """Hundredths: the standard deviation of one value, from reeds that were measured twice."""
    squares = []
    for seed in range(STUDIED):
        maker = Maker(job, -1 - seed)
        first, second = maker.measured(), maker.measured()
        squares += [float(first[key].hundredths - second[key].hundredths) ** 2 / 2 for key in first]
    return math.sqrt(statistics.fmean(squares))


def _rows(scatter: float) -> list[Row]:
    style = find("millrace-long")
    job = Job(style, "windows", style.stops("windows"), scatter)
    uncertainty = repeatability(job)
    plain = scraped(job, bare)
    ours = scraped(job, lambda job, taken, passes: by_advice(job, taken, passes, uncertainty))
    name = f"windows, values repeat to {uncertainty:.2f}"

    def row(said: str, counted: Callable[[Tally], float], aim: str, met: bool, per: str) -> Row:
        one, other = counted(plain), counted(ours)
        ratio = other / one if one else None
        return Row(f"{name}: {said}", f"{one:.1f}{per}", f"{other:.1f}{per}", ratio, aim, met)

    def share(counted: Callable[[Tally], float]) -> Callable[[Tally], float]:
        return lambda tally: 100 * counted(tally) / tally.reeds

    return [
        row(
            "reeds with the mean of all zones within 1",
            share(lambda tally: tally.zones),
            "at least 99 %",
            ours.zones >= 0.99 * ours.reeds,
            " %",
        ),
        row("reeds with every place within 1", share(lambda tally: tally.strict), "-", True, " %"),
        row(
            "reeds with a place more than 1 under",
            share(lambda tally: tally.overshot),
            "half at most",
            ours.overshot <= plain.overshot / 2,
            " %",
        ),
        row(
            "places more than 1 under",
            lambda tally: 100 * tally.under / tally.places,
            f"{100 * style.risk.under:g} % at most",
            ours.under <= style.risk.under * ours.places,
            " %",
        ),
        row(
            "places more than 1 above",
            lambda tally: 100 * tally.above / tally.places,
            "-",
            True,
            " %",
        ),
        row("passes", lambda tally: tally.passes / tally.reeds, "-", True, ""),
    ]


def measure() -> list[Row]:
    return [*_rows(0.2), *_rows(0.5), *clipping.measure()]
