"""Presented numbers as a simulator writes them: whatever it can say is read back the same."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.devices.bluetooth.presentation import (
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
from gaugelink.devices.decoding import Decoded, Decoder
from simulators.bluetooth.gatt import DescriptorKind, descriptor_bytes
from simulators.bluetooth.server import described
from simulators.encoding import Encoder, EncodingError
from simulators.presented import SPECIAL, PresentedBody, special


@pytest.mark.parametrize("name", NUMBERS)
@given(count=st.integers(-(10**6), 10**6), exponent=st.integers(-6, 0))
def test_what_can_be_said_is_read_back(name: Format, count: int, exponent: int) -> None:
    presented = Presentation(name, 0 if is_float(name) else exponent)
    body = PresentedBody(presented)
    value = count * body.step
    try:
        sent = body.write(value)
    except EncodingError:
        # It has no room for it: too few bits, or no sign.
        bits = {"medfloat16": 11, "medfloat32": 23}.get(name) or int(name[4:])
        room = 1 << (bits - 1 if name.startswith("s") else bits)
        assert abs(count) >= room - 2 or (name.startswith("u") and count < 0)
        return
    found = reader(presented)(sent)
    assert isinstance(found, Number)
    assert found.value == value


@given(hundredths=st.decimals(-1000, 1000, places=4))
def test_an_indicator_shows_whole_steps(hundredths: Decimal) -> None:
    for name in ("sint32", "float32", "float64", "medfloat32"):
        presented = Presentation(name, 0 if is_float(name) else -5)
        description = described(presented)
        encoder = Encoder(description)
        found = Decoder(description).decode(encoder.encode(hundredths))
        assert isinstance(found, Decoded)
        assert found.hundredths == hundredths.to_integral_value()
        assert encoder.step == 1


def test_a_float_counts_in_steps_no_coarser_than_a_hundredth() -> None:
    for unit, step in (("m", "0.00001"), ("in", "0.0001"), ("ft", "0.00001")):
        assert PresentedBody(Presentation("float32", 0, unit)).step == Decimal(step)


def test_special_values() -> None:
    for means in SPECIAL:
        found = reader(Presentation("medfloat16"))(special(Presentation("medfloat16"), means))
        assert isinstance(found, str)
        assert found.replace(" ", "-").startswith(means)
    for means, reason in (
        ("not-a-number", "not a number"),
        ("above", "above range"),
        ("below", "below range"),
    ):
        assert reader(Presentation("float64"))(special(Presentation("float64"), means)) == reason
    for name, means in (("float32", "reserved"), ("sint32", "above")):
        with pytest.raises(EncodingError, match=f"{name} cannot say {means}"):
            special(Presentation(name), means)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        ("wrong-unit", "sint32 in unit 0x2703, which is not a length"),
        ("wrong-format", "struct, which is not a number"),
        ("short", "has 5 bytes instead of 7"),
    ],
)
def test_descriptors_that_are_wrong(kind: DescriptorKind, said: str) -> None:
    right = Presentation("sint32", -5)
    assert presentation(parse(descriptor_bytes(right, "right") or b"")) == right
    assert descriptor_bytes(right, "absent") is None
    with pytest.raises(PresentationError, match=said):
        presentation(parse(descriptor_bytes(right, kind) or b""))


def test_a_unit_without_a_number_of_its_own_is_refused() -> None:
    with pytest.raises(EncodingError, match="has no unit mm; for hundredths, metre with"):
        descriptor_bytes(Presentation("sint32", -2, "mm"), "right")
