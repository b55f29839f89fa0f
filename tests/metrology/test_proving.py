"""Proving a gauge: what is found where the faults that were put in are known."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from random import Random

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.metrology.proving import (
    Permitted,
    Proof,
    drift,
    old,
    prove,
    reading_budget,
)
from gaugelink.metrology.samples import MetrologyError, Value
from gaugelink.metrology.standards import Standard, Touch, sequence
from gaugelink.metrology.uncertainty import rectangular

BLOCKS = [Standard(Decimal(each), Decimal("0.02"), "expanded") for each in (10, 20, 40, 60, 100)]
"""Gauge blocks, known to 0.2 µm at k = 2."""
SHIMS = [Standard(Decimal(each), Decimal("0.6")) for each in (10, 20, 40)]
"""Shims, with a tolerance of 6 µm either way."""

Indicator = Callable[[float, Touch], float]


def measured(
    standards: list[Standard], indicator: Indicator, repeats: int = 4, step: str = "0.01"
) -> list[tuple[Touch, Value]]:
    """The plan walked with an invented indicator that shows steps of its last digit."""
    return [
        (
            each,
            Decimal(indicator(float(standards[each.standard].nominal), each)).quantize(
                Decimal(step)
            ),
        )
        for each in sequence(standards, repeats)
        if isinstance(each, Touch)
    ]


def perfect(thickness: float, _: Touch) -> float:
    return thickness


def faulty(thickness: float, touch: Touch) -> float:
    """Shows 1 % too much and 0.2 beyond; going down 0.3 more; the fourth repeat 0.08 more."""
    return 1.01 * thickness + 0.2 + 0.3 * (touch.direction == "down") + 0.08 * (touch.repeat == 4)


def test_a_perfect_indicator_is_as_sure_as_its_last_digit_and_the_blocks() -> None:
    proof = prove(BLOCKS, measured(BLOCKS, perfect), Decimal("0.01"))
    assert proof.greatest_error == proof.span == proof.repeatability == proof.hysteresis == 0
    assert proof.linearity == pytest.approx(0)
    assert (proof.checks, proof.outcome) == ((), None)
    assert proof.budget.combined == pytest.approx(math.sqrt(0.01**2 + 2 * 0.01**2 / 12))


def test_faults_that_were_put_in_are_found() -> None:
    proof = prove(BLOCKS, measured(BLOCKS, faulty), Decimal("0.01"))
    assert [point.nominal for point in proof.points] == [10, 20, 40, 60, 100]
    first = proof.points[0]
    assert first.error_up is not None
    assert first.error_up == pytest.approx(0.1 + 0.2 + 0.02)
    assert first.error_down == pytest.approx(first.error_up + 0.3)
    assert first.error == pytest.approx(first.error_up + 0.15)
    assert first.hysteresis == pytest.approx(-0.3)
    assert proof.hysteresis == pytest.approx(0.3)
    assert proof.greatest_error == pytest.approx(1.0 + 0.2 + 0.3 + 0.02)
    assert proof.span == pytest.approx(0.01 * 90)
    assert proof.repeatability == pytest.approx(0.08)
    assert proof.repeatability_deviation == pytest.approx(0.04)
    assert proof.repeatability_degrees == 5 * 2 * 3
    assert proof.slope == pytest.approx(0.01)
    assert proof.linearity == pytest.approx(0, abs=1e-9)


def test_linearity_by_either_line() -> None:
    def bent(thickness: float, _: Touch) -> float:
        return thickness + 0.9 * (thickness == 40)

    readings = measured(BLOCKS, bent)
    ends = prove(BLOCKS, readings, Decimal("0.01"), line="end-point")
    assert (ends.line, ends.slope) == ("end-point", 0)
    assert ends.linearity == pytest.approx(0.9)
    least = prove(BLOCKS, readings, Decimal("0.01"))
    assert least.line == "least-squares"
    assert least.linearity is not None
    assert 0.6 < least.linearity < 0.9


@given(st.lists(st.floats(-1, 1), min_size=5, max_size=5), st.floats(-3, 3), st.floats(-0.05, 0.05))
def test_an_offset_or_a_scale_changes_no_linearity(
    errors: list[float], offset: float, scale: float
) -> None:
    def linearity(more: Callable[[float], float]) -> float:
        def shown(touch: Touch) -> float:
            nominal = float(BLOCKS[touch.standard].nominal)
            return nominal + errors[touch.standard] + more(nominal)

        readings = [(each, shown(each)) for each in sequence(BLOCKS, 2) if isinstance(each, Touch)]
        found = prove(BLOCKS, readings, 0.01).linearity
        assert found is not None
        return found

    plain = linearity(lambda _: 0.0)
    assert linearity(lambda nominal: offset + scale * nominal) == pytest.approx(plain, abs=1e-9)


def test_the_budget_names_each_component_with_its_degrees_of_freedom() -> None:
    zeros = [(0.0, Decimal(0)), (600.0, Decimal("0.3")), (1200.0, Decimal("0.1"))]
    warmth = rectangular("warmth", 0.05)
    proof = prove(SHIMS, measured(SHIMS, faulty), Decimal("0.1"), zeros, more=[warmth])
    lines = {each.name: each for each in proof.budget.components}
    assert list(lines) == [
        "standard", "repeatability", "resolution", "zero setting", "zero drift", "warmth",
    ]  # fmt: skip
    assert lines["standard"].standard == pytest.approx(0.6 / math.sqrt(3))
    assert lines["repeatability"].kind == "A"
    assert lines["repeatability"].divisor == 2, "the root of four repeats"
    assert lines["repeatability"].degrees_of_freedom == 3 * 2 * 3
    assert lines["resolution"].stated == 0.05
    assert lines["zero drift"].stated == 0.3
    assert proof.budget.combined == pytest.approx(
        math.sqrt(sum(each.contribution**2 for each in lines.values()))
    )
    assert proof.budget.expanded == proof.budget.coverage_factor * proof.budget.combined


def test_the_least_sure_standard_speaks_for_the_budget() -> None:
    mixed = [BLOCKS[0], SHIMS[1], BLOCKS[2]]
    proof = prove(mixed, measured(mixed, perfect), Decimal("0.01"))
    assert proof.budget.combined == max(point.uncertainty for point in proof.points)
    assert proof.points[1].uncertainty == proof.budget.combined > proof.points[0].uncertainty


@pytest.mark.parametrize(
    ("standards", "limit", "outcome"),
    [
        (BLOCKS, 1.6, "pass"),
        (BLOCKS, 1.52, "cannot tell"),
        (BLOCKS, 1.4, "fail"),
        (SHIMS, 1.6, "pass"),
        (SHIMS, 1.2, "cannot tell"),
        (SHIMS, 0.7, "cannot tell"),
        (SHIMS, 0.3, "fail"),
    ],
)
def test_errors_against_a_limit(standards: list[Standard], limit: float, outcome: str) -> None:
    readings = measured(standards, faulty)
    proof = prove(standards, readings, Decimal("0.01"), permitted=Permitted(error=limit))
    (check,) = proof.checks
    assert (check.name, check.limit) == ("error", limit)
    assert proof.outcome == check.outcome == outcome
    assert check.value == pytest.approx(proof.greatest_error)


def test_every_limit_has_its_check_and_the_worst_speaks_for_all() -> None:
    readings = measured(BLOCKS, faulty)
    limits = Permitted(error=2.0, span=1.0, repeatability=0.1, hysteresis=0.5, linearity=0.1)
    proof = prove(BLOCKS, readings, Decimal("0.01"), permitted=limits)
    assert [check.name for check in proof.checks] == [
        "error", "span", "repeatability", "hysteresis", "linearity",
    ]  # fmt: skip
    assert proof.outcome == "pass"
    for name, limit in (("repeatability", 0.05), ("hysteresis", 0.2), ("span", 0.5)):
        worse = msgspec.structs.replace(limits, **{name: limit})
        found = prove(BLOCKS, readings, Decimal("0.01"), permitted=worse)
        assert {check.name for check in found.checks if check.outcome != "pass"} == {name}
        assert found.outcome == "fail"


def test_how_sure_each_figure_is() -> None:
    limits = Permitted(error=2.0, span=1.0, repeatability=0.1, hysteresis=0.5, linearity=0.1)
    proof = prove(BLOCKS, measured(BLOCKS, faulty), Decimal("0.01"), permitted=limits)
    found = {check.name: check.uncertainty for check in proof.checks}
    one_rounding = 0.01 / math.sqrt(12)
    assert found["repeatability"] == pytest.approx(math.hypot(one_rounding, one_rounding))
    mean_of_four = 0.04 / 2
    assert found["hysteresis"] == pytest.approx(
        math.hypot(mean_of_four, mean_of_four, one_rounding, one_rounding)
    )
    assert found["error"] == found["linearity"] == proof.budget.combined
    assert found["span"] == pytest.approx(math.hypot(proof.budget.combined, found["error"]))


def test_a_blocks_own_doubt_does_not_blur_what_it_is_compared_with_itself_for() -> None:
    limits = Permitted(error=1.0, hysteresis=0.5, repeatability=0.2)
    proof = prove(SHIMS, measured(SHIMS, faulty), Decimal("0.01"), permitted=limits)
    found = {check.name: check for check in proof.checks}
    assert found["error"].outcome == "cannot tell"
    assert found["hysteresis"].outcome == found["repeatability"].outcome == "pass"


def test_from_one_side_only_there_is_no_hysteresis() -> None:
    readings = [each for each in measured(BLOCKS, faulty) if each[0].direction == "up"]
    proof = prove(BLOCKS, readings, Decimal("0.01"))
    assert proof.hysteresis is None
    assert {point.error_down for point in proof.points} == {None}
    assert {point.hysteresis for point in proof.points} == {None}
    down = [each for each in measured(BLOCKS, faulty) if each[0].direction == "down"]
    assert prove(BLOCKS, down, Decimal("0.01")).span is None


def test_two_standards_make_no_line() -> None:
    proof = prove(BLOCKS[:2], measured(BLOCKS[:2], faulty), Decimal("0.01"))
    assert (proof.linearity, proof.slope) == (None, None)


@given(st.randoms(use_true_random=False))
def test_the_order_of_the_readings_changes_nothing(random: Random) -> None:
    readings = measured(SHIMS, faulty)
    assert prove(SHIMS, random.sample(readings, len(readings)), 0.01) == prove(
        SHIMS, readings, 0.01
    )


def test_the_zero_of_a_session() -> None:
    steady = drift([(0.0, Decimal("0.1")), (60.0, Decimal("0.1"))])
    assert (steady.departure, steady.span, steady.per_hour) == (0, 0, 0)
    sinking = drift([(0.0, 0.0), (1800.0, -0.5), (3600.0, -1.0)])
    assert (sinking.departure, sinking.span) == (-1, 1)
    assert sinking.per_hour == pytest.approx(-1)
    there_and_back = drift([(0.0, 0.0), (1800.0, 0.6), (3600.0, -0.4)])
    assert (there_and_back.departure, there_and_back.span) == (0.6, 1.0)
    assert drift([(5.0, 0.0), (5.0, 0.4)]).per_hour is None
    assert drift([(5.0, 0.3)]).departure == 0


def test_a_later_reading_is_less_sure_than_the_proof() -> None:
    proof = prove(BLOCKS, measured(BLOCKS, faulty), Decimal("0.01"))
    one, ten = reading_budget(proof), reading_budget(proof, 10)
    assert one.combined > ten.combined > proof.budget.combined
    lines = {each.name: each for each in one.components}
    assert lines["error of indication"].stated == proof.greatest_error
    assert lines["repeatability"].standard == pytest.approx(0.04)
    placing = rectangular("placing", 3.0)
    assert reading_budget(proof, 1, [placing]).combined > one.combined + 0.5


def test_the_expanded_uncertainty_covers_the_true_error() -> None:
    """400 invented proofs, seeded: the interval holds the truth 95 % of times, or more."""
    random, count, covered = Random(2), 400, 0
    for _ in range(count):
        true = [random.uniform(-0.6, 0.6) for _ in SHIMS]

        def shown(thickness: float, touch: Touch, true: list[float] = true) -> float:
            return thickness + true[touch.standard] + random.gauss(0, 0.2) + 0.5

        proof = prove(SHIMS, measured(SHIMS, shown, repeats=3), Decimal("0.01"))
        error = proof.points[0].error_up
        assert error is not None
        covered += abs(error - 0.5) <= proof.budget.expanded
    assert 0.93 < covered / count <= 1


NOW = datetime(2030, 5, 1, tzinfo=UTC)


@pytest.mark.parametrize(
    ("ago", "is_old"),
    [
        (timedelta(0), False),
        (timedelta(days=90), False),
        (timedelta(days=90, seconds=1), True),
        (timedelta(seconds=-1), True),
    ],
)
def test_a_proof_grows_old(ago: timedelta, is_old: bool) -> None:
    assert old(NOW - ago, NOW) is is_old
    assert old(NOW - ago, NOW, timedelta(days=365)) is (ago < timedelta(0))


def test_a_proof_is_plain_data_and_comes_back_from_json() -> None:
    permitted = Permitted(error=1.0, hysteresis=0.5)
    proof = prove(SHIMS, measured(SHIMS, faulty), Decimal("0.1"), permitted=permitted)
    assert msgspec.json.decode(msgspec.json.encode(proof), type=Proof) == proof


GOOD = measured(BLOCKS, faulty)


def only(readings: Iterable[tuple[Touch, Value]], repeat: int) -> list[tuple[Touch, Value]]:
    return [each for each in readings if each[0].repeat == repeat]


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (lambda: prove([], [], 0.01), "one standard or more"),
        (lambda: prove(BLOCKS, [], 0.01), "standard 10 has no reading"),
        (lambda: prove(BLOCKS, [*GOOD, GOOD[0]], 0.01), "stands twice"),
        (lambda: prove(BLOCKS[:4], GOOD, 0.01), "no standard 4"),
        (lambda: prove(BLOCKS, only(GOOD, 1), 0.01), "nothing was repeated"),
        (lambda: prove(BLOCKS, [*GOOD[:-1], (GOOD[-1][0], math.nan)], 0.01), "not a number"),
        (lambda: prove(BLOCKS, GOOD, -0.01), "not below 0"),
        (
            lambda: prove(
                SHIMS[:2], measured(SHIMS[:2], faulty), 0.01, permitted=Permitted(linearity=1)
            ),
            "do not show the linearity",
        ),
        (lambda: drift([]), "bare tongue"),
        (lambda: old(datetime(2030, 1, 1), NOW), "time zone"),
    ],
)
def test_what_proves_nothing_is_refused(wrong: Callable[[], object], said: str) -> None:
    with pytest.raises(MetrologyError, match=said):
        wrong()
