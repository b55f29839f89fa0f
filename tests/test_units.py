"""Units: spellings, exact factors, and the traps that pint and the trade set."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink import units
from gaugelink.units import (
    ALIASES,
    HUNDREDTHS,
    UNITS,
    UnitError,
    canonical,
    factor,
    fraction_of_hundredth,
)

ALL = [*UNITS, HUNDREDTHS]

IN_HUNDREDTHS = {
    "mm": Fraction(100),
    "um": Fraction(1, 10),
    "cm": Fraction(1000),
    "m": Fraction(100_000),
    "in": Fraction(2540),
    "ft": Fraction(30_480),
    "thou": Fraction(254, 100),
    "angstrom": Fraction(1, 100_000),
    "yd": Fraction(91_440),
    "mi": Fraction(160_934_400),
    "nmi": Fraction(185_200_000),
    HUNDREDTHS: Fraction(1),
}
"""Written out by hand, not by pint."""


@pytest.mark.parametrize("unit", ALL)
def test_factors_are_exact(unit: str) -> None:
    assert fraction_of_hundredth(unit) == IN_HUNDREDTHS[unit]
    assert Fraction(factor(unit)) == IN_HUNDREDTHS[unit]


@given(
    unit=st.sampled_from([*ALL, *ALIASES]),
    digits=st.integers(-(10**15) + 1, 10**15 - 1),
    places=st.integers(0, 12),
)
def test_every_product_with_a_factor_is_exact(unit: str, digits: int, places: int) -> None:
    value = Decimal(digits).scaleb(-places)
    expected = Fraction(digits, 10**places) * IN_HUNDREDTHS[canonical(unit)]
    assert Fraction(value * factor(unit)) == expected


@pytest.mark.parametrize("spelling", ["mil", "MIL", "mils", "thou", " Thou "])
def test_a_mil_is_a_thousandth_of_an_inch(spelling: str) -> None:
    assert canonical(spelling) == "thou"
    assert factor(spelling) == Decimal("2.54")


def test_pint_takes_a_mil_for_an_angle() -> None:
    assert pint.UnitRegistry()("mil").check("[]")
    assert not pint.UnitRegistry()("mil").check("[length]")


def test_pints_float_foot_is_not_exact() -> None:
    foot: float = pint.UnitRegistry().Quantity(1, "foot").to("meter").magnitude
    assert Fraction(foot) != Fraction(3048, 10_000)
    assert fraction_of_hundredth("ft") == Fraction(3048, 10_000) * 100_000


@pytest.mark.parametrize("spelling", ["µm", "μm", "µM", "Micron", "um", "UM"])
def test_both_letters_mu_are_a_micrometre(spelling: str) -> None:
    assert canonical(spelling) == "um"


@pytest.mark.parametrize("alias", ALIASES)
def test_every_alias_leads_to_a_known_unit(alias: str) -> None:
    assert canonical(alias) in ALL
    assert canonical(alias.upper()) == canonical(f" {alias} ") == ALIASES[alias]
    assert alias == alias.lower(), "aliases are compared in lower case"


@pytest.mark.parametrize(
    "name", ["", " ", "survey_foot", "ftUS", "degree", "rad", "mm2", "kg", "mmm", "furlong"]
)
def test_what_is_no_length_is_refused_with_the_known_ones(name: str) -> None:
    for refuses in (canonical, factor, fraction_of_hundredth):
        with pytest.raises(UnitError, match="is not a length gaugelink knows; use one of mm, um"):
            refuses(name)


@given(st.text())
def test_any_name_is_canonical_or_refused(name: str) -> None:
    try:
        found = canonical(name)
    except UnitError as error:
        said = str(error)
    else:
        said = ""
        assert canonical(found) == found
    assert "\n" not in said, "one line"


def test_a_unit_without_a_finite_decimal_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(units.UNITS, "ft-survey", "survey_foot")
    assert fraction_of_hundredth("ft-survey") == Fraction(1200, 3937) * 100_000
    with pytest.raises(UnitError, match="has no exact decimal factor"):
        factor("ft-survey")
