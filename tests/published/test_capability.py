"""Capability indices against the handbook's example, their intervals against scipy's."""

from __future__ import annotations

import math

import pytest

from gaugelink.metrology.capability import capability, indices
from gaugelink.metrology.conformity import Limits
from tests.published.tables import table

PAGE = table("capability.toml", "capability_pmc16")
LIMITS = Limits(PAGE["lsl"], PAGE["usl"])


def test_the_handbooks_indices() -> None:
    found = indices(PAGE["mean"], PAGE["s"], LIMITS)
    assert found.both == pytest.approx(PAGE["cp"])
    assert found.upper == pytest.approx(PAGE["cpu"], abs=5e-5)
    assert found.lower == pytest.approx(PAGE["cpl"], abs=5e-5)
    assert found.nearest == pytest.approx(PAGE["cpk"], abs=5e-5)
    assert found.both is not None
    assert 1 - found.nearest / found.both == pytest.approx(PAGE["k"], abs=5e-5)


def test_values_of_that_mean_and_scatter_have_those_indices() -> None:
    ones = [-1.0, 1.0, 0.5, -0.5, 1.5, -1.5]
    s = math.sqrt(sum(each * each for each in ones) / 5)
    values = [PAGE["mean"] + PAGE["s"] * each / s for each in ones]
    found = capability(values, LIMITS)
    assert found.overall == pytest.approx(PAGE["s"])
    assert found.pp is not None
    assert found.pp.value == pytest.approx(PAGE["cp"])
    assert found.ppk.value == pytest.approx(PAGE["cpk"], abs=5e-5)
    assert found.off == pytest.approx(PAGE["mean"] - 14)


@pytest.mark.parametrize("n", [20, 50, 200])
@pytest.mark.parametrize("target", [0.8, 1.33, 2.0])
def test_bissells_interval_is_near_the_exact_one_for_a_single_limit(n: int, target: float) -> None:
    """With one limit 3 √n Cpk follows the noncentral t distribution, which scipy has."""
    from scipy.optimize import brentq  # type: ignore[import-untyped]
    from scipy.stats import nct  # type: ignore[import-untyped]

    values = [float(each % 2) for each in range(n)]
    mean, s = 0.5, math.sqrt(n / 4 / (n - 1))
    found = capability(values, Limits(upper=mean + 3 * target * s)).ppk
    assert found.value == pytest.approx(target)
    root = 3 * math.sqrt(n)

    def exact(chance: float) -> float:
        observed = target * root
        return float(brentq(lambda true: nct.cdf(observed, n - 1, true * root) - chance, 0.1, 5))

    assert found.lower == pytest.approx(exact(0.975), rel=0.06)
    assert found.upper == pytest.approx(exact(0.025), rel=0.06)


def test_the_interval_of_pp_is_that_of_the_standard_deviation() -> None:
    from scipy.stats import chi2

    values = [59.0, 61.0, 60.0, 58.5, 60.5, 62.0, 59.5, 60.0]
    found = capability(values, Limits(57, 63), confidence=0.9)
    assert found.pp is not None
    squares = 7 * found.overall**2
    highest, lowest = (math.sqrt(squares / chi2.ppf(each, 7)) for each in (0.05, 0.95))
    assert found.pp.lower == pytest.approx(1 / highest)
    assert found.pp.upper == pytest.approx(1 / lowest)
