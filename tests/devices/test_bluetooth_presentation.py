"""Presented values: read exactly whatever the format, refused with the reason, never raising."""

from __future__ import annotations

import math
import struct
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.devices.bluetooth.presentation import (
    MOST_PLACES,
    NUMBERS,
    Format,
    Number,
    Presentation,
    PresentationError,
    is_float,
    parse,
    presentation,
    reader,
)
from gaugelink.devices.decoding import MOST_DIGITS, Decoded, Decoder, Refusal
from gaugelink.devices.description import ByPacket, Decoding, Description, check
from gaugelink.units import UNITS, fraction_of_hundredth

INTEGERS = [name for name in NUMBERS if not is_float(name)]
SIZES = {
    "uint2": 1, "uint4": 1, "uint8": 1, "uint12": 2, "uint16": 2, "uint24": 3, "uint32": 4,
    "uint48": 6, "uint64": 8, "uint128": 16, "sint8": 1, "sint12": 2, "sint16": 2, "sint24": 3,
    "sint32": 4, "sint48": 6, "sint64": 8, "sint128": 16, "float32": 4, "float64": 8,
    "medfloat16": 2, "medfloat32": 4,
}  # fmt: skip
"""Written out by hand."""


def read(name: Any, data: bytes, exponent: int = 0) -> Number:
    found = reader(Presentation(name, exponent))(data)
    assert isinstance(found, Number), found
    return found


def why(name: Any, data: bytes) -> str:
    found = reader(Presentation(name))(data)
    assert isinstance(found, str), found
    return found


@pytest.mark.parametrize("name", INTEGERS)
@given(data=st.data(), exponent=st.integers(-MOST_PLACES, MOST_PLACES))
def test_every_integer_is_read_exactly(name: str, data: st.DataObject, exponent: int) -> None:
    bits = int(name[4:])
    signed = name.startswith("s")
    least = -(1 << bits - 1) if signed else 0
    number = data.draw(st.integers(least, least + (1 << bits) - 1))
    sent = (number % (1 << bits)).to_bytes(SIZES[name], "little")
    found = read(name, sent, exponent)
    assert Fraction(found.value) == number * Fraction(10) ** exponent
    assert Decimal(found.text) == found.value
    assert found.last == exponent


@pytest.mark.parametrize(("name", "low"), [("uint2", 3), ("uint4", 9), ("uint12", 4000)])
def test_reserved_bits_above_a_number_are_ignored(name: Any, low: int) -> None:
    spare = 8 * SIZES[name] - int(name[4:])
    sent = (low | (1 << spare) - 1 << int(name[4:])).to_bytes(SIZES[name], "little")
    assert read(name, sent).value == low


def test_a_negative_number_of_twelve_bits() -> None:
    assert read("sint12", b"\xff\x0f").value == -1
    assert read("sint12", b"\x00\xf8").value == -2048
    assert read("sint12", b"\xff\xf7").value == 2047


@pytest.mark.parametrize("name", NUMBERS)
@given(data=st.binary(max_size=20))
def test_no_bytes_raise_and_a_wrong_size_is_no_number(name: Format, data: bytes) -> None:
    found = reader(Presentation(name))(data)
    if len(data) != SIZES[name]:
        assert found == "wrong size"
    elif isinstance(found, Number):
        assert found.value.is_finite()
        assert Decimal(found.text) == found.value


@given(st.floats(2.0**-9, 2.0**99, width=32), st.booleans())
def test_a_32_bit_float_has_the_fewest_digits_that_read_back_the_same(
    size: float, minus: bool
) -> None:
    value = -size if minus else size
    sent = struct.pack("<f", value)
    found = read("float32", sent)
    assert struct.pack("<f", float(found.text)) == sent
    digits = len(found.value.normalize().as_tuple().digits)
    if digits > 1:
        assert struct.pack("<f", float(f"{value:.{digits - 1}g}")) != sent


@given(st.floats(allow_nan=False, allow_infinity=False).filter(lambda x: x == 0 or abs(x) > 1e5))
def test_a_64_bit_float_is_read_as_python_writes_it(value: float) -> None:
    found = read("float64", struct.pack("<d", value))
    assert Fraction(found.value) == Fraction(repr(value))


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.00043, "0.00043"),
        (-0.00043, "-0.00043"),
        (0.0004, "0.0004"),
        (0.0127, "0.0127"),
        (0.1, "0.1"),
        (25.0, "25.0"),
    ],
)
def test_a_float_is_the_number_that_was_meant(value: float, text: str) -> None:
    for name, layout in (("float32", "<f"), ("float64", "<d")):
        assert read(name, struct.pack(layout, value)).text == text


@given(st.integers(-30_000, 30_000))
def test_a_float_of_hundredths_is_exact_and_finer_than_any_verdict(hundredths: int) -> None:
    meant = Decimal(hundredths).scaleb(-5)
    for name, layout in (("float32", "<f"), ("float64", "<d")):
        found = read(name, struct.pack(layout, float(meant)))
        assert found.value == meant
        # The shortest text of 0.00040 is 0.0004, which is no indicator's step of 0.1 mm.
        assert found.last <= -6


def test_the_noise_of_a_calculation_is_not_measured() -> None:
    found = read("float64", struct.pack("<d", 0.1 + 0.2))
    assert found.value == Decimal("0.3")
    assert read("float64", struct.pack("<d", 3.1e-19)).value == 0
    assert read("float32", struct.pack("<f", 1e-40)).value == 0


def test_floats_that_are_no_numbers() -> None:
    for name, layout in (("float32", "<f"), ("float64", "<d")):
        assert why(name, struct.pack(layout, math.nan)) == "not a number"
        assert why(name, struct.pack(layout, math.inf)) == "above range"
        assert why(name, struct.pack(layout, -math.inf)) == "below range"


@pytest.mark.parametrize(("name", "bits"), [("medfloat16", 12), ("medfloat32", 24)])
@given(data=st.data())
def test_every_medical_float_is_its_mantissa_times_a_power_of_ten(
    name: str, bits: int, data: st.DataObject
) -> None:
    size = SIZES[name]
    most = (1 << bits - 1) - 3
    mantissa = data.draw(st.integers(-most, most))
    spare = 8 * size - bits
    power = data.draw(st.integers(-(1 << spare - 1), (1 << spare - 1) - 1))
    sent = (mantissa % (1 << bits) | power % (1 << spare) << bits).to_bytes(size, "little")
    found = read(name, sent)
    assert Fraction(found.value) == mantissa * Fraction(10) ** power
    if mantissa:
        assert found.last == power


def test_a_nought_without_a_power_says_nothing_of_its_step() -> None:
    assert read("medfloat32", bytes(4)).last == -MOST_PLACES
    assert read("medfloat32", b"\x00\x00\x00\xfb").last == -5


DESCRIPTORS = st.binary(max_size=12) | st.builds(
    struct.Struct("<BbHBH").pack,
    st.integers(0, 30),
    st.integers(-128, 127),
    st.integers(0x2700, 0x27C8),
    st.integers(0, 2),
    st.integers(0, 0xFFFF),
)


@given(DESCRIPTORS)
def test_any_descriptor_is_taken_or_refused(data: bytes) -> None:
    try:
        presented = presentation(parse(data))
    except PresentationError:
        return
    # What is taken can be used: no description is made that would be refused as a file.
    check(described(presented), "the device")


def test_what_is_wrong_with_a_descriptor_is_said() -> None:
    for data, said in (
        (b"", "has 0 bytes instead of 7"),
        (bytes(8), "has 8 bytes instead of 7"),
        (struct.pack("<BbHBH", 0, 0, 0x2701, 1, 0), "format 0, which is not a number"),
        (struct.pack("<BbHBH", 29, 0, 0x2701, 1, 0), "format 29, which is not a number"),
        (struct.pack("<BbHBH", 16, -13, 0x2701, 1, 0), "exponent is -13"),
    ):
        with pytest.raises(PresentationError, match=said):
            presentation(parse(data))


def test_the_exponent_belongs_to_integers_alone() -> None:
    assert presentation(parse(struct.pack("<BbHBH", 20, -5, 0x2701, 1, 0))).exponent == 0


def described(presented: Presentation, **more: Any) -> Description:
    decoding = Decoding(presentation=presented)
    return Description("made-up", "Made up", ByPacket(), decoding, **more)


@pytest.mark.parametrize("name", NUMBERS)
@given(data=st.data(), unit=st.sampled_from(sorted(UNITS)))
def test_what_is_decoded_can_be_trusted(name: Format, data: st.DataObject, unit: str) -> None:
    exponent = 0 if is_float(name) else data.draw(st.integers(-MOST_PLACES, MOST_PLACES))
    payload = data.draw(st.binary(min_size=SIZES[name], max_size=SIZES[name]))
    found = Decoder(described(Presentation(name, exponent, unit))).decode(payload)
    if isinstance(found, Refusal):
        assert found.payload == payload
        return
    by = fraction_of_hundredth(unit)
    assert Fraction(found.hundredths) == Fraction(found.raw.value) * by
    assert Fraction(found.resolution) == Fraction(found.raw.resolution) * by > 0
    assert abs(found.hundredths) <= 3000
    assert len(found.raw.value.as_tuple().digits) <= MOST_DIGITS


def test_a_presented_value_becomes_hundredths() -> None:
    found = Decoder(described(Presentation("sint32", -5))).decode(
        (-43).to_bytes(4, "little", signed=True)
    )
    assert isinstance(found, Decoded)
    assert (found.hundredths, found.resolution) == (Decimal(-43), Decimal(1))
    assert (found.raw.text, found.raw.unit) == ("-43E-5", "m")
    inch = Decoder(described(Presentation("uint16", -4, "in"), unit="mm"))
    found = inch.decode((100).to_bytes(2, "little"))
    assert isinstance(found, Decoded)
    assert found.hundredths == Decimal("25.4")


def test_a_presented_value_that_is_none_is_refused_with_its_reason() -> None:
    decode = Decoder(described(Presentation("medfloat32"))).decode
    assert decode((0x00800000).to_bytes(4, "little")) == Refusal(
        "not at this resolution", b"\x00\x00\x80\x00"
    )
    assert decode(b"\x01") == Refusal("wrong size", b"\x01")
    far = Decoder(described(Presentation("sint32", 0))).decode(b"\x01\x00\x00\x00")
    assert isinstance(far, Refusal)
    assert far.reason == "range"
