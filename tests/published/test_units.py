"""Units against the exact definitions of NIST SP 811."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any

import pint
import pytest

from gaugelink.devices.decoding import Decoded, Decoder
from gaugelink.devices.description import ByTerminator, Decoding, Description
from gaugelink.units import UNITS, UnitError, factor, fraction_of_hundredth
from tests.published.tables import table

EXACT = table("units.toml", "length_exact")
INCHES = table("units.toml", "inch_readings")


def test_the_table_covers_every_unit() -> None:
    assert set(EXACT["to_hundredth_mm"]) == set(EXACT["to_metre"]) == set(UNITS)


@pytest.mark.parametrize("unit", EXACT["to_hundredth_mm"])
def test_factors_are_those_of_the_definition(unit: str) -> None:
    assert factor(unit) == Decimal(EXACT["to_hundredth_mm"][unit])
    assert fraction_of_hundredth(unit) == Fraction(EXACT["to_metre"][unit]) * 100_000


@pytest.mark.parametrize(
    ("inch", "hundredths", "step"),
    list(
        zip(
            INCHES["inch"],
            INCHES["hundredth_mm"],
            INCHES["hundredth_mm_per_last_digit"],
            strict=True,
        )
    ),
)
def test_inch_readings_and_the_resolution_of_their_digits(
    inch: str, hundredths: str, step: str
) -> None:
    description = Description(
        name="inches",
        title="Bare inches",
        framing=ByTerminator(),
        decoding=Decoding(pattern=r"(?P<value>[\d.]+)"),
        unit="in",
    )
    found = Decoder(description).decode(inch.encode())
    assert isinstance(found, Decoded)
    assert found.hundredths == Decimal(hundredths)
    assert found.resolution == Decimal(step)


def test_the_survey_foot_is_not_taken_for_a_foot() -> None:
    survey = Fraction(table("units.toml", "survey_foot")["metre"])
    assert survey != Fraction(EXACT["to_metre"]["ft"])
    with pytest.raises(UnitError):
        factor("survey_foot")


def test_the_traps_of_pint_are_as_described() -> None:
    traps = table("units.toml", "pint_traps")
    registry: Any = pint.UnitRegistry()
    assert registry("mil").to("radian").magnitude == pytest.approx(traps["mil_in_radians"])
    assert registry("foot").to("meter").magnitude == traps["foot_as_float"]
    assert registry("thou").to("meter").magnitude == traps["thou_as_float"]
