"""Repeatability and reproducibility: what one gauge in these hands can tell apart.

Two studies. Several people each measure the same stations several times, crossed: the scatter is
shared out among repeats, people, people at different stations, and the stations themselves. One
person alone lifts the spindle several times without moving the reed, then places it anew, and so
on: the scatter is shared out between lifting and placing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from random import Random
from statistics import NormalDist

import msgspec

from gaugelink.metrology.anova import (
    CONFIDENCE,
    Term,
    VarianceComponent,
    component,
    crossed,
    f_test,
    nested,
    pooled,
)
from gaugelink.metrology.samples import MetrologyError, Value

POOL_ABOVE = 0.25
"""An interaction whose p is above this is pooled with the repeats.

Common practice in gauge studies, after Bozivich, Bancroft and Hartley (1956); from memory. So high
a level guards against pooling an interaction that is there."""


class Trial(msgspec.Struct, frozen=True):
    """One reading to be made in a crossed study."""

    station: str
    person: str
    trial: int
    """Counts from 1."""


class Placed(msgspec.Struct, frozen=True):
    """One reading to be made by one person alone."""

    station: str
    placing: int
    """Counts from 1: how often the reed has been put on the tongue at this station."""
    lift: int
    """Counts from 1 within a placing."""


class Study(msgspec.Struct, frozen=True):
    """What a study found; lengths are in the unit of its readings, hundredths of a millimetre."""

    table: tuple[Term, ...]
    """The analysis of variance, each term tested against the one below it in the design."""
    components: tuple[VarianceComponent, ...]
    gauge: VarianceComponent
    """All of the measuring together: one reading, by anyone, placed anew."""
    pooled: bool
    """Whether the interaction of people and stations was pooled with the repeats."""
    distinct_categories: int | None
    """How many groups of stations the gauge can tell apart: √2 times the stations' deviation over
    the gauge's, cut to a whole number, at least 1. Below 5 is poor (from memory, common practice in
    industry). None when the gauge shows no scatter, or there is one station only."""
    told_apart: float
    """Two single readings that differ by less than this may be of one thickness."""
    confidence: float
    """Of the components' intervals, and of `told_apart`."""

    def component(self, name: str) -> VarianceComponent:
        """The component of that name; MetrologyError lists the known ones."""
        for each in self.components:
            if each.name == name:
                return each
        known = ", ".join(each.name for each in self.components)
        raise MetrologyError(f"the study has no component {name!r}; it has {known}")


def crossed_plan(
    stations: Sequence[str], people: Sequence[str], trials: int, random: Random
) -> Iterator[Trial]:
    """Every station by every person, `trials` times, in an order that `random` draws.

    A trial is a round: each person in turn, and each goes through all stations, in an order drawn
    anew. So no person measures always first, and what the cane does with time falls on all alike.
    Raises MetrologyError for fewer than two of each, or a name that stands twice.
    """
    if min(len(stations), len(people), trials) < 2:
        raise MetrologyError("a crossed study needs two stations, two people and two trials")
    _check_names(stations)
    _check_names(people)
    return (
        Trial(station, person, trial)
        for trial in range(1, trials + 1)
        for person in random.sample(people, len(people))
        for station in random.sample(stations, len(stations))
    )


def placing_plan(
    stations: Sequence[str], placings: int, lifts: int, random: Random
) -> Iterator[Placed]:
    """Every station placed `placings` times, with `lifts` lifts in a row at each placing.

    The stations of each round come in an order that `random` draws, so that the same station is
    never found again from memory of the hand. Raises MetrologyError for fewer than two placings or
    lifts, for no station, or a name that stands twice.
    """
    if not stations or min(placings, lifts) < 2:
        raise MetrologyError("a study alone needs a station, two placings of it and two lifts")
    _check_names(stations)
    return (
        Placed(station, placing, lift)
        for placing in range(1, placings + 1)
        for station in random.sample(stations, len(stations))
        for lift in range(1, lifts + 1)
    )


def solve_crossed(
    readings: Iterable[tuple[Trial, Value]],
    resolution: float,
    confidence: float = CONFIDENCE,
    pool_above: float = POOL_ABOVE,
) -> Study:
    """Solve a crossed study by two-way random-effects analysis of variance.

    `resolution` is the step of the indicator's last digit, in the readings' unit. Raises
    MetrologyError when a reading stands twice, or the study is not balanced.
    """
    found: dict[str, dict[str, dict[int, Value]]] = {}
    people: dict[str, None] = {}
    for trial, value in readings:
        people.setdefault(trial.person)
        _put(found.setdefault(trial.station, {}).setdefault(trial.person, {}), trial.trial, value)
    cells = _balanced(
        {
            station: {f"by {person}": by_person.get(person, {}) for person in people}
            for station, by_person in found.items()
        }
    )
    stations, persons, interaction, repeats = crossed(cells)
    return assess_crossed(
        (
            msgspec.structs.replace(stations, name="stations"),
            msgspec.structs.replace(persons, name="people"),
            msgspec.structs.replace(interaction, name="people at stations"),
            msgspec.structs.replace(repeats, name="repeatability"),
        ),
        resolution,
        confidence,
        pool_above,
    )


def assess_crossed(
    table: tuple[Term, Term, Term, Term],
    resolution: float,
    confidence: float = CONFIDENCE,
    pool_above: float = POOL_ABOVE,
) -> Study:
    """A crossed study from its table: stations, people, interaction and repeats.

    The interaction is pooled with the repeats when its p is above `pool_above`, and when nothing
    scatters. Negative variances count as none, and so add nothing to the gauge's. The degrees of
    freedom tell how many stations, people and trials there were.
    """
    stations, people, interaction, repeats = table
    a, b = stations.degrees_of_freedom + 1, people.degrees_of_freedom + 1
    n = repeats.degrees_of_freedom // (a * b) + 1
    interaction = f_test(interaction, repeats)
    pool = interaction.p is None or interaction.p > pool_above
    if pool:
        repeats = pooled(repeats.name, (interaction, repeats))
    below = repeats if pool else interaction
    stations, people = f_test(stations, below), f_test(people, below)

    def of(name: str, *weighted: tuple[float, Term]) -> VarianceComponent:
        return component(name, weighted, confidence)

    repeatability = of("repeatability", (1, repeats))
    of_people = of("people", (1 / (a * n), people), (-1 / (a * n), below))
    of_stations = of("stations", (1 / (b * n), stations), (-1 / (b * n), below))
    if pool:
        gauge = of("gauge", (1 / (a * n), people), (1 - 1 / (a * n), repeats))
        gauge = _added(gauge, repeatability, of_people)
        found = [repeatability, of_people, of_stations]
    else:
        by_people = (1 / (a * n), people), ((a - 1) / (a * n), interaction)
        at_stations = of("people at stations", (1 / n, interaction), (-1 / n, repeats))
        reproducibility = of("reproducibility", *by_people, (-1 / n, repeats))
        reproducibility = _added(reproducibility, of_people, at_stations)
        gauge = of("gauge", *by_people, (1 - 1 / n, repeats))
        gauge = _added(gauge, repeatability, of_people, at_stations)
        found = [repeatability, of_people, at_stations, reproducibility, of_stations]
    lines = (stations, people, *(() if pool else (interaction,)), repeats)
    return _study(lines, found, gauge, of_stations, pool, resolution, confidence)


def solve_placing(
    readings: Iterable[tuple[Placed, Value]], resolution: float, confidence: float = CONFIDENCE
) -> Study:
    """Solve the study of one person alone by nested analysis of variance.

    Lifts lie within placings, placings within stations. `resolution` is the step of the
    indicator's last digit, in the readings' unit. Raises MetrologyError when a reading stands
    twice, or the study is not balanced.
    """
    found: dict[str, dict[int, dict[int, Value]]] = {}
    placings: dict[int, None] = {}
    for placed, value in readings:
        placings.setdefault(placed.placing)
        lifts = found.setdefault(placed.station, {}).setdefault(placed.placing, {})
        _put(lifts, placed.lift, value)
    cells = _balanced(
        {
            station: {f"placing {each}": by_placing.get(each, {}) for each in placings}
            for station, by_placing in found.items()
        }
    )
    first, second, repeats = nested(cells)
    return assess_nested(
        first and msgspec.structs.replace(first, name="stations"),
        msgspec.structs.replace(second, name="placing"),
        msgspec.structs.replace(repeats, name="repeatability"),
        (len(cells[0]), len(cells[0][0])),
        resolution,
        confidence,
    )


def assess_nested(
    first: Term | None,
    second: Term,
    repeats: Term,
    shape: tuple[int, int],
    resolution: float,
    confidence: float = CONFIDENCE,
) -> Study:
    """A nested study from its table; components take the names of the terms.

    `shape` is how many of the second within each of the first, and how many repeats in each.
    """
    b, n = shape
    second = f_test(second, repeats)
    lifting = component(repeats.name, [(1, repeats)], confidence)
    placing = component(second.name, [(1 / n, second), (-1 / n, repeats)], confidence)
    gauge = component("gauge", [(1 / n, second), (1 - 1 / n, repeats)], confidence)
    gauge = _added(gauge, lifting, placing)
    if first is None:
        found = [lifting, placing]
        return _study((second, repeats), found, gauge, None, False, resolution, confidence)
    first = f_test(first, second)
    weight = 1 / (b * n)
    stations = component(first.name, [(weight, first), (-weight, second)], confidence)
    found = [lifting, placing, stations]
    return _study((first, second, repeats), found, gauge, stations, False, resolution, confidence)


def told_apart(deviation: float, resolution: float, confidence: float = CONFIDENCE) -> float:
    """The smallest difference of two single readings that is not chance, in their unit.

    1.96 √2 standard deviations at 95 %: the repeatability limit of ISO 5725-6 (from memory). A
    difference smaller than one step of the last digit is never seen.
    """
    return max(resolution, NormalDist().inv_cdf((1 + confidence) / 2) * math.sqrt(2) * deviation)


def _added(total: VarianceComponent, *parts: VarianceComponent) -> VarianceComponent:
    """The total with the deviation of its parts, so that no negative part makes it smaller."""
    deviation = math.hypot(*(part.deviation for part in parts))
    high = max(deviation, total.high)
    return msgspec.structs.replace(total, deviation=deviation, high=high)


def _study(
    table: tuple[Term, ...],
    found: list[VarianceComponent],
    gauge: VarianceComponent,
    stations: VarianceComponent | None,
    pool: bool,
    resolution: float,
    confidence: float,
) -> Study:
    categories = None
    if stations is not None and gauge.deviation > 0:
        categories = max(1, math.floor(math.sqrt(2) * stations.deviation / gauge.deviation))
    apart = told_apart(gauge.deviation, resolution, confidence)
    return Study(table, tuple(found), gauge, pool, categories, apart, confidence)


def _balanced(places: dict[str, dict[str, dict[int, Value]]]) -> list[list[list[Value]]]:
    """The readings by place; MetrologyError names a place that has fewer than another."""
    if not places:
        raise MetrologyError("the study has no readings; measure the stations first")
    most = max(len(cell) for row in places.values() for cell in row.values())
    for station, row in places.items():
        for where, cell in row.items():
            if len(cell) < most:
                raise MetrologyError(
                    f"station {station} {where} has {len(cell)} of {most} readings; "
                    "measure what is missing"
                )
    return [[list(cell.values()) for cell in row.values()] for row in places.values()]


def _put(cell: dict[int, Value], number: int, value: Value) -> None:
    if number in cell:
        raise MetrologyError(f"reading {number} of a place stands twice; keep one of them")
    cell[number] = value


def _check_names(names: Sequence[str]) -> None:
    for name in names:
        if names.count(name) > 1:
            raise MetrologyError(f"{name!r} stands twice; name each once")
