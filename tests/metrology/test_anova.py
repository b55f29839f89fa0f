"""Sums of squares of balanced layouts, and intervals of variance components."""

from __future__ import annotations

import math
from collections.abc import Callable
from decimal import Decimal
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.metrology.anova import (
    OneWay,
    Term,
    component,
    crossed,
    f_test,
    nested,
    one_way,
    pooled,
)
from gaugelink.metrology.samples import MetrologyError, sum_of_squares

hundredths = st.decimals(-500, 500, places=2)


@st.composite
def layouts(draw: st.DrawFn) -> list[list[list[Decimal]]]:
    a, b, n = (draw(st.integers(2, 4)) for _ in range(3))
    return [[[draw(hundredths) for _ in range(n)] for _ in range(b)] for _ in range(a)]


def total(cells: list[list[list[Decimal]]]) -> float:
    return float(sum_of_squares([value for row in cells for cell in row for value in cell]))


@given(layouts())
def test_terms_share_out_the_whole_scatter(cells: list[list[list[Decimal]]]) -> None:
    count = sum(len(cell) for row in cells for cell in row)
    for terms in (crossed(cells), nested(cells)):
        found = [term for term in terms if term is not None]
        assert all(term.sum_of_squares >= 0 for term in found)
        assert sum(term.degrees_of_freedom for term in found) == count - 1
        whole = math.fsum(term.sum_of_squares for term in found)
        assert whole == pytest.approx(total(cells), rel=1e-12)


@given(layouts())
def test_nested_is_crossed_with_the_second_factor_and_interaction_pooled(
    cells: list[list[list[Decimal]]],
) -> None:
    first, second, interaction, repeats = crossed(cells)
    own, within, lifts = nested(cells)
    assert own is not None
    assert (own.sum_of_squares, lifts.sum_of_squares) == (
        first.sum_of_squares,
        repeats.sum_of_squares,
    )
    both = pooled("second", (second, interaction))
    assert within.degrees_of_freedom == both.degrees_of_freedom
    assert within.sum_of_squares == pytest.approx(both.sum_of_squares, rel=1e-12)


def test_a_crossed_layout_by_hand() -> None:
    """Rows differ by 4, columns by 2, and the last cell is 1 more than they say."""
    cells = [[[10, 12], [12, 14]], [[14, 16], [17, 19]]]
    rows, columns, interaction, repeats = crossed(cells)
    assert [rows.sum_of_squares, columns.sum_of_squares] == [40.5, 12.5]
    assert [interaction.sum_of_squares, repeats.sum_of_squares] == [0.5, 8.0]
    assert [term.degrees_of_freedom for term in (rows, columns, interaction, repeats)] == [
        1, 1, 1, 4,
    ]  # fmt: skip


def test_one_place_has_no_scatter_of_places() -> None:
    first, second, repeats = nested([[[40.0, 41.0], [42.0, 43.0]]])
    assert first is None
    assert (second.sum_of_squares, second.degrees_of_freedom) == (4.0, 1)
    assert (repeats.sum_of_squares, repeats.degrees_of_freedom) == (1.0, 2)


def test_groups_of_unequal_size() -> None:
    found: OneWay = one_way([[1, 2, 3], [5], [7, 9]])
    assert found.between.sum_of_squares == pytest.approx(43.5)
    assert found.within.sum_of_squares == pytest.approx(4.0)
    assert (found.between.degrees_of_freedom, found.within.degrees_of_freedom) == (2, 3)


def test_nothing_scatters() -> None:
    flat = one_way([[43.0, 43.0], [43.0, 43.0]])
    assert (flat.between.f, flat.between.p, flat.r_squared) == (None, None, None)
    apart = one_way([[43.0, 43.0], [44.0, 44.0]])
    assert (apart.between.f, apart.between.p, apart.r_squared) == (None, 0.0, 1.0)


def test_an_f_ratio_and_its_probability() -> None:
    """F(0.95; 5, 30) = 2.533555 by NIST/SEMATECH e-Handbook 2.2.3.1."""
    found = f_test(Term("between", 5 * 2.533555, 5), Term("within", 30.0, 30))
    assert found.f == pytest.approx(2.533555)
    assert found.p == pytest.approx(0.05, abs=1e-6)


def drawn(random: Random, variance: float, degrees: int) -> Term:
    return Term("drawn", variance * random.gammavariate(degrees / 2, 2), degrees)


@pytest.mark.parametrize(
    ("weights", "variances", "degrees", "method"),
    [
        ([1.0], [2.0], [10], "chi-square"),
        ([0.5, -0.5], [4.0, 1.0], [9, 18], "modified large sample"),
        ([0.5, -0.5], [1.5, 1.0], [2, 40], "modified large sample"),
        ([0.05, 0.45, 0.5], [3.0, 1.5, 1.0], [2, 18, 60], "modified large sample"),
        ([1 / 30, 0.3, -1 / 3], [32.5, 2.5, 1.0], [2, 18, 60], "modified large sample"),
    ],
    ids=["one", "difference", "small difference", "sum", "reproducibility"],
)
def test_intervals_cover_the_truth_as_often_as_they_say(
    weights: list[float], variances: list[float], degrees: list[int], method: str
) -> None:
    """1500 simulated studies, seeded: at 90 % all but four standard errors of that, or more."""
    random, count, covered = Random(11), 1500, 0
    true = math.sqrt(sum(w * v for w, v in zip(weights, variances, strict=True)))
    for _ in range(count):
        terms = [drawn(random, v, n) for v, n in zip(variances, degrees, strict=True)]
        found = component("c", list(zip(weights, terms, strict=True)), 0.90)
        assert found.method == method
        assert found.low <= found.high
        covered += found.low <= true <= found.high
    error = math.sqrt(0.9 * 0.1 / count)
    assert 0.9 - 4 * error < covered / count < 0.98


def test_a_component_that_is_not_there() -> None:
    found = component("none", [(0.5, Term("a", 4.0, 4)), (-0.5, Term("b", 30.0, 20))])
    assert found.estimate == -0.25
    assert found.deviation == found.low == 0
    assert found.high > 0


def test_no_scatter_has_no_interval() -> None:
    found = component("flat", [(0.5, Term("a", 0.0, 4)), (-0.5, Term("b", 0.0, 20))])
    assert (found.estimate, found.deviation, found.low, found.high) == (0, 0, 0, 0)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (lambda: one_way([[1.0, 2.0]]), "two groups"),
        (lambda: one_way([[1.0], [2.0]]), "with repeats"),
        (lambda: one_way([[1.0, 2.0], []]), "two groups"),
        (lambda: crossed([[[1, 2], [3, 4]]]), "two stations"),
        (lambda: crossed([[[1], [3]], [[1], [3]]]), "two trials"),
        (lambda: crossed([[[1, 2], [3, 4]], [[1, 2], [3]]]), "not balanced"),
        (lambda: crossed([]), "not balanced"),
        (lambda: nested([[[1, 2]], [[3, 4]]]), "two placings"),
        (lambda: nested([[[], []]]), "two placings"),
        (lambda: component("c", [(1.0, Term("a", 1.0, 1))], 1.0), "between 0 and 1"),
    ],
)
def test_a_layout_that_cannot_be_solved_is_refused(wrong: Callable[[], object], said: str) -> None:
    with pytest.raises(MetrologyError, match=said):
        wrong()
