"""Hundredths of a millimetre to the store's whole nanometres and back."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.reading import from_nanometres, to_nanometres
from gaugelink.units import factor


@pytest.mark.parametrize(
    ("hundredths", "nanometres"),
    [
        ("43", 430_000),
        ("43.5", 435_000),
        ("-0.01", -100),
        ("0.0001", 1),
        ("-0.00", 0),
        ("0.00005", 0),  # half to even
        ("0.00015", 2),
        ("0.00025", 2),
        ("-0.00015", -2),
        ("4.3E+1", 430_000),
    ],
)
def test_nanometres_are_whole_and_round_half_to_even(hundredths: str, nanometres: int) -> None:
    assert to_nanometres(Decimal(hundredths)) == nanometres


@given(st.integers(-(10**12), 10**12))
def test_nanometres_come_back_as_they_were(nanometres: int) -> None:
    hundredths = from_nanometres(nanometres)
    assert Fraction(hundredths) == Fraction(nanometres, 10_000)
    assert to_nanometres(hundredths) == nanometres


@given(st.integers(-(10**12), 10**12))
def test_nanometres_come_back_without_needless_zeros_or_exponents(nanometres: int) -> None:
    text = str(from_nanometres(nanometres))
    assert "E+" not in text
    assert "." not in text or not text.endswith("0")


@given(st.integers(-(10**6), 10**6))
def test_metric_steps_down_to_a_thousandth_of_a_micrometre_are_kept_exactly(steps: int) -> None:
    hundredths = Decimal(steps).scaleb(-3) * factor("um")
    assert from_nanometres(to_nanometres(hundredths)) == hundredths


@given(st.integers(-(10**5), 10**5))
def test_inch_steps_of_half_a_ten_thousandth_are_kept_exactly(steps: int) -> None:
    hundredths = steps * Decimal("0.00005") * factor("in")
    assert from_nanometres(to_nanometres(hundredths)) == hundredths


@given(st.decimals(-(10**4), 10**4, places=9))
def test_what_is_finer_than_a_nanometre_is_off_by_half_of_one_at_most(value: Decimal) -> None:
    assert abs(to_nanometres(value) - Fraction(value) * 10_000) <= Fraction(1, 2)
