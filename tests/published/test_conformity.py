"""Conformity against the examples of JCGM 106 and the rule of ISO 14253-1.

Beside each check stands its table in uncertainty.toml, which says which figures are from memory.
"""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import Any

import pytest

from gaugelink.metrology.conformity import (
    Limits,
    acceptance_limits,
    decide,
    global_risks,
    guard_band,
    shares,
)
from tests.published.tables import table

BEARINGS = table("uncertainty.toml", "jcgm106_ball_bearings")
RESISTORS = table("uncertainty.toml", "jcgm106_resistors")
Z = table("uncertainty.toml", "jcgm106_one_sided_z")
GUARD = table("uncertainty.toml", "jcgm106_guard_band")


def gamma_4_4(value: float) -> float:
    """The density of a gamma distribution with shape 4 and rate 4, by its own formula."""
    return 4**4 * value**3 * math.exp(-4 * value) / math.factorial(3)


@pytest.mark.parametrize(
    "case",
    table("uncertainty.toml", "jcgm106_specific_examples")["cases"],
    ids=lambda case: str(case["item"]),
)
def test_conformance_probability_of_one_item(case: dict[str, Any]) -> None:
    """JCGM 106, clause 7; from memory, arithmetic checked."""
    found = shares(case["y"], case["u"], Limits(case.get("TL"), case.get("TU")))
    assert found.within == pytest.approx(case["pc"], abs=0.005)


@pytest.mark.parametrize(("probability", "z"), list(zip(Z["pc"], Z["z"], strict=True)))
def test_how_far_inside_one_limit_a_probability_asks_for(probability: float, z: float) -> None:
    """JCGM 106, 7.3, Table 1; from memory, arithmetic checked."""
    # 1.645 is printed as 1.64.
    assert guard_band(1.0, 1 - probability) == pytest.approx(z, abs=0.0051)
    assert shares(-z, 1.0, Limits(upper=0.0)).within == pytest.approx(probability, abs=2e-3)


@pytest.mark.parametrize(
    ("r", "percent"), list(zip(GUARD["r"], GUARD["max_consumer_risk_percent"], strict=True))
)
def test_guard_band_as_a_multiple_of_the_expanded_uncertainty(r: float, percent: float) -> None:
    """JCGM 106, 8.3: w = r U, U = 2 u; the risk is that of an item measured at the limit."""
    assert guard_band(0.5, percent / 100) == pytest.approx(r * 1.0, abs=2e-3)
    edge = acceptance_limits(Limits(upper=10.0), 0.5, percent / 100)
    assert edge is not None
    assert edge.lower is None
    assert edge.upper == pytest.approx(10 - r, abs=2e-3)


def test_resistors_with_and_without_a_guard_band() -> None:
    """JCGM 106, 9.5: a production of 1500 ohm resistors; inputs published, risks recomputed."""
    known = RESISTORS
    production = NormalDist(known["y0"], known["u0"])
    tolerance = Limits(known["TL"], known["TU"])
    conforming = shares(known["y0"], known["u0"], tolerance).within
    assert conforming == pytest.approx(known["pc_recomputed"], abs=1e-5)
    for acceptance, ending in ((Limits(known["AL"], known["AU"]), ""), (tolerance, "_no_guard")):
        found = global_risks(production.pdf, (1498.5, 1501.5), known["um"], tolerance, acceptance)
        assert found.consumer == pytest.approx(known[f"consumer_risk{ending}_recomputed"], abs=1e-6)
        assert found.producer == pytest.approx(known[f"producer_risk{ending}_recomputed"], abs=1e-6)


def test_ball_bearings_a_guard_band_shifts_the_risk_to_the_maker() -> None:
    """JCGM 106, 9.5.4."""
    known = BEARINGS
    tolerance = Limits(upper=known["TU_um"])
    plain = global_risks(gamma_4_4, (0.0, 12.0), known["um_um"], tolerance, tolerance)
    assert 100 * plain.consumer == pytest.approx(known["consumer_risk_percent_no_guard"], abs=0.05)
    assert plain.producer == pytest.approx(known["producer_risk_no_guard_recomputed"], abs=1e-5)
    guarded = global_risks(
        gamma_4_4, (0.0, 12.0), known["um_um"], tolerance, Limits(upper=known["AU_um"])
    )
    assert 100 * guarded.consumer == pytest.approx(known["target_consumer_risk_percent"], abs=5e-3)
    assert guarded.producer == pytest.approx(known["producer_risk_at_1_67_recomputed"], abs=1e-5)
    assert plain.consumer / guarded.consumer > 7
    assert guarded.producer / plain.producer > 4
    assert known["TU_um"] - known["AU_um"] == pytest.approx(known["guard_band_um"])


@pytest.mark.parametrize("case", table("uncertainty.toml", "iso14253_1_rule")["cases"])
def test_decision_rule_of_iso_14253_1(case: dict[str, Any]) -> None:
    """The rule is from memory, the cases are constructed from it; U is twice u, so 2.28 %."""
    risk = 0.5 * math.erfc(2 / math.sqrt(2))
    found = decide(case["y"], case["U"] / 2, Limits(case["TL"], case["TU"]), risk)
    word = {"conform": "pass", "nonconform": "fail", "undecided": "cannot tell"}[case["verdict"]]
    assert found.outcome == word
