"""Parity and checksums against published values."""

from __future__ import annotations

import binascii

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.devices import checksums
from gaugelink.devices.description import ByTerminator
from gaugelink.devices.framing import PARITY, Frame, SevenBitFramer, TerminatorFramer
from tests.published.tables import table

PARITIES = table("serial.toml", "even_parity")
CHECKS = table("serial.toml", "check_values")


def even_framer() -> SevenBitFramer:
    return SevenBitFramer("even", TerminatorFramer(ByTerminator("\r")))


@pytest.mark.parametrize(
    ("code", "bit", "seen"),
    list(zip(PARITIES["code"], PARITIES["even_bit"], PARITIES["seen_as_8n1"], strict=True)),
)
def test_even_parity_of_every_published_character(code: int, bit: int, seen: int) -> None:
    assert seen == code | bit << 7
    end = b"\x8d"  # a carriage return with its parity bit
    for sent, fault in ((seen, ""), (seen ^ 0x80, PARITY)):
        frames = even_framer().feed(bytes([*b"A", sent]) + end, 1.0)
        if code == 13:
            # A carriage return ends the frame, unless its parity is wrong.
            continue
        payload = b"A" + bytes([code]) if not fault else b"A\xff"
        assert frames == [Frame(payload, 1.0, fault)]


def test_the_terminator_itself_is_checked() -> None:
    assert even_framer().feed(b"A\x8d", 1.0) == [Frame(b"A", 1.0)]
    assert even_framer().feed(b"A\x0dA\x8d", 1.0) == [Frame(b"A\xffA", 1.0, PARITY)]


@pytest.mark.parametrize("kind", ["sum8", "sum8-negated", "xor8", "crc16-modbus", "crc16-ccitt"])
def test_check_values(kind: str) -> None:
    assert checksums.compute(kind, CHECKS["data"].encode()) == CHECKS[kind]


def table_driven(data: bytes, polynomial: int, crc: int, reflected: bool) -> int:
    """A CRC-16 of the usual other construction: a table of bytes."""

    def turn(value: int, width: int) -> int:
        return int(format(value, f"0{width}b")[::-1], 2)

    if reflected:
        mirrored = bytes(turn(byte, 8) for byte in data)
        return turn(table_driven(mirrored, polynomial, turn(crc, 16), False), 16)
    entries = []
    for byte in range(256):
        entry = byte << 8
        for _ in range(8):
            entry = (entry << 1 ^ polynomial if entry & 0x8000 else entry << 1) & 0xFFFF
        entries.append(entry)
    for byte in data:
        crc = (crc << 8 ^ entries[crc >> 8 ^ byte]) & 0xFFFF
    return crc


@given(st.binary(max_size=80))
def test_crcs_agree_with_another_construction(data: bytes) -> None:
    assert checksums.crc16_modbus(data) == table_driven(data, 0x8005, 0xFFFF, reflected=True)
    ccitt = table_driven(data, 0x1021, 0xFFFF, reflected=False)
    assert checksums.crc16_ccitt(data) == ccitt == binascii.crc_hqx(data, 0xFFFF)
