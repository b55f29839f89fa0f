"""The chart's constants against two tables and closed forms, its limits against the handbook."""

from __future__ import annotations

import math
import random
from itertools import pairwise

import pytest

from gaugelink.metrology.charts import constants, individuals
from gaugelink.metrology.run_rules import ZONE_RULES, Rule, broken
from tests.published.tables import table

EXACT = table("charts.toml", "exact")
PRINTED = table("charts.toml", "table_a22")
MISPRINT = table("charts.toml", "misprint")
FLOW = table("charts.toml", "individuals_chart_pmc322")
LENGTHS = table("charts.toml", "run_rules")

NAMES = {"d2": "d2", "d3": "d3", "c4": "c4", "A2": "a2", "E2": "e2", "D3": "lower", "D4": "upper"}
"""What the tables call a constant, and what we call it."""


@pytest.mark.parametrize("name", NAMES)
def test_constants_are_those_of_the_exact_table(name: str) -> None:
    found = [getattr(constants(n), NAMES[name]) for n in EXACT["n"]]
    assert found == pytest.approx(EXACT[name], abs=0.51e-5)


@pytest.mark.parametrize("name", [name for name in NAMES if name in PRINTED])
def test_constants_are_those_of_the_printed_table_within_its_last_digit(name: str) -> None:
    found = [getattr(constants(n), NAMES[name]) for n in PRINTED["n"]]
    assert found == pytest.approx(PRINTED[name], abs=PRINTED["tolerance"])


def test_known_misprints_are_not_repeated() -> None:
    """D4(3) is commonly printed cut off, A2(5) once with its digits swapped."""
    assert round(constants(3).upper, 3) == MISPRINT["D4_printed_n3"] != PRINTED["D4"][1]
    assert round(constants(5).a2, 3) == MISPRINT["A2_correct"] != MISPRINT["A2_printed"]


def test_the_mean_range_has_its_closed_forms() -> None:
    closed = table("charts.toml", "closed_form_d2")
    assert [constants(n).d2 for n in closed["n"]] == pytest.approx(closed["d2"], abs=1e-12)
    # The closed form of d3 for two values, sqrt(2 - 4/pi), is that of a half-normal distribution.
    assert constants(2).d3 == pytest.approx(math.sqrt(2 - 4 / math.pi), abs=1e-12)


@pytest.mark.parametrize("n", [3, 5, 12, 25])
def test_constants_are_the_moments_of_the_range_that_scipy_integrates(n: int) -> None:
    """An independent reference: the studentized range with so many degrees of freedom that the
    standard deviation is known is the range itself."""
    from scipy.integrate import quad  # type: ignore[import-untyped]
    from scipy.stats import studentized_range  # type: ignore[import-untyped]

    def above(width: float) -> float:
        return float(studentized_range.sf(width, n, math.inf))

    mean, _ = quad(above, 0, 12, epsabs=1e-7)
    square, _ = quad(lambda width: 2 * width * above(width), 0, 12, epsabs=1e-7)
    assert constants(n).d2 == pytest.approx(mean, abs=1e-6)
    assert constants(n).d3 == pytest.approx(math.sqrt(square - mean**2), abs=1e-6)


def test_the_handbooks_chart_of_flow_rates() -> None:
    chart = individuals(FLOW["data"])
    assert chart.individuals.centre == pytest.approx(FLOW["center"], abs=1e-9)
    assert chart.ranges.centre == pytest.approx(FLOW["mr_bar"], abs=5e-5)
    # The page divides by d2 rounded to 1.128; the limits of the exact one are recomputed.
    half = 3 * chart.ranges.centre / FLOW["d2"]
    assert chart.individuals.centre + half == pytest.approx(FLOW["ucl"], abs=6e-5)
    assert chart.individuals.centre - half == pytest.approx(FLOW["lcl"], abs=6e-5)
    assert chart.individuals.upper == pytest.approx(55.8024, abs=6e-5)
    assert chart.individuals.lower == pytest.approx(45.8176, abs=6e-5)
    # The page calls the process in control (from memory).
    assert [flag.rule for flag in chart.individuals.flags if flag.rule == "beyond"] == []
    assert chart.ranges.values == pytest.approx([abs(b - a) for a, b in pairwise(FLOW["data"])])


@pytest.mark.parametrize(
    ("rules", "length"),
    [(ZONE_RULES, LENGTHS["run_length"]), (("beyond",), LENGTHS["run_length_of_the_first_rule"])],
)
def test_false_alarms_are_as_rare_as_published(rules: tuple[Rule, ...], length: float) -> None:
    rolls = random.Random(1987)
    lengths: list[int] = []
    count = 300
    while len(lengths) < count:
        run: list[float] = []
        while not (flags := broken(run, 0.0, 1.0, rules)):
            run += [rolls.gauss(0, 1) for _ in range(100)]
        lengths.append(flags[0].index + 1)
    # The lengths of runs scatter about as much as they are long.
    assert sum(lengths) / count == pytest.approx(length, abs=2.5 * length / math.sqrt(count))
