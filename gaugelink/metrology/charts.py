"""The individuals and moving-range chart: how a batch varies, and what in it stands out.

The limits come from the differences of neighbours, not from the scatter of all values: a drift or
a jump would widen the scatter until it hides itself. Source: NIST/SEMATECH e-Handbook 6.3.2.2.
The constants are integrated from the distribution of the range of normal values, since tables of
them are rounded and now and then misprinted.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from statistics import NormalDist

import msgspec

from gaugelink.metrology.run_rules import ZONE_RULES, Flag, Rule, broken
from gaugelink.metrology.samples import MetrologyError, Value, mean
from gaugelink.metrology.series import series

FEWEST = 5
"""Values that a chart needs; common practice asks for twenty before limits are relied on."""

WIDEST_SPAN = 25
"""Values that a range may be taken of: a wider one wastes what it is given."""

STEP = 0.05
"""Standard deviations. The trapezoidal rule gains digits quickly on a smooth function that dies
away at both ends; at this step more than seven are right (for three values, whose range has a bend
at zero; more for all others)."""

REACH = 9.0
"""Standard deviations beyond which a normal value does not occur to double precision."""


class Constants(msgspec.Struct, frozen=True):
    """What turns the mean range of `n` normal values into limits; none has a unit."""

    n: int
    d2: float
    """Mean of the range, in standard deviations."""
    d3: float
    """Standard deviation of the range, in standard deviations."""
    c4: float
    """Mean of the sample standard deviation, in standard deviations."""
    a2: float
    """A2: half the width of the limits of means of `n`, in mean ranges."""
    e2: float
    """E2: half the width of the limits of single values, in mean ranges."""
    lower: float
    """D3: lower limit of a range, in mean ranges; never below zero."""
    upper: float
    """D4: upper limit of a range, in mean ranges."""


@lru_cache
def constants(n: int) -> Constants:
    """The constants for ranges of `n` values, 2 to 25; MetrologyError otherwise.

    d2 = ∫ 1 - Φ^n - (1 - Φ)^n, and d3 from the density of the range of n normal values; the
    others follow: A2 = 3 / (d2 √n), E2 = 3 / d2, D3 and D4 = 1 ∓ 3 d3 / d2. Source:
    NIST/SEMATECH e-Handbook 6.3.2.1.
    """
    if not 2 <= n <= WIDEST_SPAN:
        raise MetrologyError(f"a range of {n} values is no use; take 2 to {WIDEST_SPAN}")
    d2, square = _range_moments(n)
    d3 = math.sqrt(square - d2 * d2)
    spread = 3 * d3 / d2
    return Constants(
        n=n,
        d2=d2,
        d3=d3,
        c4=c4(n - 1),
        a2=3 / (d2 * math.sqrt(n)),
        e2=3 / d2,
        lower=max(0.0, 1 - spread),
        upper=1 + spread,
    )


def c4(freedom: float) -> float:
    """Mean of a standard deviation of that many degrees of freedom, in true ones; freedom > 0.

    √(2 / ν) Γ((ν + 1) / 2) / Γ(ν / 2). Source: NIST/SEMATECH e-Handbook 6.3.2.1.
    """
    logarithm = math.lgamma((freedom + 1) / 2) - math.lgamma(freedom / 2)
    return math.sqrt(2 / freedom) * math.exp(logarithm)


def _range_moments(n: int) -> tuple[float, float]:
    """Mean and mean square of the range of `n` standard normal values."""
    normal = NormalDist()
    steps = round(REACH / STEP)
    points = [index * STEP for index in range(-steps, steps + 1)]
    below = [normal.cdf(point) for point in points]
    density = [normal.pdf(point) for point in points]
    first = STEP * math.fsum(
        1 - low**n - high**n for low, high in zip(below, below[::-1], strict=True)
    )
    second = 0.0
    for width in range(1, len(points)):
        # The density of the range at this width: the lowest value here, the highest there, and
        # all others between them.
        pairs = zip(density, density[width:], below, below[width:], strict=False)
        at = math.fsum(one * two * (high - low) ** (n - 2) for one, two, low, high in pairs)
        second += (width * STEP) ** 2 * at
    return first, n * (n - 1) * STEP * STEP * second


class Chart(msgspec.Struct, frozen=True):
    """One chart with all that is needed to draw it; everything in the unit of the values."""

    values: tuple[float, ...]
    first: int
    """Index in the batch that the first value of the chart belongs to, counted from 0."""
    centre: float
    lower: float
    upper: float
    sigma: float
    """Standard deviation that the limits were drawn from: they lie three of it from the centre."""
    flags: tuple[Flag, ...]
    """What stands out and by which rule; the indices are the batch's."""


class IndividualsChart(msgspec.Struct, frozen=True):
    """The pair of charts: the values themselves, and how far each is from the one before."""

    individuals: Chart
    ranges: Chart


def individuals(
    values: Sequence[Value],
    baseline: Sequence[Value] | None = None,
    span: int = 2,
    rules: Sequence[Rule] = ZONE_RULES,
) -> IndividualsChart:
    """The charts of values in the order in which they were made, in any one unit.

    The limits are those of the values themselves, or of a `baseline`: an earlier batch that was
    good. Ranges are taken of `span` neighbours, 2 to 25. Overlapping ranges share values, and run
    in company for that alone: only a single range beyond its limits is flagged.

    MetrologyError for fewer values than `span`, or than five to draw the limits from.
    """
    figures = constants(span)
    shown = series(values, span, "a chart")
    needed = max(FEWEST, span + 1)
    known = series(values if baseline is None else baseline, needed, "a chart's limits")
    centre, mean_range = mean(known), mean(moving_ranges(known, span))
    sigma = mean_range / figures.d2
    chart = Chart(
        values=shown,
        first=0,
        centre=centre,
        lower=centre - figures.e2 * mean_range,
        upper=centre + figures.e2 * mean_range,
        sigma=sigma,
        flags=broken(shown, centre, sigma, rules),
    )
    return IndividualsChart(chart, _range_chart(shown, mean_range, figures))


def moving_ranges(values: Sequence[float], span: int = 2) -> tuple[float, ...]:
    """Highest less lowest of every `span` neighbours, in the unit of the values."""
    windows = (values[start : start + span] for start in range(len(values) - span + 1))
    return tuple(max(window) - min(window) for window in windows)


def _range_chart(values: Sequence[float], mean_range: float, figures: Constants) -> Chart:
    ranges = moving_ranges(values, figures.n)
    lower, upper = figures.lower * mean_range, figures.upper * mean_range
    slack = 1e-9 * mean_range
    return Chart(
        values=ranges,
        first=figures.n - 1,
        centre=mean_range,
        lower=lower,
        upper=upper,
        sigma=figures.d3 * mean_range / figures.d2,
        flags=tuple(
            Flag(index, index + figures.n - 1, "beyond")
            for index, each in enumerate(ranges)
            if each > upper + slack or each < lower - slack
        ),
    )
