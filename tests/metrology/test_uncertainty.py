"""Budgets: how components are formed, combined and expanded."""

from __future__ import annotations

import math
from collections.abc import Callable

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.metrology.samples import MetrologyError
from gaugelink.metrology.uncertainty import (
    Budget,
    Component,
    budget,
    combined_standard,
    coverage_factor,
    degrees_from_reliability,
    effective_degrees_of_freedom,
    normal,
    rectangular,
    repeated,
    resolution,
    triangular,
    u_shaped,
)

sizes = st.floats(1e-6, 1e6)
degrees = st.none() | st.floats(1, 1e6)
components = st.builds(
    lambda size, df, sensitivity: normal("input", size, 1, df, sensitivity),
    sizes,
    degrees,
    st.floats(-100, 100).filter(lambda each: abs(each) > 1e-3),
)


@pytest.mark.parametrize(
    ("component", "kind", "distribution", "standard"),
    [
        (repeated("r", 1.2, 4, 3), "A", "normal", 0.6),
        (normal("n", 3.0, 2), "B", "normal", 1.5),
        (rectangular("h", 3.0), "B", "rectangular", math.sqrt(3)),
        (triangular("t", 6.0), "B", "triangular", math.sqrt(6)),
        (u_shaped("u", 2.0), "B", "u-shaped", math.sqrt(2)),
        (resolution("d", 1.0), "B", "rectangular", 1 / math.sqrt(12)),
    ],
)
def test_what_is_stated_becomes_a_standard_uncertainty(
    component: Component, kind: str, distribution: str, standard: float
) -> None:
    assert (component.kind, component.distribution) == (kind, distribution)
    assert component.standard == pytest.approx(standard)
    assert component.stated / component.divisor == component.standard


def test_a_sensitivity_weighs_and_keeps_its_sign() -> None:
    slope = normal("warmth", 2.0, 1, None, -0.3)
    assert slope.contribution == pytest.approx(-0.6)
    assert combined_standard([slope]) == pytest.approx(0.6)


@given(st.lists(components, min_size=1, max_size=8))
def test_welch_satterthwaite_lies_between_the_least_and_the_sum(found: list[Component]) -> None:
    combined = combined_standard(found)
    known = [each.degrees_of_freedom for each in found if each.degrees_of_freedom is not None]
    effective = effective_degrees_of_freedom(found, combined)
    if effective is None:
        return
    assert effective >= min(known) * (1 - 1e-9)
    if len(known) == len(found):
        assert effective <= sum(known) * (1 + 1e-9)


@given(sizes, st.integers(1, 200))
def test_one_component_keeps_its_degrees_of_freedom(size: float, df: int) -> None:
    found = budget([normal("only", size, 1, df)])
    assert found.degrees_of_freedom == pytest.approx(df)
    # Floats must not push a whole number down to the one below.
    assert found.coverage_factor == coverage_factor(0.95, df)
    assert found.expanded == found.coverage_factor * found.combined


def test_fewer_degrees_of_freedom_need_a_larger_factor() -> None:
    factors = [coverage_factor(0.95, each) for each in (1, 2, 5, 30, 1000)]
    assert factors == sorted(factors, reverse=True)
    assert factors[-1] > coverage_factor(0.95) == pytest.approx(1.959964, abs=1e-6)
    assert coverage_factor(0.95, 16.99) == coverage_factor(0.95, 16)
    assert coverage_factor(0.95, 0.5) == coverage_factor(0.95, 1)


def test_correlated_components_add_or_cancel() -> None:
    pair = [normal("one", 3.0), normal("two", 4.0)]
    assert combined_standard(pair) == 5
    assert combined_standard(pair, {("one", "two"): 1.0}) == 7
    assert combined_standard(pair, {("two", "one"): -1.0}) == 1
    opposite = [normal("one", 3.0), normal("two", 3.0, sensitivity=-1)]
    assert combined_standard(opposite, {("one", "two"): 1.0}) == 0


@pytest.mark.parametrize(
    ("correlations", "said"),
    [
        ({("one", "none"): 0.5}, "'none'"),
        ({("one", "one"): 0.5}, "two names"),
        ({("one", "two"): 1.5}, "from -1 to 1"),
        ({("one", "two"): math.nan}, "from -1 to 1"),
        ({("one", "two"): -1.0, ("two", "three"): -1.0, ("one", "three"): -1.0}, "contradict"),
    ],
)
def test_correlations_that_cannot_be(correlations: dict[tuple[str, str], float], said: str) -> None:
    three = [normal("one", 1.0), normal("two", 1.0), normal("three", 1.0)]
    with pytest.raises(MetrologyError, match=said):
        combined_standard(three, correlations)


def test_a_name_that_two_components_have_is_not_guessed_at() -> None:
    with pytest.raises(MetrologyError, match="one component"):
        combined_standard([normal("a", 1), normal("a", 1), normal("b", 1)], {("a", "b"): 0.1})


def test_nothing_uncertain_is_no_error() -> None:
    found = budget([rectangular("nothing", 0.0)])
    assert (found.combined, found.expanded, found.degrees_of_freedom) == (0, 0, None)


def test_a_budget_is_plain_data_and_comes_back_from_json() -> None:
    found = budget([repeated("repeats", 0.8, 5, 4), resolution("last digit", 1.0)])
    line = msgspec.json.encode(found)
    assert msgspec.json.decode(line, type=Budget) == found
    assert b'"degrees_of_freedom":null' in line


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (lambda: normal("n", -1.0), "not below 0"),
        (lambda: normal("n", math.nan), "finite"),
        (lambda: normal("n", 1.0, 0.0), "divisor"),
        (lambda: normal("n", 1.0, 1, 0.0), "degrees of freedom"),
        (lambda: repeated("r", 1.0, 0), "one or more"),
        (lambda: budget([]), "a component or more"),
        (lambda: coverage_factor(1.0), "between 0 and 1"),
        (lambda: coverage_factor(math.nan), "between 0 and 1"),
        (lambda: degrees_from_reliability(0.0), "above 0"),
    ],
)
def test_what_cannot_be_a_budget_is_refused(wrong: Callable[[], object], said: str) -> None:
    with pytest.raises(MetrologyError, match=said):
        wrong()
