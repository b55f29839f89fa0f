"""Parity in bit 7, and what a receiver at another speed makes of a line."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.devices.catalog import catalog
from gaugelink.devices.pipeline import Pipeline
from simulators.encoding import Encoder
from simulators.line import Parity, heard, with_parity
from simulators.serial_server import TRIAL

SPEEDS = (1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200)


@pytest.mark.parametrize(
    ("parity", "sent"),
    [
        ("none", b"\x41\x43"),
        ("even", b"\x41\xc3"),
        ("odd", b"\xc1\x43"),
        ("mark", b"\xc1\xc3"),
        ("space", b"\x41\x43"),
    ],
)
def test_parity_stands_in_bit_7(parity: Parity, sent: bytes) -> None:
    # A is 1000001 with two ones, C is 1000011 with three.
    assert with_parity(b"AC", parity) == sent


def test_a_slower_receiver_merges_bits() -> None:
    # Low for nine sent bits is low for four and a half of the receiver's: start, three zeros.
    assert heard(b"\x00", sent=9600, read=4800) == b"\xf8"


def test_a_faster_receiver_doubles_bits() -> None:
    # The start bit alone is low: for the receiver a start bit and one zero.
    assert heard(b"\xff", sent=4800, read=9600) == b"\xfe"


@given(data=st.binary(max_size=40), speed=st.sampled_from(SPEEDS), stop=st.sampled_from([1, 2]))
def test_the_right_speed_changes_nothing(data: bytes, speed: int, stop: int) -> None:
    assert heard(data, speed, speed, stop) == data


@given(data=st.binary(max_size=40), stop=st.sampled_from([1, 2]))
def test_nearly_the_right_speed_is_good_enough(data: bytes, stop: int) -> None:
    assert heard(data, 9600, 9700, stop) == data
    assert heard(data, 9600, 9500, stop) == data


@given(
    data=st.binary(max_size=40),
    sent=st.integers(50, 4_000_000),
    read=st.integers(50, 4_000_000),
)
def test_any_two_speeds_give_some_bytes(data: bytes, sent: int, read: int) -> None:
    arrived = heard(data, sent, read)
    # Each character heard takes at least eight and a half of the receiver's bits.
    assert len(arrived) <= len(data) * 10 * (read / sent) / 8.5 + 1


@pytest.mark.parametrize("name", catalog())
def test_no_wrong_speed_gives_a_reading(name: str) -> None:
    description = catalog()[name]
    frame = Encoder(description).encode(TRIAL)
    for speed in SPEEDS:
        pipeline = Pipeline(description, "test")
        arrived = heard(frame, description.link.baud, speed, description.link.stop)
        readings = []
        for second in range(5):
            readings += pipeline.feed(arrived, second) + pipeline.quiet(second + 0.5)
        assert len(readings) == (5 if speed == description.link.baud else 0)
