"""The checks that indicators put on their frames.

CRC-16 with the reflected polynomial 0xA001 and start 0xFFFF is the one of the published Modbus
serial line specification; CRC-16 with polynomial 0x1021 and start 0xFFFF is the one commonly
called CCITT-FALSE. Their check values over b"123456789" (0x4B37 and 0x29B1) are in the tests.
"""

from __future__ import annotations

import binascii

from gaugelink.devices.description import Checksum


def sum8(data: bytes) -> int:
    """The sum of the bytes, modulo 256."""
    return sum(data) & 0xFF


def xor8(data: bytes) -> int:
    """The exclusive or of the bytes."""
    check = 0
    for byte in data:
        check ^= byte
    return check


def crc16_modbus(data: bytes) -> int:
    """CRC-16, polynomial 0x8005 reflected, start 0xFFFF, no final inversion."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ (0xA001 if crc & 1 else 0)
    return crc


def crc16_ccitt(data: bytes) -> int:
    """CRC-16, polynomial 0x1021, start 0xFFFF, most significant bit first."""
    return binascii.crc_hqx(data, 0xFFFF)


def compute(kind: str, data: bytes) -> int:
    """The check of that kind over `data`; ValueError for an unknown kind."""
    match kind:
        case "sum8":
            return sum8(data)
        case "sum8-negated":
            return -sum8(data) & 0xFF
        case "xor8":
            return xor8(data)
        case "crc16-modbus":
            return crc16_modbus(data)
        case "crc16-ccitt":
            return crc16_ccitt(data)
    raise ValueError(f"no checksum is called {kind!r}")


def write(rule: Checksum, data: bytes) -> bytes:
    """The check over the frame's `data` as it stands on the wire."""
    check = compute(rule.kind, data)
    size = 2 if rule.kind.startswith("crc16") else 1
    match rule.written:
        case "hex":
            return b"%0*X" % (size * 2, check)
        case "byte":
            return check.to_bytes(1, "big")
        case "little-endian":
            return check.to_bytes(2, "little")
        case "big-endian":
            return check.to_bytes(2, "big")


def split(rule: Checksum, payload: bytes) -> tuple[bytes, bytes, bytes]:
    """A frame as (bytes checked, check sent, frame without the check)."""
    at = max(rule.at if rule.at >= 0 else len(payload) + rule.at, 0)
    after = at + rule.length
    return payload[rule.start : rule.stop], payload[at:after], payload[:at] + payload[after:]


def holds(rule: Checksum, payload: bytes) -> bool:
    """Whether the check in `payload` is the one its bytes give; hex digits in either case."""
    if len(payload) < rule.length + 1:
        return False
    checked, sent, _ = split(rule, payload)
    expected = write(rule, checked)
    return sent.upper() == expected if rule.written == "hex" else sent == expected
