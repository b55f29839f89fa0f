"""Bluetooth's assigned numbers and the floats of IEEE 11073 against published values."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from gaugelink.devices.bluetooth import assigned
from gaugelink.devices.bluetooth.presentation import (
    NUMBERS,
    Number,
    Presentation,
    PresentationError,
    is_float,
    parse,
    presentation,
    reader,
)
from gaugelink.units import canonical, factor
from tests.published.tables import table

FILE = "bluetooth.toml"
UNITS = table(FILE, "unit_uuids")
LAYOUT = table(FILE, "presentation_format_layout")
FORMATS = table(FILE, "format_types")["name"]
FLOATS = table(FILE, "float_vectors")
SPECIAL = table(FILE, "float_special")
APPEARANCE = table(FILE, "appearance")


def as_sent(fields: dict[str, int]) -> bytes:
    """A descriptor's bytes, put together by the published layout."""
    return b"".join(
        fields[field["name"]].to_bytes(field["size"], "little", signed=field["signed"])
        for field in LAYOUT["fields"]
    )


def test_the_fields_lie_where_the_layout_says() -> None:
    assert [field["offset"] for field in LAYOUT["fields"]] == [0, 1, 2, 4, 5]
    fields = {"format": 16, "exponent": -5, "unit": 0x2701, "namespace": 1, "description": 0x10D}
    data = as_sent(fields)
    assert len(data) == LAYOUT["total_octets"]
    assert parse(data)._asdict() == fields


@pytest.mark.parametrize("case", table(FILE, "presentation_format_vectors")["cases"])
def test_descriptors(case: dict[str, Any]) -> None:
    descriptor = parse(bytes.fromhex(case["hex"]))
    assert descriptor._asdict() == {name: case[name] for name in descriptor._fields}
    presented = presentation(descriptor)
    assert (presented.format, presented.unit) == (case["name"], case["length"])
    if case["step"]:
        step = Decimal(1).scaleb(presented.exponent) * factor(presented.unit)
        assert step == Decimal(case["step"]), "in hundredths of a millimetre"


def test_an_exponent_is_a_power_of_ten() -> None:
    example = table(FILE, "presentation_format_example")
    read = reader(Presentation("uint16", example["exponent"]))
    found = read(example["raw"].to_bytes(2, "little"))
    assert isinstance(found, Number)
    assert found.value == Decimal(example["value"])


@pytest.mark.parametrize(("code", "name"), list(enumerate(FORMATS, start=1)))
def test_every_format_type_is_known_and_the_numbers_among_them_are_read(
    code: int, name: str
) -> None:
    descriptor = parse(as_sent({**METRES, "format": code}))
    if name in ("boolean", "uint16[2]", "utf8s", "utf16s", "struct", "medASN1"):
        with pytest.raises(PresentationError, match="which is not a number"):
            presentation(descriptor)
        return
    assert presentation(descriptor).format == name


METRES = {"format": 16, "exponent": -5, "unit": 0x2701, "namespace": 1, "description": 0}


def test_all_integers_and_floats_are_numbers() -> None:
    assert set(NUMBERS) == {
        name
        for name in FORMATS
        if name.startswith(("uint", "sint", "float", "medfloat")) and "[" not in name
    }
    assert [name for name in FORMATS if is_float(name)] == [
        *("float32", "float64", "medfloat16", "medfloat32")
    ]


@pytest.mark.parametrize(("name", "number"), UNITS["lengths"].items())
def test_every_length_that_has_an_exact_decimal_is_taken(name: str, number: int) -> None:
    descriptor = parse(as_sent({**METRES, "unit": number}))
    if name == "parsec":
        with pytest.raises(PresentationError, match="no exact decimal"):
            presentation(descriptor)
        return
    spelt = {"angstrom": "ångström"}.get(name, name.replace("_", " "))
    assert presentation(descriptor).unit == canonical(spelt)
    assert factor(presentation(descriptor).unit) > 0


@pytest.mark.parametrize("number", [*UNITS["others"].values(), 0, 0xFFFF])
def test_what_is_no_length_is_refused(number: int) -> None:
    with pytest.raises(PresentationError, match=f"0x{number:04X}, which is not a length"):
        presentation(parse(as_sent({**METRES, "unit": number})))


@pytest.mark.parametrize(
    ("name", "vector"),
    [(name, each) for name in ("medfloat16", "medfloat32") for each in FLOATS[name]],
)
def test_ieee_11073_floats(name: Any, vector: dict[str, Any]) -> None:
    found = reader(Presentation(name))(vector["raw"].to_bytes(2 if "16" in name else 4, "little"))
    assert isinstance(found, Number)
    assert found.value == Decimal(vector["text"])
    assert found.value == Decimal(vector["mantissa"]).scaleb(vector["exponent"])
    assert found.last == vector["exponent"], "the guide prints as many digits as are meant"


def test_the_transcoding_examples() -> None:
    example = table(FILE, "float_transcoding_example")
    read = reader(Presentation("medfloat32"))
    found = [read(bytes.fromhex(example["bytes_on_air"]))]
    found += [read(each["raw"].to_bytes(4, "little")) for each in example["more"]]
    values = [each.value for each in found if isinstance(each, Number)]
    assert values == [
        Decimal(example["value"]),
        *(Decimal(each["value"]) for each in example["more"]),
    ]


@pytest.mark.parametrize(("name", "size"), [("medfloat16", 2), ("medfloat32", 4)])
def test_special_values_are_no_numbers_and_say_why(name: Any, size: int) -> None:
    read = reader(Presentation(name))
    assert {
        meaning: read(raw.to_bytes(size, "little")) for meaning, raw in SPECIAL[name].items()
    } == {
        "nan": "not a number",
        "nres": "not at this resolution",
        "plus_infinity": "above range",
        "minus_infinity": "below range",
        "reserved": "reserved value",
    }


def test_appearances_of_what_measures_lengths() -> None:
    assert {
        name.replace(" ", "_"): number for number, name in assigned.APPEARANCES.items()
    } == APPEARANCE["lengths"]
    every = [*APPEARANCE["lengths"].values(), *APPEARANCE["others"].values()]
    assert {number >> 6 for number in every} == {APPEARANCE["category"]}


def test_short_uuids_stand_in_the_base_uuid() -> None:
    pattern = table(FILE, "base_uuid")["pattern"]
    service = table(FILE, "industrial_measurement_service")["service_uuid"]
    descriptor = table(FILE, "descriptor_uuids")["characteristic_presentation_format"]
    assert pattern.replace("xxxx", f"{service:04x}") == assigned.INDUSTRIAL_MEASUREMENT
    assert pattern.replace("xxxx", f"{descriptor:04x}") == assigned.PRESENTATION_FORMAT
