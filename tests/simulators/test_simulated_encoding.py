"""Encoding is the inverse of decoding, for every shipped description and for odd ones."""

from __future__ import annotations

from decimal import Decimal

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.devices.catalog import catalog, find, parse
from gaugelink.devices.description import Description
from gaugelink.devices.pipeline import Pipeline
from gaugelink.reading import Reading
from simulators.encoding import Encoder, EncodingError

SHIPPED = catalog()

IMPLIED = r"""
name = "implied"
title = "Letters for signs, implied decimals, a check of one byte in front of them"
example = "\u0002\u0000N004300"
framing = { by = "length", length = 9, sync = "\u0002" }
[decoding]
pattern = '\x02(?P<sign>[PN])(?P<value>\d+)'
decimals = 4
signs = { P = "+", N = "-" }
[checksum]
kind = "sum8-negated"
written = "byte"
start = 2
at = 1
length = 1
"""

ENGINEERING = r"""
name = "engineering"
title = "Three digits before the mark, unsigned exponent, unit"
unit = "um"
example = "430.00E00 UM\n"
framing = { by = "terminator", end = "\n" }
[decoding]
pattern = '(?P<value>-?\d+\.\d+)E(?P<exponent>[+-]?\d+) (?P<unit>UM|MM)'
units = { UM = "um", MM = "mm" }
"""

PLACES = r"""
name = "places"
title = "Count of decimal places sent before the number"
example = "3: +430\n"
framing = { by = "terminator", end = "\n" }
[decoding]
pattern = '(?P<decimals>\d):\s*(?P<value>[+-]?\d+)'
"""

BIG_ENDIAN = r"""
name = "big-endian"
title = "Sign byte, magnitude, power of ten, unit code, CRC-16 in two bytes"
unit = "in"
example = "U\u0001\u0000\u0006\u009f\u00fb\u0001\u0000\u0000"
framing = { by = "length", length = 9, sync = "U" }
[decoding]
layout = [
    { name = "sign", at = 1, kind = "uint-be" },
    { name = "value", at = 2, length = 3, kind = "uint-be" },
    { name = "exponent", at = 5, kind = "int-be" },
    { name = "unit", at = 6, kind = "uint-be" },
]
signs = { 0 = "+", 1 = "-" }
units = { 0 = "mm", 1 = "in" }
[checksum]
kind = "crc16-ccitt"
written = "big-endian"
stop = -2
"""

COLUMN = r"""
name = "column"
title = "Fixed column with its sign at the digits and a written mark"
example = "= 0.430"
framing = { by = "length", length = 7, sync = "=" }
[decoding]
layout = [{ name = "value", at = 1, length = 6 }]
"""

DESCRIPTIONS = {
    **SHIPPED,
    **{
        each.name: each
        for each in (
            parse(text, "test") for text in (IMPLIED, ENGINEERING, PLACES, BIG_ENDIAN, COLUMN)
        )
    },
}

every_description = pytest.mark.parametrize("name", DESCRIPTIONS)


def decoded(description: Description, frame: bytes) -> Reading:
    """The one reading in a frame; fails when there is another number of them, or a refusal."""
    pipeline = Pipeline(description, "test")
    readings = pipeline.feed(frame, 1.0) + pipeline.quiet(2.0)
    assert not pipeline.refused
    (reading,) = readings
    return reading


lengths = st.integers(-2_900_000, 2_900_000).map(lambda number: Decimal(number).scaleb(-3))


@every_description
@given(hundredths=lengths)
def test_what_is_encoded_is_decoded(name: str, hundredths: Decimal) -> None:
    description = DESCRIPTIONS[name]
    encoder = Encoder(description)
    if name == "column":
        hundredths = max(hundredths, Decimal(-999))  # its sign takes a digit's place
    frame = encoder.encode(hundredths)
    reading = decoded(description, frame)
    assert abs(reading.hundredths - hundredths) <= max(encoder.step, reading.resolution) / 2
    assert encoder.encode(reading.hundredths) == frame


@pytest.mark.parametrize(
    ("hundredths", "frame"),
    [
        ("912.346", b"+9.123E-03\n"),  # rounded once: 912.35 first would give 9.124
        ("999.96", b"+1.000E-02\n"),
        ("-0.014", b"-1.000E-07\n"),  # the finest step of the example
        ("0.004", b"+0.000E+00\n"),
    ],
)
def test_scientific_notation_rounds_once(hundredths: str, frame: bytes) -> None:
    encoder = Encoder(SHIPPED["asked-query-scientific"])
    assert encoder.encode(Decimal(hundredths)) == frame


@pytest.mark.parametrize("name", SHIPPED)
def test_an_examples_own_value_gives_the_example(name: str) -> None:
    description = SHIPPED[name]
    eight_bits = msgspec.structs.replace(
        description, link=msgspec.structs.replace(description.link, bits=8)
    )
    example = description.example.encode("latin-1")
    reading = decoded(eight_bits, example)
    assert Encoder(eight_bits).encode(reading.hundredths) == example


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        (name, unit)
        for name, description in SHIPPED.items()
        for unit in description.decoding.units.values()
    ],
)
@given(hundredths=lengths)
def test_any_described_unit_can_be_sent(name: str, unit: str, hundredths: Decimal) -> None:
    description = SHIPPED[name]
    encoder = Encoder(description, unit)
    reading = decoded(description, encoder.encode(hundredths))
    assert reading.unit == unit
    assert reading.resolution <= Encoder(description).step
    assert abs(reading.hundredths - hundredths) <= reading.resolution / 2


def test_a_unit_that_is_not_described_is_refused() -> None:
    with pytest.raises(EncodingError, match=r"can send mm, in$"):
        Encoder(SHIPPED["signed-decimal-unit-cr"], "um")
    with pytest.raises(EncodingError, match=r"it can send mm$"):
        Encoder(SHIPPED["bare-decimal-lf"], "in")


def test_what_has_no_room_is_refused() -> None:
    with pytest.raises(EncodingError, match="no room"):
        Encoder(SHIPPED["fixed-ten-digits"]).encode(Decimal(100_000))
    with pytest.raises(EncodingError, match="no room"):
        Encoder(SHIPPED["binary-micrometre-crc"]).encode(Decimal(10**9))
    short = parse(PLACES.replace('end = "\\n"', 'end = "\\n", longest = 8'), "test")
    assert Encoder(short).encode(Decimal(9999)) == b"3:+99990\n"
    with pytest.raises(EncodingError, match="no room in a frame"):
        Encoder(short).encode(Decimal(10_000))
    with pytest.raises(EncodingError, match="more digits"):
        Encoder(SHIPPED["bare-decimal-lf"]).encode(Decimal(10) ** 64)


def test_a_sign_that_cannot_be_sent_is_refused() -> None:
    unsigned = parse(PLACES.replace("[+-]?", "").replace("+430", "430"), "test")
    assert Encoder(unsigned).encode(Decimal(43)) == b"3: 430\n"
    assert Encoder(unsigned).encode(Decimal("-0.04")) == b"3:   0\n"
    with pytest.raises(EncodingError, match="sign"):
        Encoder(unsigned).encode(Decimal(-43))


@pytest.mark.parametrize(
    ("example", "said"),
    [
        ("", "no example"),
        ("+000.430mm", "not a frame"),
        ("0.43\r", "does not match"),
    ],
)
def test_a_description_without_a_fitting_example_is_refused(example: str, said: str) -> None:
    description = find("signed-decimal-unit-cr")
    with pytest.raises(EncodingError, match=said):
        Encoder(msgspec.structs.replace(description, example=example))


def test_examples_with_layouts_must_be_whole() -> None:
    description = find("fixed-ten-digits")
    with pytest.raises(EncodingError, match="not a frame"):
        Encoder(msgspec.structs.replace(description, example="V+0004303"))
    loose = COLUMN.replace('by = "length", length = 7, sync = "="', 'by = "terminator", end = "0"')
    with pytest.raises(EncodingError, match="shorter than its own layout"):
        Encoder(parse(loose, "test"))
