"""Run rules: each on the shortest batch that breaks it, and on the one that just does not."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.metrology.run_rules import MEANING, Flag, Rule, broken
from tests.metrology.batches import batches, moved, scales, shifts

EVERY: tuple[Rule, ...] = tuple(MEANING)

BREAKS: dict[Rule, list[float]] = {
    "beyond": [3.1],
    "two of three": [2.1, 0.0, 2.1],
    "four of five": [1.1, 1.1, 0.0, 1.1, 1.1],
    "one side": [0.1, 0.5, 0.2, 0.9, 0.1, 0.3, 0.2, 0.4],
    "trend": [-0.5, -0.3, -0.1, 0.1, 0.2, 0.4],
    "alternating": [0.1, -0.1] * 7,
    "hugging": [0.9, -0.9, 0.2, 0.3, -0.1] * 3,
    "avoiding": [1.1, -1.1, -1.2, 1.3, 1.1, -1.1, -1.4, 1.2],
}
"""In standard deviations from the centre."""

KEEPS: dict[Rule, list[float]] = {
    "beyond": [3.0],
    "two of three": [2.1, 0.0, -2.1],
    "four of five": [1.1, 1.1, 0.0, 1.1, -1.1],
    "one side": [0.1, 0.5, 0.2, 0.0, 0.1, 0.3, 0.2, 0.4],
    "trend": [-0.5, -0.3, -0.1, -0.1, 0.2, 0.4],
    "alternating": [0.1, -0.1] * 6 + [-0.1, 0.1],
    "hugging": [0.9, -0.9, 0.2, 0.3, -0.1] * 2 + [0.9, -0.9, 0.2, 0.3, -1.1],
    "avoiding": [1.1, -1.1, -1.2, 0.9, 1.1, -1.1, -1.4, 1.2],
}


@pytest.mark.parametrize("rule", EVERY)
@pytest.mark.parametrize("side", [1, -1])
def test_the_shortest_batch_that_breaks_it(rule: Rule, side: int) -> None:
    values = [59 + 2 * side * each for each in BREAKS[rule]]
    assert broken(values, 59.0, 2.0, [rule]) == (Flag(0, len(values) - 1, rule),)
    assert broken(values[1:], 59.0, 2.0, [rule]) == ()


@pytest.mark.parametrize("rule", EVERY)
@pytest.mark.parametrize("side", [1, -1])
def test_the_one_that_just_does_not(rule: Rule, side: int) -> None:
    assert len(KEEPS[rule]) == len(BREAKS[rule])
    values = [59 + 2 * side * each for each in KEEPS[rule]]
    assert broken(values, 59.0, 2.0, [rule]) == ()


def test_a_rule_is_broken_at_a_value_that_is_itself_out() -> None:
    """After two that are far out, one back in the middle is no third sign."""
    assert broken([2.5, 2.5, 0.0], 0.0, 1.0, ["two of three"]) == ()
    assert broken([2.5, 2.5, 0.0, 2.5], 0.0, 1.0, ["two of three"]) == (Flag(1, 3, "two of three"),)


def test_without_scatter_whatever_differs_is_beyond() -> None:
    assert broken([59.0, 59.0, 59.1], 59.0, 0.0, ["beyond"]) == (Flag(2, 2, "beyond"),)
    assert broken([0.0, 0.0], 0.0, 0.0, EVERY) == ()
    assert broken([], 59.0, 1.0, EVERY) == ()


@given(batches(1), st.integers(-100, 100), st.sampled_from([0.0, 0.25, 5.0, 40.0]), scales, shifts)
def test_unit_and_zero_do_not_matter(
    values: list[float], centre: int, sigma: float, scale: float, shift: float
) -> None:
    found = broken(values, centre, sigma, EVERY)
    other = broken(moved(values, scale, shift), centre * scale + shift, sigma * scale, EVERY)
    assert found == other


@given(batches(1), st.integers(-100, 100), st.sampled_from([0.25, 5.0, 40.0]))
def test_up_and_down_are_alike(values: list[float], centre: int, sigma: float) -> None:
    mirrored = [2 * centre - each for each in values]
    assert broken(values, centre, sigma, EVERY) == broken(mirrored, centre, sigma, EVERY)


@given(batches(1), st.sampled_from([0.25, 5.0, 40.0]))
def test_what_comes_later_changes_nothing_before_it(values: list[float], sigma: float) -> None:
    whole = broken(values, 0.0, sigma, EVERY)
    half = len(values) // 2
    assert broken(values[:half], 0.0, sigma, EVERY) == tuple(
        flag for flag in whole if flag.index < half
    )
