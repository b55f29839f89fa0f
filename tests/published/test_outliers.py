"""Outlier tests against the handbook's examples, the test of normality against its paper."""

from __future__ import annotations

import pytest

from gaugelink.metrology.normality import normality
from gaugelink.metrology.outliers import grubbs, several
from tests.published.tables import table

URANIUM = table("outliers.toml", "grubbs_eda35h1")
ROSNER = table("outliers.toml", "generalized_esd_eda35h3")
WEIGHTS = table("outliers.toml", "shapiro_wilk")


def test_the_handbooks_grubbs_test() -> None:
    found = grubbs(URANIUM["data"], side="high")
    assert found.statistic == pytest.approx(URANIUM["G"], abs=5e-5)
    assert found.critical == pytest.approx(URANIUM["critical_upper_one_sided_05"], abs=5e-4)
    assert found.p == pytest.approx(URANIUM["p_value_one_sided"], rel=5e-4)
    assert found.furthest.value == URANIUM["outlier"]
    assert found.stands_out


def test_its_two_sided_limit() -> None:
    found = grubbs(URANIUM["data"])
    # From the note: two-sided 5 %, recomputed.
    assert found.critical == pytest.approx(2.1266, abs=5e-5)
    assert found.p == pytest.approx(2 * URANIUM["p_value_one_sided"], rel=5e-4)
    assert not grubbs(URANIUM["data"], side="low").stands_out


def test_rosners_three_are_found_though_the_first_two_steps_pass() -> None:
    found = several(ROSNER["data"], most=10, alpha=ROSNER["alpha"])
    assert [step.statistic for step in found.steps] == pytest.approx(ROSNER["R"], abs=1e-6)
    assert [step.critical for step in found.steps] == pytest.approx(ROSNER["lam"], abs=1e-6)
    exceeds = [step.statistic > step.critical for step in found.steps]
    assert exceeds == [False, False, True, *[False] * 7]
    assert len(found.outliers) == ROSNER["outliers_found"]
    assert [each.value for each in found.outliers] == [6.01, 5.42, 5.34]


def test_a_single_test_of_rosners_data_finds_none_for_they_hide_each_other() -> None:
    assert not grubbs(ROSNER["data"]).stands_out


def test_the_weights_of_shapiro_and_wilk() -> None:
    found = normality(WEIGHTS["data"])
    assert found.statistic == pytest.approx(WEIGHTS["W"], abs=0.005)
    assert not found.plausible


def test_rosners_data_against_a_second_test_of_normality() -> None:
    """statsmodels' test of Anderson and Darling is an independent reference for the verdict."""
    from statsmodels.stats.diagnostic import normal_ad  # type: ignore[import-untyped]

    whole, most = ROSNER["data"], ROSNER["data"][:-4]
    for values, plausible in ((whole, False), (most, True)):
        assert (normal_ad(values_array(values))[1] >= 0.05) == plausible
        assert normality(values).plausible == plausible


def values_array(values: list[float]) -> object:
    """An array, which statsmodels asks for."""
    from numpy import asarray

    return asarray(values)
