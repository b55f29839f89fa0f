"""Analysis of variance of balanced designs, and the variance components that come out of it.

Sums of squares are exact; see `samples`. Confidence intervals need the chi-square and F
distributions of scipy, which is imported when they are asked for.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

import msgspec

from gaugelink.metrology.samples import MetrologyError, Value, whole

CONFIDENCE = 0.95
"""The confidence of an interval when none is asked for."""

Nest = Sequence[Sequence[Sequence[Value]]]
"""Readings by two factors: the first, the second, and the repeats."""


class Term(msgspec.Struct, frozen=True):
    """One line of an analysis-of-variance table."""

    name: str
    sum_of_squares: float
    """In the square of the readings' unit."""
    degrees_of_freedom: int
    f: float | None = None
    """The ratio to the mean square it is tested against; None when not tested, or divided by 0."""
    p: float | None = None
    """The probability of such an F or a greater one by chance alone."""

    @property
    def mean_square(self) -> float:
        """The sum of squares for each degree of freedom."""
        return self.sum_of_squares / self.degrees_of_freedom


class OneWay(msgspec.Struct, frozen=True):
    """A one-way analysis of variance."""

    between: Term
    within: Term
    r_squared: float | None
    """The share of the scatter that lies between the groups; None when nothing scatters."""
    residual_deviation: float
    """The standard deviation within the groups, in the readings' unit."""


class VarianceComponent(msgspec.Struct, frozen=True):
    """What one source of scatter brings in, with its confidence interval."""

    name: str
    estimate: float
    """The variance as the table gives it. It may be negative: a sign that the component is small
    beside its uncertainty, or that the design does not fit."""
    deviation: float
    """The standard deviation, in the readings' unit; 0 for a negative estimate."""
    low: float
    """The lower end of the confidence interval of the standard deviation."""
    high: float
    method: str
    """What the interval is made with: "chi-square" or "modified large sample"."""


def one_way(groups: Sequence[Sequence[Value]]) -> OneWay:
    """Between and within groups, which need not be of one size.

    Raises MetrologyError for fewer than two groups, an empty one, or no repeat in any.
    """
    sizes = [len(group) for group in groups]
    if len(sizes) < 2 or not min(sizes) or sum(sizes) == len(sizes):
        raise MetrologyError("an analysis of variance needs two groups or more, with repeats")
    flat, denominator = whole(value for group in groups for value in group)
    values = iter(flat)
    totals = [sum(next(values) for _ in group) for group in groups]
    of_groups = sum(Fraction(t * t, n) for t, n in zip(totals, sizes, strict=True))
    of_all = Fraction(sum(flat) ** 2, len(flat))
    squares = sum(each * each for each in flat)
    unit = denominator**2
    between = Term("between", float((of_groups - of_all) / unit), len(sizes) - 1)
    within = Term("within", float((squares - of_groups) / unit), len(flat) - len(sizes))
    whole_scatter = squares - of_all
    return OneWay(
        f_test(between, within),
        within,
        float((of_groups - of_all) / whole_scatter) if whole_scatter else None,
        math.sqrt(within.mean_square),
    )


def crossed(cells: Nest) -> tuple[Term, Term, Term, Term]:
    """First factor, second factor, interaction and repeats of a balanced two-way layout.

    `cells[i][j]` are the repeats at level i of the first factor and j of the second. Nothing is
    tested yet: that depends on what is pooled. Raises MetrologyError unless it is balanced, with
    two levels of each factor and two repeats at least.
    """
    (a, b, n), totals, squares, unit = _totals(cells)
    if min(a, b, n) < 2:
        raise MetrologyError("a crossed study needs two stations, two people and two trials")
    of_first = sum(Fraction(sum(row) ** 2, b * n) for row in totals)
    of_second = sum(Fraction(sum(column) ** 2, a * n) for column in zip(*totals, strict=True))
    of_cells, of_all = _of_cells(totals, n)
    return (
        Term("first", float((of_first - of_all) / unit), a - 1),
        Term("second", float((of_second - of_all) / unit), b - 1),
        Term(
            "interaction",
            float((of_cells - of_first - of_second + of_all) / unit),
            (a - 1) * (b - 1),
        ),
        Term("repeats", float((squares - of_cells) / unit), a * b * (n - 1)),
    )


def nested(cells: Nest) -> tuple[Term | None, Term, Term]:
    """First factor, second within first, and repeats within second, of a balanced nested layout.

    `cells[i][j]` are the repeats of the jth level within level i. One level of the first factor
    has no scatter: its term is None. Raises MetrologyError unless it is balanced, with two levels
    within each and two repeats at least.
    """
    (a, b, n), totals, squares, unit = _totals(cells)
    if min(b, n) < 2:
        raise MetrologyError("a nested study needs two placings at a station and two lifts in each")
    of_first = sum(Fraction(sum(row) ** 2, b * n) for row in totals)
    of_cells, of_all = _of_cells(totals, n)
    return (
        Term("first", float((of_first - of_all) / unit), a - 1) if a > 1 else None,
        Term("second", float((of_cells - of_first) / unit), a * (b - 1)),
        Term("repeats", float((squares - of_cells) / unit), a * b * (n - 1)),
    )


def f_test(term: Term, against: Term) -> Term:
    """The term with its F ratio to another's mean square, and the probability of it."""
    above, below = term.mean_square, against.mean_square
    if below == 0:
        # Nothing scatters below: any scatter above it is beyond chance.
        return msgspec.structs.replace(term, f=None, p=0.0 if above else None)
    from scipy.special import fdtrc  # type: ignore[import-untyped]

    f = above / below
    p = float(fdtrc(term.degrees_of_freedom, against.degrees_of_freedom, f))
    return msgspec.structs.replace(term, f=f, p=p)


def pooled(name: str, terms: Sequence[Term]) -> Term:
    """One term from several that are taken for the same scatter."""
    return Term(
        name,
        math.fsum(each.sum_of_squares for each in terms),
        sum(each.degrees_of_freedom for each in terms),
    )


def component(
    name: str, weighted: Sequence[tuple[float, Term]], confidence: float = CONFIDENCE
) -> VarianceComponent:
    """The variance that is a weighted sum of mean squares, at most one of them with a minus.

    A negative estimate counts as no variance, and is kept to be seen (Searle, Casella and
    McCulloch, Variance Components, 1992, 4.4; from memory). The interval of one mean square alone
    is that of the chi-square distribution. Otherwise it is the modified large sample interval: of
    a sum by Graybill and Wang (1980), of a difference by Ting, Burdick, Graybill, Jeyaratnam and
    Lu (1990), as in Burdick, Borror and Montgomery, Journal of Quality Technology 35 (2003); from
    memory, and held against simulated studies in the tests.
    """
    if not 0 < confidence < 1:
        raise MetrologyError(f"a confidence lies between 0 and 1, {confidence:g} does not")
    estimate = math.fsum(weight * term.mean_square for weight, term in weighted)
    below, above = _reach(weighted, (1 - confidence) / 2)
    return VarianceComponent(
        name,
        estimate,
        math.sqrt(max(0.0, estimate)),
        math.sqrt(max(0.0, estimate - below)),
        math.sqrt(max(0.0, estimate + above)),
        "chi-square" if len(weighted) == 1 else "modified large sample",
    )


def _reach(weighted: Sequence[tuple[float, Term]], tail: float) -> tuple[float, float]:
    """How far the interval of a weighted sum of mean squares goes below and above its estimate."""
    added = [(w * t.mean_square, t.degrees_of_freedom) for w, t in weighted if w > 0]
    taken = [(-w * t.mean_square, t.degrees_of_freedom) for w, t in weighted if w < 0]
    below = [(_g(n, tail) * size) ** 2 for size, n in added]
    above = [(_h(n, tail) * size) ** 2 for size, n in added]
    for less, m in taken:
        below.append((_h(m, tail) * less) ** 2)
        above.append((_g(m, tail) * less) ** 2)
        for size, n in added:
            low, high = _together(n, m, tail)
            below.append(low * size * less)
            above.append(high * size * less)
    if taken and len(added) == 2:
        (one, n), (two, m) = added
        below.append(_both(n, m, tail) * one * two)
    return math.sqrt(max(0.0, math.fsum(below))), math.sqrt(max(0.0, math.fsum(above)))


def _g(n: int, tail: float) -> float:
    from scipy.special import chdtri

    return 1 - n / float(chdtri(n, tail))


def _h(n: int, tail: float) -> float:
    from scipy.special import chdtri

    return n / float(chdtri(n, 1 - tail)) - 1


def _together(n: int, m: int, tail: float) -> tuple[float, float]:
    """The cross terms of an added and a taken mean square, for the lower and the upper end."""
    from scipy.special import fdtri

    large, small = float(fdtri(n, m, 1 - tail)), float(fdtri(n, m, tail))
    low = ((large - 1) ** 2 - (_g(n, tail) * large) ** 2 - _h(m, tail) ** 2) / large
    high = ((1 - small) ** 2 - (_h(n, tail) * small) ** 2 - _g(m, tail) ** 2) / small
    return low, high


def _both(n: int, m: int, tail: float) -> float:
    """The cross term of two added mean squares beside a taken one, for the lower end."""
    return (
        _g(n + m, tail) ** 2 * (n + m) ** 2 / (n * m)
        - _g(n, tail) ** 2 * n / m
        - _g(m, tail) ** 2 * m / n
    )


def _totals(cells: Nest) -> tuple[tuple[int, int, int], list[list[int]], int, int]:
    """The shape, the cells' totals, the sum of all squares, and the square of their unit."""
    shape = {(len(row), len(repeats)) for row in cells for repeats in row}
    if len(shape) != 1:
        raise MetrologyError("the study is not balanced; every place needs as many readings")
    ((b, n),) = shape
    flat, denominator = whole(value for row in cells for repeats in row for value in repeats)
    sums = [sum(flat[start : start + n]) for start in range(0, len(flat), n)] if n else []
    totals = [sums[start : start + b] for start in range(0, len(sums), b)]
    return (len(cells), b, n), totals, sum(each * each for each in flat), denominator**2


def _of_cells(totals: list[list[int]], n: int) -> tuple[Fraction, Fraction]:
    sums = [each for row in totals for each in row]
    return (
        Fraction(sum(each * each for each in sums), n),
        Fraction(sum(sums) ** 2, n * len(sums)),
    )
