"""Checksums as they stand in frames; their published check values are in tests/published."""

from __future__ import annotations

from functools import reduce
from operator import xor

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.devices import checksums
from gaugelink.devices.description import Checksum

RULES = [
    Checksum("sum8", "hex", stop=-2),
    Checksum("sum8-negated", "hex", stop=-2),
    Checksum("xor8", "hex", stop=-2),
    Checksum("crc16-modbus", "hex", stop=-4, at=-4, length=4),
    Checksum("crc16-ccitt", "hex", stop=-4, at=-4, length=4),
    Checksum("sum8", "byte", stop=-1, at=-1, length=1),
    Checksum("sum8-negated", "byte", stop=-1, at=-1, length=1),
    Checksum("xor8", "byte", stop=-1, at=-1, length=1),
    Checksum("sum8", "little-endian", stop=-2),
    Checksum("crc16-modbus", "little-endian", stop=-2),
    Checksum("crc16-ccitt", "big-endian", stop=-2),
]

rules = pytest.mark.parametrize("rule", RULES, ids=lambda rule: f"{rule.kind} {rule.written}")


@given(st.binary())
def test_sum_and_exclusive_or_are_what_their_names_say(data: bytes) -> None:
    assert checksums.sum8(data) == sum(data) % 256
    assert checksums.xor8(data) == reduce(xor, data, 0)
    assert (checksums.sum8(data) + checksums.compute("sum8-negated", data)) % 256 == 0


@rules
@given(data=st.binary(min_size=1, max_size=30))
def test_a_written_check_holds_and_is_split_off_again(rule: Checksum, data: bytes) -> None:
    check = checksums.write(rule, data)
    assert len(check) == rule.length
    assert checksums.holds(rule, data + check)
    assert checksums.split(rule, data + check) == (data, check, data)


@rules
@given(data=st.binary(min_size=1, max_size=30), bit=st.integers(0, 10**6))
def test_one_flipped_bit_is_noticed(rule: Checksum, data: bytes, bit: int) -> None:
    frame = bytearray(data + checksums.write(rule, data))
    place, of = bit // 8 % len(frame), 1 << bit % 8
    frame[place] ^= of
    in_case = rule.written == "hex" and place >= len(data) and of == 0x20
    assert checksums.holds(rule, bytes(frame)) is (
        in_case and bytes(frame[place : place + 1]).isalpha()
    )


@rules
@given(payload=st.binary(max_size=12))
def test_any_bytes_hold_or_do_not(rule: Checksum, payload: bytes) -> None:
    held = checksums.holds(rule, payload)
    if len(payload) <= rule.length:
        assert not held, "a check of nothing proves nothing"
    else:
        end = len(payload) - rule.length
        assert held == (checksums.write(rule, payload[:end]) == payload[end:].upper()) or (
            rule.written != "hex"
        )


def test_hexadecimal_digits_count_in_either_case() -> None:
    rule = Checksum("sum8", "hex", stop=-2)
    assert checksums.write(rule, b"\xfa") == b"FA"
    assert checksums.holds(rule, b"\xfaFA")
    assert checksums.holds(rule, b"\xfafa")
    assert checksums.holds(rule, b"\xfafA")


def test_a_check_may_stand_before_what_it_checks() -> None:
    rule = Checksum("sum8", "byte", start=1, at=0, length=1)
    assert checksums.holds(rule, b"\x03\x01\x02")
    assert checksums.split(rule, b"\x03\x01\x02") == (b"\x01\x02", b"\x03", b"\x01\x02")


def test_an_unknown_kind_is_named() -> None:
    with pytest.raises(ValueError, match="no checksum is called 'crc8'"):
        checksums.compute("crc8", b"")
