"""Tolerance factors and numbers of samples against the handbook, and against a simulation."""

from __future__ import annotations

import math

import pytest

from gaugelink.metrology.tolerance import one_sided_factor, samples_needed, two_sided_factor
from tests.published.tables import table

WAFERS = table("tolerance.toml", "normal_factors_prc263")
WILKS = table("tolerance.toml", "wilks")


def howe(n: int, coverage: float, confidence: float) -> float:
    """Howe's approximation, by scipy's own distributions."""
    from scipy.stats import chi2, norm  # type: ignore[import-untyped]

    z = norm.ppf((1 + coverage) / 2)
    return float(z * math.sqrt((n - 1) * (1 + 1 / n) / chi2.ppf(1 - confidence, n - 1)))


def test_the_handbooks_factors() -> None:
    asked = WAFERS["n"], WAFERS["coverage"], WAFERS["confidence"]
    assert one_sided_factor(*asked) == pytest.approx(WAFERS["one_sided"], abs=5e-5)
    assert howe(*asked) == pytest.approx(WAFERS["two_sided_howe"], abs=5e-4)
    assert two_sided_factor(*asked) == pytest.approx(WAFERS["two_sided_howe"], rel=0.003)


@pytest.mark.parametrize("n", [20, 100, 1000])
@pytest.mark.parametrize("coverage", [0.5, 0.9, 0.99])
@pytest.mark.parametrize("confidence", [0.9, 0.99])
def test_howe_is_close_for_many_values(n: int, coverage: float, confidence: float) -> None:
    exact = two_sided_factor(n, coverage, confidence)
    assert exact == pytest.approx(howe(n, coverage, confidence), rel=0.3 / n)


@pytest.mark.parametrize(
    ("n", "coverage", "confidence"),
    [(2, 0.9, 0.95), (3, 0.99, 0.9), (5, 0.5, 0.5), (10, 0.95, 0.95), (43, 0.9, 0.99)],
)
def test_so_many_intervals_hold_what_they_should(
    n: int, coverage: float, confidence: float
) -> None:
    """A seeded simulation of samples, by their mean and standard deviation."""
    from numpy.random import default_rng
    from scipy.stats import norm

    draws = 200_000
    rolls = default_rng(726)
    mean = rolls.standard_normal(draws) / math.sqrt(n)
    s = (rolls.chisquare(n - 1, draws) / (n - 1)) ** 0.5
    slack = 4 * math.sqrt(confidence * (1 - confidence) / draws)
    half = two_sided_factor(n, coverage, confidence) * s
    held = (norm.cdf(mean + half) - norm.cdf(mean - half) >= coverage).mean()
    assert held == pytest.approx(confidence, abs=slack)
    above = norm.sf(mean - one_sided_factor(n, coverage, confidence) * s)
    assert (above >= coverage).mean() == pytest.approx(confidence, abs=slack)


@pytest.mark.parametrize("row", range(len(WILKS["needed"])))
def test_as_many_samples_are_needed_as_wilks_says(row: int) -> None:
    asked = WILKS["coverage"][row], WILKS["confidence"][row], WILKS["sides"][row]
    assert samples_needed(*asked) == WILKS["needed"][row]
