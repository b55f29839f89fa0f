"""The regression against other people's: least squares, numerical integration, Student's t."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
import statsmodels.api as sm  # type: ignore[import-untyped]
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats  # type: ignore[import-untyped]
from scipy.integrate import cumulative_trapezoid  # type: ignore[import-untyped]

from gaugelink.craft.regression import Belief, StudentT, believed

FLAT_ONE = Belief((0.0,), ((0.0,),), -0.5, 0.0)
"""No belief at all of one coefficient: the prior 1/σ² of β and σ²."""
FLAT_TWO = Belief((0.0, 0.0), ((0.0, 0.0), (0.0, 0.0)), -1.0, 0.0)


def passes(seed: int, count: int = 12) -> tuple[list[list[float]], list[float]]:
    draw = random.Random(seed)
    strokes = [float(draw.randint(2, 12)) for _ in range(count)]
    return [[each] for each in strokes], [0.55 * each + draw.gauss(0, 0.8) for each in strokes]


@pytest.mark.parametrize("seed", range(5))
def test_without_a_belief_it_is_least_squares_through_the_origin(seed: int) -> None:
    rows, removed = passes(seed)
    fit = sm.OLS(np.array(removed), np.array(rows)).fit()
    found = FLAT_ONE.learned(rows, removed)
    believed_now = found.at([1.0])
    assert believed_now.location == pytest.approx(fit.params[0])
    assert believed_now.scale == pytest.approx(fit.bse[0])
    assert believed_now.freedom == fit.df_resid
    low, high = fit.conf_int(0.1)[0]
    assert believed_now.quantile(0.05) == pytest.approx(low)
    assert believed_now.quantile(0.95) == pytest.approx(high)
    ahead = fit.get_prediction(np.array([[7.0]])).summary_frame(alpha=0.1)
    assert found.at([7.0], scatter=True).quantile(0.95) == pytest.approx(ahead["obs_ci_upper"][0])
    assert found.at([7.0]).quantile(0.05) == pytest.approx(ahead["mean_ci_lower"][0])


def test_without_a_belief_a_line_is_the_least_squares_line() -> None:
    draw = random.Random(4)
    rows = [[1.0, float(x)] for x in range(8)]
    values = [3 + 2 * row[1] + draw.gauss(0, 0.5) for row in rows]
    fit = sm.OLS(np.array(values), np.array(rows)).fit()
    found = FLAT_TWO.learned(rows, values)
    assert found.mean == pytest.approx(tuple(fit.params))
    for index, row in enumerate(([1.0, 0.0], [0.0, 1.0])):
        assert found.at(row).scale == pytest.approx(fit.bse[index])


def test_the_posterior_is_that_of_numerical_integration() -> None:
    prior = believed([0.5], [0.3], 1.0, 4.0)
    rows, removed = passes(1, 5)

    # Likelihood times prior, written out from the definitions, on a grid of both unknowns.
    slopes, variances = np.linspace(-0.5, 1.5, 1001), np.geomspace(0.02, 60.0, 800)
    slope, variance = np.meshgrid(slopes, variances)
    sigma = np.sqrt(variance)
    density = stats.norm.pdf(slope, 0.5, sigma / math.sqrt(prior.precision[0][0]))
    density *= stats.invgamma.pdf(variance, prior.shape, scale=prior.rate)
    for row, value in zip(rows, removed, strict=True):
        density *= stats.norm.pdf(value, slope * row[0], sigma)
    marginal = np.trapezoid(density, variances, axis=0)
    marginal /= np.trapezoid(marginal, slopes)
    posterior = prior.learned(rows, removed).at([1.0])
    assert np.trapezoid(slopes * marginal, slopes) == pytest.approx(posterior.location, rel=1e-4)
    below = cumulative_trapezoid(marginal, slopes, initial=0)
    for place in range(300, 800, 50):
        assert below[place] == pytest.approx(posterior.chance_below(slopes[place]), abs=1e-4)


@given(st.integers(0, 1000), st.integers(1, 11))
def test_learning_in_two_goes_is_learning_at_once(seed: int, cut: int) -> None:
    prior = believed([0.5], [0.3], 1.0, 4.0)
    rows, removed = passes(seed)
    at_once = prior.learned(rows, removed)
    in_two = prior.learned(rows[:cut], removed[:cut]).learned(rows[cut:], removed[cut:])
    assert in_two.mean == pytest.approx(at_once.mean)
    assert in_two.precision[0] == pytest.approx(at_once.precision[0])
    assert (in_two.shape, in_two.rate) == pytest.approx((at_once.shape, at_once.rate))


def test_a_belief_says_what_was_put_into_it() -> None:
    prior = believed([2.0, -1.0], [0.3, 0.7], 1.5, 6.0)
    assert prior.at([1.0, 0.0]).location == 2.0
    assert prior.at([1.0, 0.0]).scale == pytest.approx(0.3)
    assert prior.at([0.0, 1.0]).scale == pytest.approx(0.7)
    assert prior.at([0.0, 0.0], scatter=True).scale == pytest.approx(1.5)
    assert prior.learned([], []) == prior


@given(st.floats(-5, 5), st.floats(0.1, 5), st.floats(0.5, 100), st.floats(0.001, 0.999))
def test_student_t_against_scipy_stats(
    location: float, scale: float, freedom: float, chance: float
) -> None:
    found = StudentT(location, scale, freedom)
    reference = stats.t(freedom, location, scale)
    assert found.quantile(chance) == pytest.approx(reference.ppf(chance), rel=1e-6, abs=1e-9)
    assert found.chance_below(location + scale) == pytest.approx(reference.cdf(location + scale))
    if freedom > 2:
        assert found.deviation == pytest.approx(reference.std())
    else:
        assert found.deviation == math.inf


def test_what_does_not_spread_is_where_it_is() -> None:
    assert StudentT(2.0, 0.0, 4.0).chance_below(2.0) == 1
    assert StudentT(2.0, 0.0, 4.0).chance_below(1.9) == 0
