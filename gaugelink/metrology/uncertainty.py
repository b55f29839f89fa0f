"""Measurement uncertainty: a budget of components, combined and expanded.

After the Guide to the Expression of Uncertainty in Measurement (GUM, JCGM 100:2008). A component
is of type A when it comes from a series of readings, of type B when it comes from anything else: a
certificate, a tolerance, the last digit. Both are combined alike.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from statistics import NormalDist
from typing import Literal

import msgspec

from gaugelink.metrology.samples import MetrologyError

Kind = Literal["A", "B"]
Distribution = Literal["normal", "rectangular", "triangular", "u-shaped"]

COVERAGE = 0.95
"""The coverage probability when none is asked for."""

UNLIMITED = 1e9
"""Effective degrees of freedom beyond which they are no longer told from infinite ones."""


class Component(msgspec.Struct, frozen=True):
    """One line of an uncertainty budget."""

    name: str
    kind: Kind
    distribution: Distribution
    stated: float
    """What is known, in the unit of the input: a half-width, an expanded uncertainty, or a standard
    deviation."""
    divisor: float
    """What `stated` is divided by to make it a standard uncertainty."""
    sensitivity: float = 1.0
    """Units of the result for one unit of the input."""
    degrees_of_freedom: float | None = None
    """None when infinite: the figure is taken as sure."""

    @property
    def standard(self) -> float:
        """The standard uncertainty of the input, in its unit."""
        return self.stated / self.divisor

    @property
    def contribution(self) -> float:
        """What it brings into the result, in the result's unit and with the sensitivity's sign."""
        return self.sensitivity * self.standard


class Budget(msgspec.Struct, frozen=True):
    """What the components amount to; all in the unit of the result."""

    components: tuple[Component, ...]
    combined: float
    """The combined standard uncertainty."""
    degrees_of_freedom: float | None
    """Effective ones, by the Welch-Satterthwaite formula; None when infinite."""
    coverage: float
    """The probability with which the expanded uncertainty is meant to cover the value."""
    coverage_factor: float
    expanded: float


def repeated(
    name: str,
    deviation: float,
    count: int = 1,
    degrees_of_freedom: float | None = None,
    sensitivity: float = 1.0,
) -> Component:
    """Type A: the mean of `count` readings whose standard deviation is `deviation`.

    The degrees of freedom are those that the deviation was found with. GUM 4.2.
    """
    if count < 1:
        raise MetrologyError(f"{name}: a mean of {count} readings does not exist; take one or more")
    return _made(name, "A", "normal", deviation, math.sqrt(count), sensitivity, degrees_of_freedom)


def normal(
    name: str,
    expanded: float,
    k: float = 1.0,
    degrees_of_freedom: float | None = None,
    sensitivity: float = 1.0,
) -> Component:
    """Type B: an expanded uncertainty with its coverage factor k, as a certificate states it.

    GUM 4.3.3. With k = 1 it is a standard uncertainty.
    """
    return _made(name, "B", "normal", expanded, k, sensitivity, degrees_of_freedom)


def rectangular(
    name: str,
    half_width: float,
    degrees_of_freedom: float | None = None,
    sensitivity: float = 1.0,
) -> Component:
    """Type B: anywhere within plus or minus `half_width`, all alike. GUM 4.3.7: divided by √3."""
    return _made(
        name, "B", "rectangular", half_width, math.sqrt(3), sensitivity, degrees_of_freedom
    )


def triangular(
    name: str,
    half_width: float,
    degrees_of_freedom: float | None = None,
    sensitivity: float = 1.0,
) -> Component:
    """Type B: within plus or minus `half_width`, the middle likeliest. GUM 4.3.9: by √6."""
    return _made(name, "B", "triangular", half_width, math.sqrt(6), sensitivity, degrees_of_freedom)


def u_shaped(
    name: str,
    half_width: float,
    degrees_of_freedom: float | None = None,
    sensitivity: float = 1.0,
) -> Component:
    """Type B: swinging between the two ends, which are likeliest (arcsine). GUM H.1.3.4: by √2."""
    return _made(name, "B", "u-shaped", half_width, math.sqrt(2), sensitivity, degrees_of_freedom)


def resolution(name: str, step: float, sensitivity: float = 1.0) -> Component:
    """Type B: what rounding to steps of the last digit hides. GUM F.2.2.1: 0.29 of the step."""
    return rectangular(name, step / 2, sensitivity=sensitivity)


def degrees_from_reliability(doubt: float) -> float:
    """Degrees of freedom of a figure that is itself in doubt by the fraction `doubt`.

    A standard uncertainty thought right to 25 % (0.25) has 8. GUM G.4.2, formula G.3.
    Raises MetrologyError unless the doubt is above 0.
    """
    if not doubt > 0:
        raise MetrologyError("the doubt of a figure is a fraction above 0, as 0.25 for a quarter")
    return 1 / (2 * doubt * doubt)


def combined_standard(
    components: Sequence[Component],
    correlations: Mapping[tuple[str, str], float] | None = None,
) -> float:
    """The combined standard uncertainty, in the unit of the result.

    Correlation coefficients from -1 to 1 are given by the names of two components; pairs that are
    not given are independent. GUM formulae 10 and 16. Raises MetrologyError for a name that no
    component or more than one has, and for coefficients that contradict each other.
    """
    total = math.fsum(each.contribution**2 for each in components)
    names = [each.name for each in components]
    for (one, two), r in (correlations or {}).items():
        for name in (one, two):
            if names.count(name) != 1:
                raise MetrologyError(f"correlation of {name!r}: one component must have this name")
        if one == two or not -1 <= r <= 1:
            raise MetrologyError(
                f"correlation {r} of {one!r} and {two!r}: give two names and a figure from -1 to 1"
            )
        first, second = components[names.index(one)], components[names.index(two)]
        total += 2 * first.contribution * second.contribution * r
    # Full correlation may cancel exactly, but for what floats leave over.
    if total < -1e-12 * math.fsum(each.contribution**2 for each in components):
        raise MetrologyError("these correlations contradict each other; the variance is negative")
    return math.sqrt(max(total, 0.0))


def effective_degrees_of_freedom(components: Sequence[Component], combined: float) -> float | None:
    """Welch-Satterthwaite, for independent components; None when infinite.

    GUM formula G.2b. Components with infinite degrees of freedom drop out of the sum. `combined`
    is meant unrounded: a rounded one changes the result by more than one expects.
    """
    if combined == 0:
        return None
    terms = math.fsum(
        (each.contribution / combined) ** 4 / each.degrees_of_freedom
        for each in components
        if each.degrees_of_freedom is not None
    )
    return 1 / terms if terms > 1 / UNLIMITED else None


def coverage_factor(coverage: float = COVERAGE, degrees_of_freedom: float | None = None) -> float:
    """Two-sided Student's t for a coverage probability between 0 and 1.

    Degrees of freedom are truncated to a whole number (GUM G.4.1), but never below 1.
    Raises MetrologyError for a probability out of range.
    """
    if not 0 < coverage < 1:
        raise MetrologyError(f"a coverage probability lies between 0 and 1, {coverage:g} does not")
    tail = (1 + coverage) / 2
    if degrees_of_freedom is None:
        return NormalDist().inv_cdf(tail)
    from scipy.special import stdtrit  # type: ignore[import-untyped]

    # Floats may leave a whole number a hair below itself.
    whole = math.floor(degrees_of_freedom * (1 + 1e-9))
    return float(stdtrit(max(1, whole), tail))


def budget(components: Sequence[Component], coverage: float = COVERAGE) -> Budget:
    """The budget of independent components, expanded to the coverage probability asked for.

    Raises MetrologyError when there is no component, or for a probability out of range.
    """
    if not components:
        raise MetrologyError("a budget needs a component or more; name what makes the value unsure")
    combined = combined_standard(components)
    degrees = effective_degrees_of_freedom(components, combined)
    factor = coverage_factor(coverage, degrees)
    return Budget(tuple(components), combined, degrees, coverage, factor, factor * combined)


def _made(
    name: str,
    kind: Kind,
    distribution: Distribution,
    stated: float,
    divisor: float,
    sensitivity: float,
    degrees: float | None,
) -> Component:
    if not (math.isfinite(stated) and stated >= 0 and math.isfinite(sensitivity)):
        raise MetrologyError(f"{name}: an uncertainty is a finite number, not below 0")
    if not (math.isfinite(divisor) and divisor > 0):
        raise MetrologyError(f"{name}: the divisor must be above 0, {divisor:g} is not")
    if degrees is not None and not degrees > 0:
        raise MetrologyError(f"{name}: degrees of freedom are above 0; leave them out if infinite")
    return Component(name, kind, distribution, float(stated), divisor, sensitivity, degrees)
