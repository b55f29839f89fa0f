"""A proof and a study in words, and the figures behind them."""

from __future__ import annotations

from decimal import Decimal

from gaugelink.metrology.plans import ProofPlan, Shown, plan_crossed, plan_placing, solve, steps
from gaugelink.metrology.proving import Permitted, Proof
from gaugelink.metrology.standards import Standard, Touch
from gaugelink.metrology.study import Study
from gaugelink.metrology.trust_words import (
    figures_of_proof,
    figures_of_study,
    say_proof,
    say_study,
)

BLOCKS = tuple(Standard(Decimal(each), Decimal("0.1")) for each in (10, 20, 40))


def proof(error: float, permitted: Permitted | None = None, spread: float = 0.0) -> Proof:
    plan = ProofPlan(BLOCKS, 2, permitted or Permitted())
    values = []
    for step in steps(plan):
        if isinstance(step, Touch):
            nominal = float(BLOCKS[step.standard].nominal)
            worse = error * nominal / 40 + 0.2 * (step.direction == "down")
            values.append(nominal + worse + spread * (step.repeat - 1))
        else:
            values.append(0.0)
    found = solve(plan, _shown(values))
    assert isinstance(found, Proof)
    return found


def _shown(values: list[float]) -> list[Shown]:
    return [
        Shown(Decimal(str(round(value, 3))), Decimal("0.01"), float(number))
        for number, value in enumerate(values)
    ]


def test_a_proof_says_its_outcome_first() -> None:
    assert say_proof(proof(1))[0].startswith("no limits were set")
    assert say_proof(proof(0.2, Permitted(error=2.0)))[0].startswith("it passes")
    failed = say_proof(proof(3, Permitted(error=1.0)))[0]
    assert failed == "it fails (error 3.2 against 1)"
    unsure = say_proof(proof(0.8, Permitted(error=1.0)))[0]
    assert unsure.startswith("cannot tell")
    assert "error 1 against 1" in unsure


def test_a_proof_says_where_it_is_worst_and_which_way() -> None:
    said = "\n".join(say_proof(proof(1, spread=0.4)))
    assert "at worst it shows 1.4 too much, at 40" in said
    assert "the same standard read again differs by 0.4 at most" in said
    assert "coming up and coming down differ by 0.2 at most" in said
    assert "its zero moved by less than 0.1 meanwhile" in said
    assert "95 times in 100" in said
    assert "too little, at 40" in "\n".join(say_proof(proof(-3)))


def test_the_figures_of_a_proof_have_every_point_check_and_component() -> None:
    found = proof(1, Permitted(error=2.0, hysteresis=1.0))
    text = "\n".join(figures_of_proof(found))
    for point in found.points:
        assert f"{point.nominal}" in text
    for check in found.checks:
        assert f"{check.name}: {check.value:.3f}, limit {check.limit:g}: {check.outcome}" in text
    for component in found.budget.components:
        assert component.name in text
    assert f"expanded {found.budget.expanded:.3f}" in text
    assert "slope +0.0" in text


def crossed(people: float, stations: float = 10) -> Study:
    plan = plan_crossed(["a", "b", "c"], ["Ines", "Otto"], 2, seed=1)
    values = [
        40
        + stations * "abc".index(step.station)
        + people * (step.person == "Otto")
        + 0.3 * (step.trial - 1)
        for step in plan.steps
    ]
    found = solve(plan, _shown(values))
    assert isinstance(found, Study)
    return found


def test_a_study_says_first_what_can_be_told_apart() -> None:
    same = say_study(crossed(0))
    assert same[0].startswith("two readings that differ by less than 0.")
    assert "most of that comes from measuring the same place again" in same
    assert "the people do not differ, as far as this shows" in same
    differ = say_study(crossed(4))
    assert "most of that comes from one person's hand against another's" in differ
    assert any("few to judge a blade by" in each for each in differ)
    assert "it does not tell these stations apart" in say_study(crossed(4, stations=0))


def test_a_study_alone_of_one_station_says_no_groups() -> None:
    plan = plan_placing(["a"], 2, 2, seed=1)
    found = solve(plan, _shown([40.0] * 4))
    assert isinstance(found, Study)
    said = say_study(found)
    assert said == (
        "two readings that differ by less than 0.1 may be of one thickness",
        "no reading differed from another of the same place",
    )


def test_the_figures_of_a_study_have_every_component_with_its_interval() -> None:
    found = crossed(4)
    text = "\n".join(figures_of_study(found))
    for each in (*found.components, found.gauge):
        assert f"{each.deviation:.3f} ({each.low:.3f} to {each.high:.3f})" in text
    assert "analysis of variance" in text
    assert "pooled with repeatability" in text
