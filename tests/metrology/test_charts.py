"""The individuals and moving-range chart: its limits, what it flags, what a drawing needs."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.metrology.charts import WIDEST_SPAN, constants, individuals, moving_ranges
from gaugelink.metrology.run_rules import Flag
from gaugelink.metrology.samples import MetrologyError
from tests.metrology.batches import batches, moved, normal_batch, scales, shifts

STEADY = normal_batch(30, seed=4)


def test_one_thick_blank_is_flagged_on_both_charts() -> None:
    values = [*STEADY[:13], 65.0, *STEADY[14:]]
    chart = individuals(values)
    assert Flag(13, 13, "beyond") in chart.individuals.flags
    assert [flag.index for flag in chart.ranges.flags] == [13, 14]
    assert chart.individuals.lower < chart.individuals.centre < chart.individuals.upper < 65


def test_a_drift_does_not_hide_itself() -> None:
    """Its steps are small, so the limits stay narrow, whatever the scatter of all values."""
    values = [each + index / 4 for index, each in enumerate(STEADY)]
    chart = individuals(values).individuals
    assert chart.sigma < 1.5
    assert {flag.index for flag in chart.flags} > {0, 29}


def test_limits_of_an_earlier_batch() -> None:
    chart = individuals([each + 2 for each in STEADY], baseline=STEADY)
    assert chart.individuals.centre == individuals(STEADY).individuals.centre
    assert chart.individuals.upper == individuals(STEADY).individuals.upper
    assert "one side" in {flag.rule for flag in chart.individuals.flags}
    assert len(chart.individuals.values) == 30


def test_a_few_values_can_be_held_against_a_baseline() -> None:
    chart = individuals([59.0, 70.0], baseline=STEADY)
    assert [flag.index for flag in chart.individuals.flags] == [1]
    assert chart.ranges.values == (11.0,)


@pytest.mark.parametrize("span", [2, 3, 5])
def test_ranges_know_where_they_belong(span: int) -> None:
    chart = individuals(STEADY, span=span)
    assert chart.ranges.first == span - 1
    assert len(chart.ranges.values) == len(STEADY) - span + 1
    assert chart.ranges.values[0] == max(STEADY[:span]) - min(STEADY[:span])


def test_equal_values_have_no_width_and_no_flags() -> None:
    chart = individuals([43.1] * 20)
    assert chart.individuals.lower == chart.individuals.upper == 43.1
    assert chart.individuals.flags == chart.ranges.flags == ()


@pytest.mark.parametrize("span", [-1, 0, 1, WIDEST_SPAN + 1])
def test_ranges_of_too_few_or_too_many_are_refused(span: int) -> None:
    with pytest.raises(MetrologyError, match=f"a range of {span} values is no use; take 2 to 25"):
        constants(span)


def test_more_values_are_needed_for_a_wider_span() -> None:
    with pytest.raises(MetrologyError, match="needs 8 values or more, 7 came"):
        individuals(STEADY[:7], span=7)


def test_constants_go_one_way() -> None:
    found = [constants(n) for n in range(2, WIDEST_SPAN + 1)]
    for name, rising in [("d2", 1), ("c4", 1), ("lower", 1), ("upper", -1), ("a2", -1), ("e2", -1)]:
        values = [rising * getattr(each, name) for each in found]
        assert values == sorted(values)
        assert values[0] < values[-1]
    assert all(0 <= each.lower < 1 < each.upper and 0 < each.d3 < 1 for each in found)


@given(batches(5), st.sampled_from([2, 3, 4]), scales, shifts)
def test_another_unit_and_zero_move_the_chart_along(
    values: list[float], span: int, scale: float, shift: float
) -> None:
    one = individuals(values, span=span)
    two = individuals(moved(values, scale, shift), span=span)
    assert one.individuals.flags == two.individuals.flags
    assert one.ranges.flags == two.ranges.flags
    for name in ("lower", "centre", "upper"):
        expected = getattr(one.individuals, name) * scale + shift
        assert getattr(two.individuals, name) == pytest.approx(expected, rel=1e-9, abs=1e-9)
    assert two.ranges.upper == pytest.approx(one.ranges.upper * scale)


@given(batches(5))
def test_backwards_it_has_the_same_limits(values: list[float]) -> None:
    one, two = individuals(values), individuals(values[::-1])
    assert one.individuals.upper == two.individuals.upper
    assert one.ranges.values == two.ranges.values[::-1]


@given(batches(2), st.integers(2, 6))
def test_a_wider_span_is_never_less(values: list[float], span: int) -> None:
    narrow, wide = moving_ranges(values, span), moving_ranges(values, span + 1)
    assert len(wide) == max(0, len(narrow) - 1)
    assert all(each >= max(narrow[index : index + 2]) for index, each in enumerate(wide))
