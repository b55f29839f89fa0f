"""Gauge studies with published results, and statsmodels on the same data as a second opinion.

Beside each check stands its table in gauge_studies.toml, which says where its figures come from.
"""

from __future__ import annotations

import math
import warnings
from collections import defaultdict
from decimal import Decimal
from typing import Any

import pytest

from gaugelink.metrology.anova import Term, one_way
from gaugelink.metrology.samples import mean, pooled_deviation, standard_deviation
from gaugelink.metrology.study import (
    Placed,
    Study,
    Trial,
    assess_crossed,
    assess_nested,
    solve_crossed,
    solve_placing,
)
from tests.published.columns import columns
from tests.published.tables import table

WAFER = columns("data/hb_mpc411.csv", "run", "average", "stddev", "df")
PROBES = columns("data/hb_mpc61.csv", "run", "wafer", "probe", "average", "stddev")
RUNS = (1, 2)


def averages(wafer: int, probe: int | None, run: int) -> list[Decimal]:
    """The day averages of one wafer in one run; of all probes for None."""
    return [
        average
        for r, w, p, average, _ in zip(*PROBES, strict=True)
        if (r, w) == (run, wafer) and probe in (None, p)
    ]


def one_wafer() -> Study:
    """Runs, days within runs and repetitions of the wafer of e-Handbook 2.4.4, level by level."""
    runs, day_averages, deviations, degrees = WAFER
    by_run = [
        [average for run, average in zip(runs, day_averages, strict=True) if run == number]
        for number in RUNS
    ]
    days, repetitions = len(by_run[0]), int(degrees[0]) + 1
    spread = pooled_deviation([(standard_deviation(each), days - 1) for each in by_run])
    within = math.fsum(float(s) ** 2 * float(f) for s, f in zip(deviations, degrees, strict=True))
    run_spread = standard_deviation([mean(each) for each in by_run])
    return assess_nested(
        Term("runs", days * repetitions * run_spread**2, 1),
        Term("days", repetitions * spread**2 * 2 * (days - 1), 2 * (days - 1)),
        Term("repetitions", within, int(sum(degrees))),
        (days, repetitions),
        resolution=0.0001,
    )


def test_repeatability_of_one_wafer() -> None:
    known = table("gauge_studies.toml", "gauge_repeatability_mpc441")
    study = one_wafer()
    runs, days, repetitions = study.table
    assert repetitions.sum_of_squares == pytest.approx(known["ss_total"], abs=1e-8)
    assert repetitions.degrees_of_freedom == known["df"]
    assert study.component("repetitions").deviation == pytest.approx(known["s1_pooled"], abs=5e-5)
    again = table("gauge_studies.toml", "gauge_reproducibility_mpc442")
    assert days.degrees_of_freedom == again["df"]
    per_day = math.sqrt(days.mean_square / known["repetitions_J"])
    assert per_day == pytest.approx(again["s2_pooled"], abs=5e-9)
    third = table("gauge_studies.toml", "gauge_stability_mpc443")
    assert runs.degrees_of_freedom == third["df"]
    per_run = math.sqrt(runs.mean_square / known["repetitions_J"] / known["days_K"])
    assert per_run == pytest.approx(third["s3"], abs=5e-6)


def test_a_negative_between_day_variance_is_kept_and_counts_as_none() -> None:
    known = table("gauge_studies.toml", "gauge_reproducibility_mpc442")
    study = one_wafer()
    days = study.component("days")
    assert days.estimate == pytest.approx(known["between_day_variance"], abs=5e-9)
    assert days.estimate < 0
    assert days.deviation == days.low == 0
    assert days.high > 0
    # A component that is not there cannot make the gauge better than its repeatability.
    assert study.gauge.deviation == study.component("repetitions").deviation


def test_pooling_over_five_wafers() -> None:
    """Only the pooling: the five sums of squares belong to no probe of the published data."""
    known = table("gauge_studies.toml", "gauge_pooling_mpc444")
    degrees = known["df_each"]
    found = pooled_deviation([(math.sqrt(each / degrees), degrees) for each in known["ss"]])
    assert sum(known["ss"]) == pytest.approx(known["ss_sum"], abs=1e-9)
    assert degrees * len(known["ss"]) == known["df_sum"]
    assert found == pytest.approx(known["s1_pooled"], abs=5e-6)


def test_those_sums_of_squares_belong_to_no_probe() -> None:
    known = table("gauge_studies.toml", "gauge_pooling_mpc444")
    sums: dict[tuple[Decimal, Decimal], float] = defaultdict(float)
    for _, wafer, probe, _, deviation in zip(*PROBES, strict=True):
        sums[wafer, probe] += 5 * float(deviation) ** 2
    for wafer, published in zip(known["wafers"], known["ss"], strict=True):
        of_wafer = [value for (w, _), value in sums.items() if w == wafer]
        assert len(of_wafer) == 5
        assert all(abs(value - published) > 1e-3 for value in of_wafer)


def test_three_levels_of_a_probe_over_five_wafers() -> None:
    known = table("gauge_studies.toml", "gauge_study_mpc611")
    wafers = table("gauge_studies.toml", "gauge_stability_five_wafers_mpc443")
    by_run: dict[int, list[float]] = {}
    for run in RUNS:
        cells = [averages(wafer, known["probe"], run) for wafer in wafers["wafers"]]
        assert [mean(each) for each in cells] == pytest.approx(known[f"mean_run{run}"], abs=5e-6)
        by_run[run] = [standard_deviation(each) for each in cells]
        assert by_run[run] == pytest.approx(known[f"sd_run{run}"], abs=5e-6)
        level = pooled_deviation([(each, 5) for each in by_run[run]])
        assert level == pytest.approx(known[f"s2_run{run}"], abs=5e-6)
        repeats = [
            float(deviation)
            for r, _, probe, _, deviation in zip(*PROBES, strict=True)
            if (r, probe) == (run, known["probe"])
        ]
        first = pooled_deviation([(each, 5) for each in repeats])
        assert first == pytest.approx(known[f"s1_run{run}"], abs=5e-6)
    second = pooled_deviation([(each, 5) for run in RUNS for each in by_run[run]])
    assert second == pytest.approx(known["s2"], abs=5e-6)
    apart = [
        standard_deviation([mean(averages(wafer, known["probe"], run)) for run in RUNS])
        for wafer in wafers["wafers"]
    ]
    assert apart == pytest.approx(wafers["s3_per_wafer"], abs=5e-5)
    third = pooled_deviation([(each, 1) for each in apart])
    assert third == pytest.approx(known["s3"], abs=5e-5)


def test_ten_batches_of_gears() -> None:
    """Diameters in steps of a thousandth of an inch: the digits of a batch of thicknesses."""
    known = table("gauge_studies.toml", "one_factor_anova_eda354")
    diameters, batches = columns(known["data_file"], "diameter_in", "batch")
    groups: dict[Decimal, list[Decimal]] = defaultdict(list)
    for diameter, batch in zip(diameters, batches, strict=True):
        groups[batch].append(diameter)
    found = one_way(list(groups.values()))
    assert found.between.degrees_of_freedom == known["df_between"]
    assert found.within.degrees_of_freedom == known["df_within"]
    assert found.between.sum_of_squares == pytest.approx(known["ss_between"], abs=5e-7)
    assert found.within.sum_of_squares == pytest.approx(known["ss_within"], abs=5e-7)
    assert found.between.f == pytest.approx(known["f_statistic"], abs=5e-4)
    assert found.between.p == pytest.approx(known["p_value"], abs=5e-5)
    assert found.residual_deviation == pytest.approx(known["residual_sd"], abs=5e-10)
    assert list(map(mean, groups.values())) == pytest.approx(known["batch_means"], abs=5e-5)


def oxide() -> tuple[list[tuple[Placed, Decimal]], list[dict[str, Any]]]:
    known = table("gauge_studies.toml", "oxide_thickness")
    lots, wafers, sites, values = columns(known["data_file"], "lot", "wafer", "site", "thickness")
    readings, rows = [], []
    for lot, wafer, site, value in zip(lots, wafers, sites, values, strict=True):
        readings.append((Placed(str(lot), int(wafer), int(site)), value))
        rows.append({"lot": f"l{lot}", "wafer": f"w{lot}-{wafer}", "y": float(value)})
    return readings, rows


def test_published_variance_components_of_oxide_thickness() -> None:
    """Restricted maximum likelihood, which a balanced nested layout solves by its mean squares."""
    known = table("gauge_studies.toml", "oxide_thickness")
    readings, _ = oxide()
    assert len(readings) == known["n"]
    assert mean([value for _, value in readings]) == pytest.approx(known["mean"], abs=5e-4)
    study = solve_placing(readings, resolution=1)
    for name, published, digit in (
        ("stations", "sd_lot", 1e-5),
        ("placing", "sd_wafer", 1e-6),
        ("repeatability", "sd_residual", 1e-6),
    ):
        component = study.component(name)
        assert component.deviation == pytest.approx(known[published], abs=digit)
        assert component.low < known[published] < component.high


def fitted(formula: str, rows: list[dict[str, Any]], **mixed: Any) -> Any:
    """What statsmodels makes of the same data: least squares, or a mixed model with groups."""
    import pandas as pd  # type: ignore[import-untyped]
    import statsmodels.formula.api as smf  # type: ignore[import-untyped]

    frame = pd.DataFrame(rows)
    if not mixed:
        return smf.ols(formula, frame).fit()
    with warnings.catch_warnings():
        # It warns of a component near zero on its way.
        warnings.simplefilter("ignore")
        return smf.mixedlm(formula, frame, **mixed).fit(reml=True)


def test_statsmodels_finds_the_same_nested_components() -> None:
    readings, rows = oxide()
    study = solve_placing(readings, resolution=1)
    found = fitted(
        "y ~ 1", rows, groups="lot", re_formula="1", vc_formula={"wafer": "0 + C(wafer)"}
    )
    assert study.component("stations").estimate == pytest.approx(
        float(found.cov_re.iloc[0, 0]), rel=1e-3
    )
    assert study.component("placing").estimate == pytest.approx(float(found.vcomp[0]), rel=1e-3)
    assert study.component("repeatability").estimate == pytest.approx(float(found.scale), rel=1e-4)


def probes_on_wafers() -> tuple[list[tuple[Trial, Decimal]], list[dict[str, Any]]]:
    """Five probes as people, five wafers as stations, the six days of the first run as trials."""
    known = table("gauge_studies.toml", "gauge_bias_table_mpc5312")
    readings, rows = [], []
    for probe, published in zip(known["probes"], known["averages"], strict=True):
        for wafer, average in zip(known["wafers"], published, strict=True):
            values = averages(wafer, probe, 1)
            assert mean(values) == pytest.approx(average, abs=5.1e-5)
            for number, value in enumerate(values, 1):
                readings.append((Trial(f"w{wafer}", f"p{probe}", number), value))
                rows.append({"wafer": f"w{wafer}", "probe": f"p{probe}", "y": float(value)})
    return readings, rows


@pytest.mark.parametrize("pool", [False, True])
def test_statsmodels_finds_the_same_crossed_table(pool: bool) -> None:
    from statsmodels.stats.anova import anova_lm  # type: ignore[import-untyped]

    readings, rows = probes_on_wafers()
    study = solve_crossed(readings, resolution=0.0001, pool_above=0.0 if pool else 1.0)
    assert study.pooled is pool
    sign = "+" if pool else "*"
    found = anova_lm(fitted(f"y ~ C(wafer) {sign} C(probe)", rows))
    lines = {
        "stations": "C(wafer)",
        "people": "C(probe)",
        "people at stations": "C(wafer):C(probe)",
        "repeatability": "Residual",
    }
    assert [term.name for term in study.table] == [
        name for name in lines if not (pool and name == "people at stations")
    ]
    for term in study.table:
        line = found.loc[lines[term.name]]
        assert term.degrees_of_freedom == int(line["df"])
        # The readings share their leading digits, which costs statsmodels some.
        assert term.sum_of_squares == pytest.approx(float(line["sum_sq"]), rel=1e-6)
    # Least squares tests against the residual, as a random model does where all is pooled.
    last = study.table[-2]
    line = found.loc[lines[last.name]]
    assert last.f == pytest.approx(float(line["F"]), rel=1e-6)
    assert last.p == pytest.approx(float(line["PR(>F)"]), rel=1e-5)


def test_parts_and_operators_with_a_negative_interaction() -> None:
    """From memory; the arithmetic is checked."""
    known = table("gauge_studies.toml", "parts_and_operators")
    parts, operators, readings = known["parts"], known["operators"], known["readings"]
    lines = (
        Term("stations", known["ss_parts"], parts - 1),
        Term("people", known["ss_operators"], operators - 1),
        Term("people at stations", known["ss_interaction"], (parts - 1) * (operators - 1)),
        Term("repeatability", known["ss_repeats"], parts * operators * (readings - 1)),
    )
    kept = assess_crossed(lines, resolution=1, pool_above=1.0)
    interaction = kept.component("people at stations")
    assert interaction.estimate == pytest.approx(known["variance_interaction_with_it"], abs=5e-3)
    assert interaction.deviation == 0
    assert kept.table[2].f == pytest.approx(known["f_interaction"], abs=5e-3)
    study = assess_crossed(lines, resolution=1)
    assert study.pooled
    assert study.table[-1].sum_of_squares == pytest.approx(known["ss_pooled"], abs=5e-3)
    assert study.table[-1].degrees_of_freedom == known["df_pooled"]
    for name, published, digit in (
        ("repeatability", "variance_repeatability", 5e-3),
        ("people", "variance_operators", 5e-5),
        ("stations", "variance_parts", 5e-4),
    ):
        assert study.component(name).estimate == pytest.approx(known[published], abs=digit)
    assert study.distinct_categories == math.floor(math.sqrt(2 * 10.2513 / (0.88 + 0.0106)))
