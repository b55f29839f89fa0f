"""Studies: their plans, and what is found where the scatter that was put in is known."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Callable, Iterable
from decimal import Decimal
from random import Random

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.metrology.samples import MetrologyError, Value
from gaugelink.metrology.study import (
    Placed,
    Study,
    Trial,
    crossed_plan,
    placing_plan,
    solve_crossed,
    solve_placing,
    told_apart,
)

STATIONS = ["tip", "blend", "heart", "windows", "spine"]
PEOPLE = ["Ada", "Ben", "Cleo"]


@given(st.integers(0, 1000), st.integers(2, 5), st.integers(2, 3), st.integers(2, 4))
def test_a_crossed_plan_has_everything_once_and_rounds_are_whole(
    seed: int, stations: int, people: int, trials: int
) -> None:
    where, who = STATIONS[:stations], PEOPLE[:people]
    plan = list(crossed_plan(where, who, trials, Random(seed)))
    assert Counter(plan) == Counter(
        Trial(*each) for each in itertools.product(where, who, range(1, trials + 1))
    )
    assert [each.trial for each in plan] == sorted(each.trial for each in plan)
    # A person has gone through all stations before the next one begins.
    turns = [list(group) for _, group in itertools.groupby(plan, lambda t: (t.trial, t.person))]
    assert all(len(turn) == stations for turn in turns)


@given(st.integers(0, 1000), st.integers(1, 5), st.integers(2, 4), st.integers(2, 4))
def test_a_plan_alone_lifts_in_a_row_and_places_anew(
    seed: int, stations: int, placings: int, lifts: int
) -> None:
    plan = list(placing_plan(STATIONS[:stations], placings, lifts, Random(seed)))
    assert len(plan) == len(set(plan)) == stations * placings * lifts
    for start in range(0, len(plan), lifts):
        row = plan[start : start + lifts]
        assert len({(each.station, each.placing) for each in row}) == 1
        assert [each.lift for each in row] == list(range(1, lifts + 1))


def test_the_order_is_drawn_by_the_random_that_is_passed_in() -> None:
    def plan(seed: int) -> list[Trial]:
        return list(crossed_plan(STATIONS, PEOPLE, 3, Random(seed)))

    assert plan(1) == plan(1) != plan(2)
    first, second = (
        [each.station for each in plan(1) if (each.person, each.trial) == ("Ada", trial)]
        for trial in (1, 2)
    )
    assert first != second


def measured(
    random: Random, lift: float, person: float, at_station: float, step: float = 0.001
) -> list[tuple[Trial, Value]]:
    """An invented study: ten stations, eight people, four trials, normal scatter."""
    stations = {f"s{number}": 40 + random.gauss(0, 6) for number in range(10)}
    people = {f"p{number}": random.gauss(0, person) for number in range(8)}
    cell = {each: random.gauss(0, at_station) for each in itertools.product(stations, people)}
    found: list[tuple[Trial, Value]] = []
    for trial in crossed_plan(list(stations), list(people), 4, random):
        true = stations[trial.station] + people[trial.person] + cell[trial.station, trial.person]
        shown = round((true + random.gauss(0, lift)) / step) * step
        found.append((trial, shown))
    return found


def test_what_was_put_in_is_found_within_the_intervals() -> None:
    """Seeded; at 99.9 % an interval that misses is a fault and no chance."""
    study = solve_crossed(measured(Random(5), 0.5, 1.0, 0.8), 0.001, confidence=0.999)
    assert not study.pooled
    for name, true in (
        ("repeatability", 0.5),
        ("people", 1.0),
        ("people at stations", 0.8),
        ("reproducibility", math.hypot(1.0, 0.8)),
        ("stations", 6.0),
    ):
        found = study.component(name)
        assert found.low <= true <= found.high, name
        assert found.low <= found.deviation <= found.high, name
    all_of_it = math.sqrt(0.5**2 + 1.0**2 + 0.8**2)
    assert study.gauge.low <= all_of_it <= study.gauge.high


def test_without_an_interaction_it_is_pooled_and_with_one_it_never_is() -> None:
    pools = [
        solve_crossed(measured(Random(seed), 0.5, 1.0, 0.0), 0.001).pooled for seed in range(8)
    ]
    assert pools.count(True) >= 4, "at p above 0.25 about three of four are"
    kept = [solve_crossed(measured(Random(seed), 0.5, 1.0, 1.0), 0.001).pooled for seed in range(8)]
    assert not any(kept)


@given(st.randoms(use_true_random=False))
def test_the_order_of_the_readings_changes_nothing(random: Random) -> None:
    readings = measured(Random(5), 0.5, 1.0, 0.8)
    shuffled = random.sample(readings, len(readings))
    one, two = solve_crossed(readings, 0.001), solve_crossed(shuffled, 0.001)
    assert one.gauge == two.gauge
    assert one.components == two.components


def placed(
    random: Random, lift: float, placing: float, stations: Iterable[str] = STATIONS
) -> list[tuple[Placed, Value]]:
    """An invented study of one person alone."""
    plan = placing_plan(list(stations), 12, 5, random)
    found: list[tuple[Placed, Value]] = []
    for _, row in itertools.groupby(plan, lambda each: (each.station, each.placing)):
        moved = random.gauss(0, placing)
        found += [(each, 40 + len(each.station) + moved + random.gauss(0, lift)) for each in row]
    return found


def test_lifting_and_placing_are_told_apart() -> None:
    study = solve_placing(placed(Random(3), 0.3, 1.2), 0.001, confidence=0.999)
    for name, true in (("repeatability", 0.3), ("placing", 1.2)):
        found = study.component(name)
        assert found.low <= true <= found.high, name
    assert study.gauge.low <= math.hypot(0.3, 1.2) <= study.gauge.high
    assert study.gauge.deviation == pytest.approx(
        math.hypot(*(study.component(name).deviation for name in ("repeatability", "placing")))
    )


def test_one_station_says_nothing_of_stations() -> None:
    study = solve_placing(placed(Random(3), 0.3, 1.2, ["tip"]), 0.001)
    assert [term.name for term in study.table] == ["placing", "repeatability"]
    assert study.distinct_categories is None
    with pytest.raises(MetrologyError, match="it has repeatability, placing"):
        study.component("stations")


def test_a_placing_that_adds_nothing_is_reported_negative_and_counts_as_none() -> None:
    """The lifts of each placing swing about the same mean: the placings agree too well."""
    readings = [
        (Placed("tip", placing, lift), Decimal(40 + swing))
        for placing in (1, 2, 3)
        for lift, swing in ((1, -1), (2, 0), (3, 1))
    ]
    study = solve_placing(readings, 1)
    placing = study.component("placing")
    assert placing.estimate == pytest.approx(-1 / 3)
    assert placing.deviation == 0
    assert study.gauge.deviation == study.component("repeatability").deviation == 1.0
    assert study.gauge.high >= study.gauge.deviation


def test_a_gauge_too_coarse_to_show_any_scatter_tells_no_less_than_its_step() -> None:
    readings = [(each, Decimal(40)) for each in placing_plan(STATIONS, 3, 3, Random(1))]
    study = solve_placing(readings, resolution=10)
    assert study.gauge.deviation == 0
    assert study.told_apart == 10
    assert study.distinct_categories is None
    crossed = [(each, Decimal(40)) for each in crossed_plan(STATIONS, PEOPLE, 2, Random(1))]
    assert solve_crossed(crossed, 10).pooled


def test_told_apart_is_the_repeatability_limit() -> None:
    assert told_apart(1.0, 0.1) == pytest.approx(2.77, abs=0.005)
    assert told_apart(0.01, 0.1) == 0.1


def test_hundredths_that_stations_differ_by_make_categories() -> None:
    fine = solve_crossed(measured(Random(5), 0.1, 0.1, 0.0), 0.001)
    coarse = solve_crossed(measured(Random(5), 6.0, 6.0, 0.0), 0.001)
    assert fine.distinct_categories is not None
    assert fine.distinct_categories > 20
    assert coarse.distinct_categories == 1
    assert fine.told_apart < 1 < coarse.told_apart


def test_a_study_is_plain_data_and_comes_back_from_json() -> None:
    study = solve_crossed(measured(Random(5), 0.5, 1.0, 0.8), 0.001)
    assert msgspec.json.decode(msgspec.json.encode(study), type=Study) == study


FULL = measured(Random(5), 0.5, 1.0, 0.8)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (lambda: crossed_plan(["tip"], PEOPLE, 2, Random(1)), "two stations"),
        (lambda: crossed_plan(STATIONS, ["Ada"], 2, Random(1)), "two people"),
        (lambda: crossed_plan(STATIONS, PEOPLE, 1, Random(1)), "two trials"),
        (lambda: crossed_plan(["tip", "tip"], PEOPLE, 2, Random(1)), "'tip' stands twice"),
        (lambda: placing_plan([], 2, 2, Random(1)), "needs a station"),
        (lambda: placing_plan(["tip"], 2, 1, Random(1)), "two lifts"),
        (lambda: placing_plan(["tip", "tip"], 2, 2, Random(1)), "stands twice"),
        (lambda: solve_crossed([], 1), "no readings"),
        (lambda: solve_placing([], 1), "no readings"),
        (lambda: solve_crossed(FULL[:-1], 1), r"station s\d by p\d has 3 of 4 readings"),
        (lambda: solve_crossed([*FULL, FULL[0]], 1), "stands twice"),
        (
            lambda: solve_placing(placed(Random(1), 1, 1)[:-1], 1),
            r"station \w+ placing 12 has 4 of 5 readings",
        ),
        (lambda: solve_crossed([(Trial("a", "b", 1), 1)], 1), "two stations"),
    ],
)
def test_a_study_that_cannot_be_made_or_solved_is_refused(
    wrong: Callable[[], object], said: str
) -> None:
    with pytest.raises(MetrologyError, match=said):
        wrong()
