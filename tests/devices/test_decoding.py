"""Decoding: what a frame says, exactly, or why it is refused; nothing raises."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.devices import checksums
from gaugelink.devices.catalog import catalog
from gaugelink.devices.decoding import MOST_DIGITS, Decoded, Decoder, Refusal
from gaugelink.devices.description import (
    ByLength,
    ByTerminator,
    Checksum,
    Decoding,
    Description,
    Field,
)
from gaugelink.units import UNITS, fraction_of_hundredth
from tests.devices.lines import KINDS

SIGNED = r" *(?P<sign>[+-]?)(?P<value>[-+ .,\d]+)(?P<unit>[a-z]*)"


def decoder(pattern: str = SIGNED, checksum: Checksum | None = None, **more: Any) -> Decoder:
    outer = {name: more.pop(name) for name in ("unit", "range") if name in more}
    return Decoder(
        Description(
            name="made-up",
            title="Made up for a test",
            framing=ByTerminator(),
            decoding=Decoding(pattern=pattern, **more),
            checksum=checksum,
            **outer,
        )
    )


def laid_out(*fields: Field, **more: Any) -> Decoder:
    return Decoder(
        Description(
            name="made-up",
            title="Made up for a test",
            framing=ByLength(16),
            decoding=Decoding(layout=list(fields), **more),
        )
    )


def read(found: Decoded | Refusal) -> Decoded:
    assert isinstance(found, Decoded), found
    return found


def why(found: Decoded | Refusal) -> str:
    assert isinstance(found, Refusal), found
    return found.reason


@pytest.mark.parametrize(
    ("sent", "hundredths", "resolution", "text"),
    [
        ("+000.430", "43", "0.1", "000.430"),
        ("-0.43", "-43", "1", "-0.43"),
        ("0.4305", "43.05", "0.01", "0.4305"),
        ("- 0.43", "-43", "1", "-0.43"),
        ("   43", "4300", "100", "43"),
        ("1.", "100", "100", "1."),
        (".5", "50", "10", ".5"),
    ],
)
def test_a_decimal_is_read_exactly_with_the_weight_of_its_last_digit(
    sent: str, hundredths: str, resolution: str, text: str
) -> None:
    found = read(decoder(range=(Decimal(-50), Decimal(50))).decode(sent.encode()))
    assert found.hundredths == Decimal(hundredths)
    assert found.resolution == Decimal(resolution)
    assert found.raw.text == text
    assert found.raw.unit == "mm"


@given(
    digits=st.integers(0, 10**MOST_DIGITS - 1),
    places=st.integers(0, 12),
    minus=st.booleans(),
    unit=st.sampled_from(sorted(UNITS)),
)
def test_every_number_is_carried_to_hundredths_without_loss(
    digits: int, places: int, minus: bool, unit: str
) -> None:
    wide = decoder(unit=unit, range=(Decimal(-(10**22)), Decimal(10**22)))
    text = f"{digits:0{places + 1}d}"
    text = f"{text[: len(text) - places]}.{text[len(text) - places :]}"
    found = read(wide.decode((("-" if minus else "") + text).encode()))
    exact = Fraction(-digits if minus else digits, 10**places)
    assert Fraction(found.raw.value) == exact
    assert Fraction(found.hundredths) == exact * fraction_of_hundredth(unit)
    assert Fraction(found.resolution) == fraction_of_hundredth(unit) / 10**places


def test_a_negative_zero_keeps_its_sign_and_is_nothing() -> None:
    found = read(decoder().decode(b"-0.00"))
    assert found.hundredths == 0
    assert found.raw.value.is_signed()
    assert found.raw.text == "-0.00"


def test_a_decimal_comma() -> None:
    comma = decoder(decimal_mark=",")
    assert read(comma.decode(b"-  0,43")).hundredths == -43
    assert why(comma.decode(b"1.234,5")) == "not a number"
    assert why(comma.decode(b"1,234,5")) == "not a number"
    assert why(decoder().decode(b"0,43")) == "not a number"


@pytest.mark.parametrize(
    "sent", ["0.4 3", "0. 43", "1 2.5", "+ 1 2", "- - 1", "--1", "+-1", ".", "+", " ", "1.2.3"]
)
def test_what_is_no_number_is_not_guessed_at(sent: str) -> None:
    assert why(decoder().decode(sent.encode())) == "not a number"


def test_two_signs_are_no_number() -> None:
    twice = decoder(r"(?P<sign>[+-])(?P<value>.+)")
    for sent in (b"-+0.43", b"+-0.43", b"--0.43", b"++0.43"):
        assert why(twice.decode(sent)) == "not a number"
    field = laid_out(Field("sign", 0), Field("value", 1, 2, "int-le"))
    assert why(field.decode(b"-\xff\xff")) == "not a number"
    assert read(field.decode(b"-\x02\x00")).raw.value == -2


@pytest.mark.parametrize("places", range(7))
def test_implied_decimals_apply_only_without_a_mark(places: int) -> None:
    implied = decoder(decimals=places)
    assert read(implied.decode(b"12")).raw.value == Decimal(12).scaleb(-places)
    assert read(implied.decode(b"12")).resolution == Decimal(100).scaleb(-places)
    assert read(implied.decode(b"1.2")).raw.value == Decimal("1.2")


def test_decimals_that_are_sent_override_those_implied() -> None:
    sent = decoder(r"(?P<value>\d+);(?P<decimals>.*)", decimals=1)
    assert read(sent.decode(b"430;3")).raw.value == Decimal("0.430")
    assert read(sent.decode(b"4;0")).raw.value == 4
    assert read(sent.decode(b"43;")).raw.value == Decimal("4.3")
    for wrong in (b"4;13", b"4;-1", b"4;x", b"4;1_0", b"4;1e1", b"4;" + b"9" * 5000):
        assert why(sent.decode(wrong)) == "not a number"


def test_an_exponent_is_part_of_what_was_sent() -> None:
    power = decoder(r"(?P<sign>-?)(?P<value>[\d.]+)E(?P<exponent>.+)", unit="m")
    found = read(power.decode(b"-4.300E-04"))
    assert found.hundredths == -43
    assert found.resolution == Decimal("0.01")
    assert found.raw.text == "-4.300E-04"
    assert Decimal(found.raw.text) == found.raw.value
    for wrong in (b"1E13", b"1E-13", b"1E1_0", b"1E", b"1E+", b"1E0x1", b"1E" + b"1" * 5000):
        assert isinstance(power.decode(wrong), Refusal)


def test_signs_of_other_kinds() -> None:
    letters = decoder(r"(?P<sign>.)(?P<value>\d+)", signs={"N": "-", "P": "+", "1": "-"})
    assert read(letters.decode(b"N2")).raw.value == -2
    assert read(letters.decode(b"P2")).raw.value == 2
    assert read(letters.decode(b"12")).raw.value == -2
    assert read(letters.decode(b" 2")).raw.value == 2
    assert why(letters.decode(b"x2")) == "not a number"


def test_a_unit_must_have_been_declared() -> None:
    declared = decoder(units={"mm": "mm", "i": "in", "x y": "um"})
    assert read(declared.decode(b"0.5i")).hundredths == 1270
    assert read(declared.decode(b"0.5mm")).hundredths == 50
    assert read(declared.decode(b"0.5")).raw.unit == "mm", "nothing sent: the one assumed"
    assert why(declared.decode(b"0.5m")) == "unit"
    assert why(declared.decode(b"0.5in")) == "unit", "what it means is not what is sent"


def test_a_blank_may_be_the_sign_of_a_unit() -> None:
    blank = laid_out(Field("value", 0, 3), Field("unit", 3), units={" ": "mm", "I": "in"})
    assert read(blank.decode(b"0.5 ")).raw.unit == "mm"
    assert read(blank.decode(b"0.5I")).raw.unit == "in"
    padded = laid_out(Field("value", 0, 3), Field("unit", 3, 3), units={"mm": "mm"})
    assert read(padded.decode(b"0.5 mm")).raw.unit == "mm"


def test_the_range_is_in_millimetres_and_includes_its_limits() -> None:
    narrow = decoder(units={"in": "in"}, range=(Decimal("-0.5"), Decimal("12.7")))
    assert read(narrow.decode(b"12.7")).hundredths == 1270
    assert read(narrow.decode(b"0.5in")).hundredths == 1270
    assert read(narrow.decode(b"-0.5")).hundredths == -50
    assert why(narrow.decode(b"12.701")) == "range"
    assert why(narrow.decode(b"0.5001in")) == "range"
    assert why(narrow.decode(b"-0.501")) == "range"


@pytest.mark.parametrize("sent", [b"1" * 16, b"0." + b"0" * 13, b"1." + b"1" * 15, b"9" * 5000])
def test_too_many_digits(sent: bytes) -> None:
    assert why(decoder().decode(sent)) == "too many digits"


def test_leading_zeros_are_not_too_many_digits() -> None:
    assert read(decoder().decode(b"0" * 40 + b"1.5")).hundredths == 150


@pytest.mark.parametrize(
    "word", ["nan", "NaN", "inf", "-Infinity", "sNaN", "1e5", "0x10", "1_0", "٣"]
)
def test_what_python_would_take_for_a_number(word: str) -> None:
    anything = decoder(r"(?P<value>.*)")
    assert why(anything.decode(word.encode("latin-1", "replace"))) == "not a number"


def test_status_words() -> None:
    told = decoder(
        r"(?P<status>.)(?P<value>[\d.]+)",
        status={"N": "", "H": "held", "O": "overrange"},
        refuse=["overrange", "E"],
    )
    assert read(told.decode(b"N0.5")).raw.status == ""
    assert read(told.decode(b"H0.5")).raw.status == "held"
    assert read(told.decode(b"?0.5")).raw.status == "?"
    assert read(told.decode(b" 0.5")).raw.status == ""
    assert why(told.decode(b"O0.5")) == "status"
    assert why(told.decode(b"E0.5")) == "status"


def test_a_checksum_is_taken_off_before_a_pattern_is_matched() -> None:
    rule = Checksum("sum8", "hex", stop=-2)
    check = decoder(r"(?P<value>\d\.\d)", checksum=rule)
    frame = b"0.5" + checksums.write(rule, b"0.5")
    assert read(check.decode(frame)).hundredths == 50
    assert why(check.decode(b"0.6" + frame[3:])) == "checksum"
    assert why(check.decode(b"")) == "checksum"
    assert check.sound(frame)
    assert not check.sound(frame[:-1])
    assert decoder().sound(b"anything: no check is described")


@pytest.mark.parametrize(
    ("kind", "payload", "value"),
    [
        ("int-le", b"\xfe\xff", -2),
        ("uint-le", b"\xfe\xff", 65534),
        ("int-be", b"\xff\xfe", -2),
        ("uint-be", b"\x01\x02", 258),
        ("text", b"42", 42),
    ],
)
def test_fields_of_a_layout(kind: Any, payload: bytes, value: int) -> None:
    field = laid_out(Field("value", 1, 2, kind), decimals=4)
    assert read(field.decode(b"x" + payload)).raw.value == Decimal(value).scaleb(-4)
    assert why(field.decode(b"x" + payload[:1])) == "no match"


def test_codes_in_a_layout_are_looked_up_by_their_decimal_text() -> None:
    codes = laid_out(
        Field("sign", 0, 1, "uint-le"),
        Field("value", 1, 1, "uint-le"),
        Field("decimals", 2, 1, "uint-le"),
        Field("unit", 3, 1, "uint-le"),
        signs={"0": "+", "1": "-"},
        units={"0": "mm", "1": "in"},
    )
    found = read(codes.decode(bytes([1, 43, 2, 0])))
    assert found.hundredths == -43
    assert (found.raw.text, found.raw.unit) == ("-43", "mm")
    assert why(codes.decode(bytes([1, 43, 2, 2]))) == "unit"
    assert why(codes.decode(bytes([2, 43, 2, 0]))) == "not a number"


EVERY = {
    **catalog(),
    **{f"made-up {kind}": KINDS[kind][0] for kind in ("marks with a check", "length with check")},
}


@pytest.mark.parametrize("name", EVERY)
@given(data=st.data())
def test_no_bytes_raise_and_what_is_read_can_be_trusted(name: str, data: st.DataObject) -> None:
    description = EVERY[name]
    example = description.example.encode("latin-1") or b"+1.5"
    payload = data.draw(
        st.binary(max_size=70)
        | st.lists(st.sampled_from(example + b"+-.,E eNnIi\r\n\xff\x000123456789")).map(bytes)
    )
    if description.checksum is not None and data.draw(st.booleans()):
        payload += checksums.write(description.checksum, payload)
    found = Decoder(description).decode(payload)
    if isinstance(found, Decoded):
        low, high = (Fraction(limit) * 100 for limit in description.range)
        assert low <= Fraction(found.hundredths) <= high
        by = fraction_of_hundredth(found.raw.unit)
        assert Fraction(found.hundredths) == Fraction(found.raw.value) * by
        assert Fraction(found.resolution) == Fraction(found.raw.resolution) * by > 0
        assert found.raw.unit in {"mm", description.unit, *description.decoding.units.values()}
        assert found.raw.status not in description.decoding.refuse
