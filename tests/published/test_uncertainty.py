"""Uncertainty against the worked examples of the GUM, of NIST TN 1297 and of NIST's handbook.

Beside each check stands its table in uncertainty.toml, which says where the figures come from and
which of them are from memory.
"""

from __future__ import annotations

import math

import pytest

from gaugelink.metrology.anova import Term, f_test
from gaugelink.metrology.fitting import fit_line
from gaugelink.metrology.samples import mean, standard_deviation, sum_of_squares
from gaugelink.metrology.study import assess_nested
from gaugelink.metrology.uncertainty import (
    Component,
    budget,
    combined_standard,
    coverage_factor,
    degrees_from_reliability,
    effective_degrees_of_freedom,
    normal,
    rectangular,
    repeated,
    u_shaped,
)
from tests.published.columns import columns
from tests.published.tables import table

STUDENT = table("uncertainty.toml", "student_t_g2")
GAUGE = table("uncertainty.toml", "gum_h1_end_gauge")
PARTS = table("uncertainty.toml", "gum_h1_components")
SIGMAS = {68.27: 1, 95.45: 2, 99.73: 3}
"""Column heads that are rounded: the probability within so many standard deviations is meant."""


def probability(percent: float) -> float:
    if percent in SIGMAS:
        return math.erf(SIGMAS[percent] / math.sqrt(2))
    return percent / 100


@pytest.mark.parametrize("row", STUDENT["rows"], ids=lambda row: str(row[0]))
def test_student_t_in_every_cell_but_the_misprinted_one(row: list[float]) -> None:
    degrees, *printed = row
    step = 0.001 if degrees == 100 else 0.01
    misprint = STUDENT["misprint"]
    for percent, value in zip(STUDENT["p_percent"], printed, strict=True):
        right = value
        if (degrees, percent) == (misprint["nu"], misprint["p_percent"]):
            assert value == misprint["printed"]
            right = misprint["correct"]
        found = coverage_factor(probability(percent), degrees)
        assert found == pytest.approx(right, abs=step / 2 + 1e-9), (degrees, percent)


def test_the_misprint_is_one() -> None:
    misprint = STUDENT["misprint"]
    found = coverage_factor(misprint["p_percent"] / 100, misprint["nu"])
    assert abs(found - misprint["printed"]) > 0.005
    assert round(found, 2) == misprint["correct"]


def test_infinite_degrees_of_freedom_are_the_normal_distribution() -> None:
    for percent, value in zip(STUDENT["p_percent"], STUDENT["infinity"], strict=True):
        assert coverage_factor(probability(percent)) == pytest.approx(value, abs=5e-4)


def test_twenty_temperatures() -> None:
    """GUM 4.4.3; the readings are from memory."""
    known = table("uncertainty.toml", "gum_4_4_3_temperature")
    data = known["data"]
    assert mean(data) == pytest.approx(known["mean"], abs=1e-12)
    deviation = standard_deviation(data)
    assert deviation == pytest.approx(known["s"], abs=5e-4)
    found = repeated("temperature", deviation, len(data), len(data) - 1)
    assert found.standard == pytest.approx(known["s_mean"], abs=5e-4)
    # Printed 100.14: 100.145 rounded half to even.
    assert abs(mean(data) - known["mean_printed"]) <= 0.005 + 1e-9


def end_gauge() -> list[Component]:
    """The budget of GUM Table H.1, in nanometres."""
    length = GAUGE["lS_mm"] * 1e6
    return [
        normal("standard", GAUGE["u_lS_nm"], 1, GAUGE["nu_lS"]),
        normal("difference", GAUGE["u_d_nm"], 1, GAUGE["nu_d"]),
        normal("expansion", GAUGE["u_alphaS"], 1, None, -length * GAUGE["dtheta"]),
        normal("temperature", GAUGE["u_theta"], 1, None, -length * GAUGE["dalpha"]),
        normal(
            "expansion difference",
            GAUGE["u_dalpha"],
            1,
            GAUGE["nu_dalpha"],
            -length * GAUGE["theta"],
        ),
        normal(
            "temperature difference",
            GAUGE["u_dtheta"],
            1,
            GAUGE["nu_dtheta"],
            -length * GAUGE["alphaS"],
        ),
    ]


def test_end_gauge_budget() -> None:
    found = budget(end_gauge(), 0.99)
    for component, printed in zip(found.components, GAUGE["contributions_nm"], strict=True):
        # 16.6 is 16.675 cut, not rounded.
        assert abs(component.contribution) == pytest.approx(printed, abs=0.08)
    assert round(found.combined) == GAUGE["uc_nm"]
    assert found.degrees_of_freedom == pytest.approx(16.66, abs=0.005)
    assert math.floor(found.degrees_of_freedom or 0) == GAUGE["nu_eff"]
    assert found.coverage_factor == pytest.approx(GAUGE["k99"], abs=0.005)
    assert round(found.expanded) == GAUGE["U99_nm"]
    ninety_five = budget(end_gauge(), 0.95)
    assert ninety_five.coverage_factor == pytest.approx(GAUGE["k95"], abs=0.005)
    assert round(ninety_five.expanded) == GAUGE["U95_nm_recomputed"]


def test_a_rounded_combined_uncertainty_gives_other_degrees_of_freedom() -> None:
    rounded = effective_degrees_of_freedom(end_gauge(), float(GAUGE["uc_nm"]))
    assert rounded == pytest.approx(17.27, abs=0.005)
    assert math.floor(rounded or 0) > GAUGE["nu_eff"]


def test_how_the_end_gauges_components_are_formed() -> None:
    """GUM H.1.3; the pooled deviation of 25 readings is from memory."""
    difference = [
        repeated("repeats", PARTS["s_pooled_nm"], PARTS["readings"], PARTS["nu_repeat"]),
        normal(
            "random",
            PARTS["random_half_width_nm"],
            coverage_factor(0.95, PARTS["random_nu"]),
            PARTS["random_nu"],
        ),
        normal("systematic", PARTS["systematic_3sigma_nm"], 3, degrees_from_reliability(0.25)),
    ]
    for component, name in zip(
        difference, ("u_d_repeat", "u_d_random", "u_d_systematic"), strict=True
    ):
        assert component.standard == pytest.approx(PARTS[name], abs=0.05)
    assert difference[2].degrees_of_freedom == PARTS["systematic_nu"]
    combined = combined_standard(difference)
    assert combined == pytest.approx(PARTS["u_d"], abs=0.05)
    # The printed 25.6 needs everything rounded, the 9.7 nm too.
    printed = [
        normal(each.name, PARTS[name], 1, each.degrees_of_freedom)
        for each, name in zip(
            difference, ("u_d_repeat", "u_d_random", "u_d_systematic"), strict=True
        )
    ]
    rounded = effective_degrees_of_freedom(printed, PARTS["u_d"])
    assert rounded == pytest.approx(PARTS["nu_d"], abs=0.05)
    unrounded = effective_degrees_of_freedom(printed, combined_standard(printed))
    assert unrounded == pytest.approx(25.4, abs=0.05)


def test_distributions_of_the_end_gauge() -> None:
    arcsine = u_shaped("temperature", PARTS["arcsine_half_width"])
    assert arcsine.standard == pytest.approx(PARTS["u_arcsine"], abs=0.005)
    both = combined_standard([arcsine, normal("mean", PARTS["u_theta_mean"])])
    assert both == pytest.approx(PARTS["u_theta"], abs=0.005)
    for half_width, standard, last_digit in (
        ("rect_alphaS", "u_alphaS", 1e-7),
        ("rect_dalpha", "u_dalpha", 1e-8),
        ("rect_dtheta", "u_dtheta", 1e-3),
    ):
        found = rectangular(half_width, PARTS[half_width]).standard
        assert found == pytest.approx(PARTS[standard], abs=last_digit / 2)


def test_second_order_terms_make_the_same_end_gauge_less_sure() -> None:
    """TN 1297 Table D.1 counts 34 nm where GUM Table H.1 has 32 nm."""
    known = table("uncertainty.toml", "tn1297_d1_end_gauge")
    components = [
        repeated(str(number), value) if kind == "A" else normal(str(number), value)
        for number, (kind, value) in enumerate(
            zip(known["types"], known["components_nm"], strict=True)
        )
    ]
    assert "".join(component.kind for component in components) == known["types"]
    assert round(combined_standard(components)) == known["uc_nm"] == GAUGE["uc_nm"] + 2


def test_thermometer_line_and_its_correlation() -> None:
    known = table("uncertainty.toml", "gum_h3_thermometer_line")
    line = fit_line([each - known["t0"] for each in known["t"]], known["b"])
    assert line.intercept_deviation is not None
    assert line.slope_deviation is not None
    assert line.covariance is not None
    assert line.intercept == pytest.approx(known["y1"], abs=5e-5)
    assert line.slope == pytest.approx(known["y2"], abs=5e-6)
    assert line.intercept_deviation == pytest.approx(known["s_y1"], abs=5e-5)
    assert line.slope_deviation == pytest.approx(known["s_y2"], abs=5e-6)
    assert line.residual_deviation == pytest.approx(known["s"], abs=5e-5)
    r = line.covariance / line.intercept_deviation / line.slope_deviation
    assert r == pytest.approx(known["r"], abs=5e-4)
    far = known["predict_t"] - known["t0"]
    assert line.at(far) == pytest.approx(known["b_pred"], abs=5e-5)
    assert line.uncertainty_at(far) == pytest.approx(known["u_pred"], abs=5e-5)
    by_parts = combined_standard(
        [
            normal("intercept", line.intercept_deviation),
            normal("slope", line.slope_deviation, sensitivity=far),
        ],
        {("intercept", "slope"): r},
    )
    assert by_parts == pytest.approx(line.uncertainty_at(far), rel=1e-9)


def test_line_through_ten_line_width_standards() -> None:
    """NIST/SEMATECH e-Handbook 2.3.6.7.3: the published twin of an indicator on gauge blocks."""
    known = table("gauge_studies.toml", "calibration_line_mpc3673")
    x, y = columns(known["data_file"], "x_um", "y_um")
    assert len(x) == known["n"]
    line = fit_line(x, y)
    assert line.degrees_of_freedom == known["df"]
    assert line.intercept == pytest.approx(known["intercept"], abs=5e-8)
    assert line.slope == pytest.approx(known["slope"], abs=5e-8)
    assert line.intercept_deviation == pytest.approx(known["intercept_se"], abs=5e-9)
    assert line.slope_deviation == pytest.approx(known["slope_se"], abs=5e-9)
    assert line.residual_deviation == pytest.approx(known["residual_sd"], abs=5e-6)
    assert line.covariance == pytest.approx(known["cov"], abs=5e-12)


def test_zener_voltage_over_days() -> None:
    """GUM H.5: F lies between the 5 % and the 2.5 % point, so the verdict hangs on the level."""
    known = table("uncertainty.toml", "gum_h5_zener_anova")
    microvolts = [each * 1e6 for each in known["day_means"]]
    readings = known["readings_per_day"]
    days = Term("days", readings * float(sum_of_squares(microvolts)), known["nu_a"])
    within = Term(
        "within", (readings - 1) * sum(each**2 for each in known["day_sd_uV"]), known["nu_b"]
    )
    assert mean(known["day_means"]) == pytest.approx(known["mean"], abs=5e-7)
    assert standard_deviation(microvolts) == pytest.approx(known["s_day_means_uV"], abs=0.5)
    assert math.sqrt(days.mean_square) == pytest.approx(known["s_a_uV"], abs=0.5)
    found = f_test(days, within)
    assert found.f == pytest.approx(known["F"], abs=known["F_tolerance"])
    assert found.p is not None
    assert 0.025 < found.p < 0.05
    study = assess_nested(None, days, within, (len(microvolts), readings), 1.0)
    assert study.component("days").deviation == pytest.approx(known["s_between_uV"], abs=0.5)
    assert study.component("within").deviation == pytest.approx(known["s_within_uV"], abs=0.5)
    assert math.sqrt(days.mean_square / 50) == pytest.approx(
        known["u_mean_with_day_effect_uV"], abs=0.5
    )


def test_type_a_budget_of_nists_handbook() -> None:
    """NIST/SEMATECH e-Handbook 2.6.3; NIST feeds rounded biases forward."""
    known = table("gauge_studies.toml", "uncertainty_type_a_mpc631")
    found = budget(
        [
            repeated("days", known["s2"], 1, known["df2"], math.sqrt(5 / 6)),
            repeated("runs", known["s3"], 1, known["df3"]),
            repeated("probe", known["s_probe"], 10, known["df_probe"]),
        ]
    )
    assert found.combined == pytest.approx(known["u"], abs=5e-5)
    assert round(found.degrees_of_freedom or 0) == known["nu_effective"]
    assert found.expanded == pytest.approx(known["U95"], abs=1e-4)
