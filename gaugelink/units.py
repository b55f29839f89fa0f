"""Exact factors from an indicator's unit to hundredths of a millimetre.

pint supplies the definitions, once for each unit and as fractions: its float foot is not exact,
a conversion through it costs about a hundred multiplications, and importing it takes longer than
starting the screen. So a factor is asked for once and kept, and pint is imported only for a unit
that is not a hundredth of a millimetre or a hundred of them by its very name.
"""

from __future__ import annotations

from decimal import Decimal
from functools import cache
from typing import TYPE_CHECKING

from gaugelink.reading import GaugelinkError

if TYPE_CHECKING:
    from fractions import Fraction

    from pint import UnitRegistry

UNITS: dict[str, str] = {
    "mm": "millimeter",
    "um": "micrometer",
    "cm": "centimeter",
    "m": "meter",
    "in": "inch",
    "ft": "foot",
    # pint's `mil` is an angle. What a gauge calls mil or thou is a thousandth of an inch.
    "thou": "thou",
    # Lengths among Bluetooth's assigned units, so that a device may say them.
    "angstrom": "angstrom",
    "yd": "yard",
    "mi": "mile",
    "nmi": "nautical_mile",
}
"""Canonical unit names and what pint calls them."""

HUNDREDTHS = "hundredths"
"""The unit of indicators that count hundredths of a millimetre; the factor is one."""

ALIASES: dict[str, str] = {
    "millimetre": "mm",
    "millimeter": "mm",
    "µm": "um",
    "μm": "um",
    "micron": "um",
    "inch": "in",
    "inches": "in",
    '"': "in",
    "foot": "ft",
    "feet": "ft",
    "mil": "thou",
    "mils": "thou",
    "metre": "m",
    "meter": "m",
    "ångström": "angstrom",
    "yard": "yd",
    "mile": "mi",
    "nautical mile": "nmi",
    "1/100 mm": HUNDREDTHS,
}
"""Other spellings, compared in lower case."""


class UnitError(GaugelinkError):
    """A unit that is not a length gaugelink knows."""


def canonical(name: str) -> str:
    """The canonical name of a unit spelt in any declared way.

    Raises UnitError for anything else; an angle, a survey foot or a typing slip is not guessed at.
    """
    folded = name.strip().lower()
    if folded in UNITS or folded == HUNDREDTHS:
        return folded
    if folded in ALIASES:
        return ALIASES[folded]
    known = ", ".join([*UNITS, HUNDREDTHS])
    raise UnitError(f"unit {name!r} is not a length gaugelink knows; use one of {known}")


@cache
def _registry() -> UnitRegistry[Fraction]:
    from fractions import Fraction

    import pint

    return pint.UnitRegistry(non_int_type=Fraction)


@cache
def fraction_of_hundredth(unit: str) -> Fraction:
    """Hundredths of a millimetre in one `unit`, as an exact fraction derived from pint.

    Raises UnitError for an unknown unit.
    """
    from fractions import Fraction

    name = canonical(unit)
    if name == HUNDREDTHS:
        return Fraction(1)
    if name == "mm":
        return Fraction(100)
    quantity = _registry().Quantity(Fraction(1), UNITS[name])
    return Fraction(quantity.to("millimeter").magnitude) * 100


@cache
def factor(unit: str) -> Decimal:
    """Hundredths of a millimetre in one `unit`, exact: 2540 for an inch, 0.1 for a micrometre.

    Raises UnitError for an unknown unit, or for one whose factor has no finite decimal.
    """
    exact = fraction_of_hundredth(unit)
    value = Decimal(exact.numerator) / Decimal(exact.denominator)
    # As fractions: a product of decimals would be rounded back to what it came from.
    if value.as_integer_ratio() != exact.as_integer_ratio():
        raise UnitError(f"unit {unit!r} has no exact decimal factor; describe it in millimetres")
    return value
