"""Pass, fail or cannot tell; take, leave or over; and when more readings would settle it."""

from __future__ import annotations

import math
from collections.abc import Callable
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.metrology.conformity import (
    MOST_READINGS,
    Limits,
    acceptance_limits,
    decide,
    global_risks,
    guard_band,
    how_many_more,
    judge,
    shares,
)
from gaugelink.metrology.samples import MetrologyError

values = st.floats(-100, 100)
uncertainties = st.floats(0, 50)
risks = st.floats(0.001, 0.49)
bounds = st.none() | st.floats(-50, 50)


@st.composite
def limits(draw: st.DrawFn) -> Limits:
    lower, upper = draw(bounds), draw(bounds)
    if lower is not None and upper is not None:
        lower, upper = sorted((lower, upper))
    return Limits(lower, upper)


@given(values, uncertainties, limits())
def test_shares_are_probabilities_that_make_one(value: float, u: float, within: Limits) -> None:
    found = shares(value, u, within)
    assert all(0 <= each <= 1 for each in (found.below, found.within, found.above))
    assert found.below + found.within + found.above == pytest.approx(1)
    if within.lower is None:
        assert found.below == 0
    if within.upper is None:
        assert found.above == 0


def test_without_uncertainty_a_value_is_what_it_says() -> None:
    both = Limits(39.0, 41.0)
    for value, outcome in ((39.0, "pass"), (41.0, "pass"), (41.001, "fail"), (38.999, "fail")):
        assert decide(value, 0.0, both).outcome == outcome


@given(values, uncertainties, uncertainties, limits(), risks)
def test_knowing_better_never_unsettles_a_decision(
    value: float, one: float, two: float, within: Limits, risk: float
) -> None:
    better, worse = sorted((one, two))
    decided = decide(value, worse, within, risk).outcome
    if decided != "cannot tell":
        assert decide(value, better, within, risk).outcome == decided


@given(values, limits(), risks)
def test_knowing_nothing_settles_nothing(value: float, within: Limits, risk: float) -> None:
    if within.lower is None and within.upper is None:
        return
    assert decide(value, 1e6, within, risk).outcome == "cannot tell"


@pytest.mark.parametrize(
    ("mean", "u", "finding"),
    [
        (40.0, 0.3, "leave"),
        (40.9, 0.3, "cannot tell"),
        (41.1, 0.3, "cannot tell"),
        (41.6, 0.3, "take"),
        (38.4, 0.3, "over"),
        (38.9, 0.3, "cannot tell"),
        (40.0, 0.6, "cannot tell"),
        (40.0, 30.0, "cannot tell"),
        (41.0, 0.0, "leave"),
        (39.0, 0.0, "leave"),
        (41.01, 0.0, "take"),
    ],
)
def test_a_station_with_target_40_and_tolerance_1(mean: float, u: float, finding: str) -> None:
    found = judge(mean, u, 40.0, 1.0)
    assert found.finding == finding
    assert found.take + found.leave + found.over == pytest.approx(1)


def test_the_limits_of_a_tolerance_that_no_float_holds_are_on_target() -> None:
    assert 10.1 + 0.2 < 10.3
    assert judge(10.3, 0.0, 10.1, 0.2).finding == "leave"
    assert judge(9.9, 0.0, 10.1, 0.2).finding == "leave"


@given(values, st.floats(0.01, 20), st.floats(0, 10), risks)
def test_above_and_below_the_target_mirror_each_other(
    away: float, u: float, tolerance: float, risk: float
) -> None:
    above, below = judge(away, u, 0.0, tolerance, risk), judge(-away, u, 0.0, tolerance, risk)
    assert above.take == pytest.approx(below.over)
    assert above.over == pytest.approx(below.take)
    mirrored = {"take": "over", "over": "take"}
    assert mirrored.get(above.finding, above.finding) == below.finding


@given(uncertainties, limits(), risks)
def test_acceptance_limits_are_where_passing_ends(u: float, within: Limits, risk: float) -> None:
    found = acceptance_limits(within, u, risk)
    if found is None:
        assert within.lower is not None
        assert within.upper is not None
        middle = (within.lower + within.upper) / 2
        assert decide(middle, u, within, risk).outcome != "pass"
        return
    slack = 1e-6 * (1 + u)
    for edge, outwards in ((found.lower, -1), (found.upper, 1)):
        if edge is not None:
            assert decide(edge - outwards * slack, u, within, risk).outcome == "pass" or (
                found.lower is not None
                and found.upper is not None
                and found.upper - found.lower < 4 * slack
            )
            assert decide(edge + outwards * slack, u, within, risk).outcome != "pass"


def test_two_near_limits_need_more_than_a_guard_band_at_each() -> None:
    found = acceptance_limits(Limits(0.0, 4.2), 1.0, 0.05)
    assert found is not None
    assert found.lower is not None
    assert found.lower > guard_band(1.0, 0.05)
    assert acceptance_limits(Limits(0.0, 3.9), 1.0, 0.05) is None
    assert acceptance_limits(Limits(0.0, 3.9), 0.0, 0.05) == Limits(0.0, 3.9)
    assert acceptance_limits(Limits(), 1.0) == Limits()


BAND = Limits(39.0, 41.0)


@pytest.mark.parametrize(
    ("mean", "made", "repeatability", "systematic", "more"),
    [
        (40.0, 1, 0.4, 0.1, 0),
        (40.5, 1, 1.0, 0.0, 10),
        (40.5, 3, 1.0, 0.0, 8),
        (41.5, 1, 1.0, 0.0, 10),
        (40.5, 1, 1.0, 0.35, None),
        (41.0, 1, 1.0, 0.0, None),
        (40.5, 4, 0.0, 0.4, None),
    ],
)
def test_how_many_more_readings(
    mean: float, made: int, repeatability: float, systematic: float, more: int | None
) -> None:
    assert how_many_more(mean, made, repeatability, systematic, BAND) == more


@given(st.floats(36, 44), st.integers(1, 20), st.floats(0, 5), st.floats(0, 2), risks)
def test_so_many_more_settle_it_and_one_less_does_not(
    mean: float, made: int, repeatability: float, systematic: float, risk: float
) -> None:
    def outcome(count: int) -> str:
        u = math.hypot(repeatability / math.sqrt(count), systematic)
        return decide(mean, u, BAND, risk).outcome

    more = how_many_more(mean, made, repeatability, systematic, BAND, risk)
    if more is None:
        assert outcome(made + MOST_READINGS) == "cannot tell"
    else:
        assert outcome(made + more) != "cannot tell"
        if more:
            assert outcome(made + more - 1) == "cannot tell"


def test_global_risks_are_those_of_a_simulated_production() -> None:
    """A hundred thousand invented pieces; seeded, and within five standard errors."""
    random = Random(7)
    tolerance, acceptance, u, count = Limits(39.0, 41.0), Limits(39.3, 40.7), 0.3, 100_000
    accepted_bad = rejected_good = 0
    for _ in range(count):
        true = random.gauss(40.2, 0.5)
        shown = random.gauss(true, u)
        good, accepted = 39 <= true <= 41, 39.3 <= shown <= 40.7
        accepted_bad += accepted and not good
        rejected_good += good and not accepted

    def density(value: float) -> float:
        return math.exp(-((value - 40.2) ** 2) / 0.5) / math.sqrt(0.5 * math.pi)

    found = global_risks(density, (37.0, 43.0), u, tolerance, acceptance)
    for risk, seen in ((found.consumer, accepted_bad), (found.producer, rejected_good)):
        assert abs(seen / count - risk) < 5 * math.sqrt(risk / count)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (lambda: shares(1.0, -0.1, Limits()), "from 0"),
        (lambda: shares(math.nan, 0.1, Limits()), "finite"),
        (lambda: shares(1.0, 0.1, Limits(2.0, 1.0)), "in order"),
        (lambda: judge(1.0, 0.1, 40.0, -1.0), "in order"),
        (lambda: decide(1.0, 0.1, Limits(), 0.5), "below 0.5"),
        (lambda: guard_band(1.0, 0.0), "above 0"),
        (lambda: how_many_more(1.0, 0, 1.0, 0.0, Limits()), "make one"),
        (lambda: how_many_more(1.0, 1, -1.0, 0.0, Limits()), "from 0"),
        (lambda: global_risks(abs, (0.0, 1.0), 0.0, Limits(), Limits()), "above 0"),
    ],
)
def test_what_cannot_be_decided_is_refused(wrong: Callable[[], object], said: str) -> None:
    with pytest.raises(MetrologyError, match=said):
        wrong()
