"""Planned series: the order is kept, and reading and step belong together by their number."""

from __future__ import annotations

from decimal import Decimal

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.metrology.plans import (
    MOST_STEPS,
    CrossedPlan,
    Plan,
    ProofPlan,
    Shown,
    plan_crossed,
    plan_placing,
    solve,
    steps,
)
from gaugelink.metrology.proving import Permitted, Proof
from gaugelink.metrology.samples import MetrologyError
from gaugelink.metrology.standards import Standard, Touch, Zero
from gaugelink.metrology.study import Placed, Study, Trial

BLOCKS = (Standard(Decimal(10), Decimal("0.1")), Standard(Decimal(20), Decimal("0.1")))


def shown(values: list[float], step: str = "0.01") -> list[Shown]:
    """Readings ten seconds apart."""
    return [
        Shown(Decimal(str(round(value, 2))), Decimal(step), 10.0 * number)
        for number, value in enumerate(values)
    ]


def test_a_proof_is_solved_from_readings_in_the_order_of_its_steps() -> None:
    plan = ProofPlan(BLOCKS, 2, Permitted(error=0.5))
    values: list[float] = []
    for step in steps(plan):
        if isinstance(step, Zero):
            values.append(0.0 if step.number < 3 else 0.3)
        else:
            assert isinstance(step, Touch)
            down = 0.2 if step.direction == "down" else 0.0
            values.append(float(BLOCKS[step.standard].nominal) + 0.1 + down)
    found = solve(plan, shown(values))
    assert isinstance(found, Proof)
    assert found.greatest_error == pytest.approx(0.3)
    assert found.hysteresis == pytest.approx(0.2)
    assert found.repeatability == 0
    assert found.outcome is not None
    assert found.drift is not None
    assert found.drift.departure == pytest.approx(0.3)


def test_the_coarsest_step_that_was_seen_counts() -> None:
    plan = ProofPlan(BLOCKS[:1], 2)
    readings = shown([0, 10, 10, 0, 10, 10, 0])
    readings[3] = msgspec.structs.replace(readings[3], resolution=Decimal("0.1"))
    found = solve(plan, readings)
    assert isinstance(found, Proof)
    assert found.resolution == 0.1


def test_a_study_of_several_people_finds_who_reads_high() -> None:
    plan = plan_crossed(["a", "b", "c"], ["Ines", "Otto"], 2, seed=4)
    values = []
    for number, step in enumerate(plan.steps):
        high = 2 if step.person == "Otto" else 0
        values.append(30 + 10 * "abc".index(step.station) + high + 0.1 * (number % 2))
    found = solve(plan, shown(values))
    assert isinstance(found, Study)
    assert found.component("people").deviation == pytest.approx(2**0.5, abs=0.1)


def test_a_study_alone_tells_lifting_from_placing() -> None:
    plan = plan_placing(["a"], 4, 3, seed=1)
    values = [40.0 + step.placing + 0.1 * step.lift for step in plan.steps]
    found = solve(plan, shown(values))
    assert isinstance(found, Study)
    assert found.component("placing").deviation > 10 * found.component("repeatability").deviation


@given(st.integers(0, 10**6))
def test_the_same_seed_draws_the_same_order_and_every_reading_once(seed: int) -> None:
    plan = plan_crossed(["a", "b"], ["x", "y"], 3, seed)
    assert plan == plan_crossed(["a", "b"], ["x", "y"], 3, seed)
    assert len(set(plan.steps)) == len(plan.steps) == 12
    alone = plan_placing(["a", "b"], 3, 2, seed)
    assert alone == plan_placing(["a", "b"], 3, 2, seed)
    assert len(set(alone.steps)) == len(alone.steps) == 12


@given(st.sampled_from(["proof", "crossed", "placing"]), st.integers(0, 99))
def test_a_plan_is_kept_as_json_and_comes_back(kind: str, seed: int) -> None:
    plans: dict[str, Plan] = {
        "proof": ProofPlan(BLOCKS, 2, Permitted(error=1.0)),
        "crossed": plan_crossed(["a", "b"], ["x", "y"], 2, seed),
        "placing": plan_placing(["a"], 2, 2, seed),
    }
    plan = plans[kind]
    kept = msgspec.json.encode(plan)
    assert msgspec.json.decode(kept)["type"] == kind
    back: Plan = msgspec.json.decode(kept, type=Plan)
    assert back == plan
    assert steps(back) == steps(plan)


def test_what_cannot_be_planned_or_solved_is_said() -> None:
    with pytest.raises(MetrologyError, match="6 of 7 readings are there"):
        solve(ProofPlan(BLOCKS[:1], 2), shown([0, 10, 10, 0, 10, 10]))
    with pytest.raises(MetrologyError, match="no steps"):
        steps(CrossedPlan(()))
    with pytest.raises(MetrologyError, match=f"{MOST_STEPS} at most"):
        plan_placing(["a"], 50, 20, 1)
    with pytest.raises(MetrologyError, match="at most"):
        steps(ProofPlan(BLOCKS * 20, 20))
    with pytest.raises(MetrologyError, match="measured twice or more"):
        steps(ProofPlan(BLOCKS, 1))
    with pytest.raises(MetrologyError, match="two people"):
        plan_crossed(["a", "b"], ["x"], 2, 1)


def test_steps_are_what_is_asked_for_at_the_bench() -> None:
    assert steps(ProofPlan(BLOCKS[:1], 2)) == (
        Zero(1),
        Touch(0, "up", 1),
        Touch(0, "down", 1),
        Zero(2),
        Touch(0, "up", 2),
        Touch(0, "down", 2),
        Zero(3),
    )
    assert all(isinstance(each, Trial) for each in plan_crossed("ab", "xy", 2, 1).steps)
    assert all(isinstance(each, Placed) for each in plan_placing("ab", 2, 2, 1).steps)
