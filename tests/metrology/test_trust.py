"""How unsure a reading is, and how far a verdict on it can be trusted."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.metrology.conformity import Limits, shares
from gaugelink.metrology.plans import ProofPlan, Shown, plan_crossed, plan_placing, solve, steps
from gaugelink.metrology.proving import Proof, reading_budget
from gaugelink.metrology.samples import MetrologyError
from gaugelink.metrology.standards import Standard, Touch
from gaugelink.metrology.study import Study
from gaugelink.metrology.trust import TOO_MANY, Judged, Trust, judge_place, say_judged, trust

STEP = Decimal("0.1")


def proof(error: float = 0.5, spread: float = 0.2) -> Proof:
    """Of one block, that is shown `error` too thick, now and then `spread` more."""
    plan = ProofPlan((Standard(Decimal(20), Decimal("0.1")),), 2)
    values = [
        0.0 if not isinstance(step, Touch) else 20 + error + spread * (step.repeat - 1)
        for step in steps(plan)
    ]
    found = solve(plan, _shown(values))
    assert isinstance(found, Proof)
    return found


def alone(placing: float = 1.0) -> Study:
    plan = plan_placing(["a"], 4, 2, seed=1)
    values = [40 + placing * (-1) ** step.placing + 0.1 * step.lift for step in plan.steps]
    found = solve(plan, _shown(values))
    assert isinstance(found, Study)
    return found


def _shown(values: list[float]) -> list[Shown]:
    return [
        Shown(Decimal(str(round(value, 3))), STEP, float(number))
        for number, value in enumerate(values)
    ]


def test_a_gauge_of_which_nothing_is_known_is_as_sure_as_its_last_digit() -> None:
    known = trust(None, None, 1.0)
    # JCGM 100:2008, F.2.2.1: u = 0.29 of the step.
    assert known.standard == pytest.approx(0.29, abs=0.002)
    assert known.standard == 1 / math.sqrt(12)
    assert known.source == "last digit"


def test_a_proof_alone_gives_its_budget_of_a_reading() -> None:
    found = proof()
    known = trust(found, None, 0.1)
    assert known.source == "proof"
    assert known.standard == pytest.approx(reading_budget(found).combined)
    assert known.of_mean(4) == pytest.approx(reading_budget(found, 4).combined)


def test_a_study_adds_the_hand_that_places() -> None:
    found, hand = proof(), alone()
    both = trust(found, hand, 0.1)
    assert both.source == "proof and study"
    assert both.repeatability == pytest.approx(hand.gauge.deviation)
    assert both.systematic == pytest.approx(trust(found, None, 0.1).systematic)
    only = trust(None, hand, 0.1)
    assert only.source == "study"
    assert only.systematic == pytest.approx(0.1 / math.sqrt(12))


def test_what_people_differ_by_no_repeating_lessens() -> None:
    plan = plan_crossed(["a", "b", "c"], ["Ines", "Otto"], 2, seed=1)
    values = [
        40 + 10 * "abc".index(step.station) + 3 * (step.person == "Otto") + 0.1 * step.trial
        for step in plan.steps
    ]
    study = solve(plan, _shown(values))
    assert isinstance(study, Study)
    known = trust(None, study, 0.1)
    assert known.systematic >= study.component("people").deviation > 1
    assert known.repeatability == pytest.approx(study.component("repeatability").deviation)
    assert known.of_mean(100) > 1


@given(st.floats(0, 5), st.floats(0, 5), st.integers(1, 50), st.floats(0.01, 2))
def test_more_readings_never_make_it_less_sure(
    repeatability: float, systematic: float, count: int, resolution: float
) -> None:
    known = Trust(repeatability, systematic, "proof")
    assert known.of_mean(count + 1) <= known.of_mean(count) + 1e-12
    assert known.of_mean(count) >= systematic - 1e-12
    assert trust(None, None, resolution).standard > 0


def test_a_mean_of_no_readings_is_refused() -> None:
    known = Trust(1.0, 1.0, "proof")
    with pytest.raises(MetrologyError, match="no reading"):
        known.of_mean(0)
    with pytest.raises(MetrologyError, match="no reading"):
        judge_place([], Decimal(40), Decimal(1), STEP, known)


def judged(*readings: float, known: Trust, tolerance: int = 1) -> Judged:
    values = [Decimal(str(each)) for each in readings]
    return judge_place(values, Decimal(40), Decimal(tolerance), STEP, known)


def test_far_from_the_limits_one_reading_is_sure() -> None:
    known = Trust(0.5, 0.1, "proof and study")
    assert say_judged(judged(44, known=known), "take") == "sure"
    assert say_judged(judged(36, known=known), "over") == "sure"
    assert say_judged(judged(40, known=Trust(0.2, 0.1, "proof")), "leave") == "sure"


def test_near_a_limit_more_readings_are_asked_for_and_settle_it() -> None:
    known = Trust(0.7, 0.0, "study")
    first = judged(42, known=known)
    assert first.finding == "cannot tell"
    # By hand: 1 above the limit is shown at 1.645 u <= 1, so u <= 0.608 = 0.7 / sqrt(1.33).
    assert first.more == 1
    assert say_judged(first, "take") == "can't tell yet: measure once more"
    assert judged(42, 42, known=known).finding == "take"
    second = judged(41.7, known=known)
    assert second.more == 2
    assert say_judged(second, "take") == "can't tell yet: measure twice more"
    assert judged(41.7, 41.7, 41.7, known=known).finding == "take"
    assert "times more" in say_judged(judged(41.5, known=known), "take")


def test_a_difference_that_no_repeating_shows_is_said() -> None:
    blunt = judged(41.5, known=Trust(0.5, 2.0, "proof"))
    assert blunt.more is None
    assert "does not see so fine a difference" in say_judged(blunt, "take")
    many = judged(41.1, known=Trust(1.0, 0.0, "study"))
    assert many.more is not None
    assert many.more > TOO_MANY
    assert "does not see" in say_judged(many, "take")


def test_a_reading_that_was_a_slip_is_left_out() -> None:
    known = Trust(0.3, 0.1, "study")
    found = judged(70, 40, 40.2, known=known)
    assert found.readings == 2
    assert found.mean == pytest.approx(40.1)


def test_a_verdict_that_the_readings_do_not_share_is_not_called_sure() -> None:
    known = Trust(0.1, 0.0, "study")
    assert say_judged(judged(41.6, known=known), "leave").endswith("too thick")
    assert say_judged(judged(40, known=known), "take") == "on target, going by all readings"
    assert say_judged(judged(38, known=known), "leave") == "sure that it is too thin"


@given(st.floats(30, 50), st.floats(0.05, 3), st.floats(0, 2))
def test_what_is_called_sure_is_right_nineteen_times_in_twenty(
    value: float, repeatability: float, systematic: float
) -> None:
    known = Trust(repeatability, systematic, "study")
    reading = Decimal(str(round(value, 1)))
    found = judge_place([reading], Decimal(40), Decimal(1), STEP, known)
    chances = shares(float(reading), known.standard, Limits(39, 41))
    likely = {"take": chances.above, "leave": chances.within, "over": chances.below}
    if found.finding == "cannot tell":
        assert max(likely.values()) < 0.9501
        assert found.more is None or found.more > 0
    else:
        assert likely[found.finding] >= 0.9499
        assert found.more == 0
