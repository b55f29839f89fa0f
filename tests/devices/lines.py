"""Descriptions and lines to test framing and decoding with; nothing here is a real indicator's."""

from __future__ import annotations

from typing import Literal

from gaugelink.devices import checksums
from gaugelink.devices.bluetooth.presentation import Presentation
from gaugelink.devices.description import (
    ByGap,
    ByLength,
    ByMarks,
    ByPacket,
    ByTerminator,
    Checksum,
    Decoding,
    Description,
    Field,
    Framing,
    LinkSettings,
)

Parity = Literal["even", "odd", "mark", "space"]
PARITIES: tuple[Parity, ...] = ("even", "odd", "mark", "space")

PATTERN = r"(?P<sign>[+-]?)(?P<value>\d+\.\d)"
XOR = Checksum(kind="xor8", written="byte", stop=-1, at=-1, length=1)
SUM = Checksum(kind="sum8", written="byte", stop=-1, at=-1, length=1)
"""Without sync an exclusive or would not do: it holds wherever in the stream a frame begins."""


def with_parity(data: bytes, parity: Parity) -> bytes:
    """Seven-bit characters as they arrive when the port reads eight bits."""
    # The parity bit of a character with an even count of ones, and of one with an odd count.
    bits = {"even": (0, 1), "odd": (1, 0), "mark": (1, 1), "space": (0, 0)}[parity]
    return bytes(byte | bits[byte.bit_count() % 2] << 7 for byte in data)


def wire(description: Description, text: str) -> bytes:
    """A frame's characters as bytes on the line."""
    data = text.encode("latin-1")
    link = description.link
    return with_parity(data, link.parity) if link.bits == 7 and link.parity != "none" else data


def checked(rule: Checksum, data: bytes) -> bytes:
    """A frame whose check stands at its end."""
    return data + checksums.write(rule, data)


def described(
    framing: Framing,
    decoding: Decoding | None = None,
    parity: Parity | None = None,
    checksum: Checksum | None = None,
) -> Description:
    """A description with that framing; decimals with one place unless told otherwise."""
    return Description(
        name="made-up",
        title="Made up for a test",
        framing=framing,
        decoding=decoding or Decoding(pattern=PATTERN),
        link=LinkSettings(bits=7, parity=parity) if parity else LinkSettings(),
        checksum=checksum,
    )


_DIGITS = [Field("value", at=1, length=3)]

KINDS: dict[str, tuple[Description, list[bytes], bytes]] = {
    "terminator": (
        described(ByTerminator("\r", longest=6)),
        [b"+1.5\r", b"22.5\r", b"1234567890\r"],
        b"\r1.+x",
    ),
    "two-byte terminator": (
        described(ByTerminator("\r\n", longest=6)),
        [b"+1.5\r\n", b"22.5\r\n", b"1\r.5\n\r\n", b"1234567890\r\n"],
        b"\r\n1.",
    ),
    "repeating terminator": (
        described(ByTerminator("\r\r", longest=6)),
        [b"+1.5\r\r", b"22.5\r\r\r"],
        b"\r1.",
    ),
    "marks": (
        described(ByMarks(longest=6)),
        [b"\x02+1.5\x03", b"\x0222.5\x03", b"\x021.\x021.5\x03", b"\x021234567890\x03"],
        b"\x02\x031.",
    ),
    "long marks": (
        described(ByMarks(start="<<", end="\r\n>", longest=6)),
        [b"<<+1.5\r\n>", b"<<<22.5\r\n>", b"<<1\r\n<<1.5\r\n>"],
        b"<\r\n>1.",
    ),
    "overlapping marks": (
        described(ByMarks(start="AB", end="BC", longest=6)),
        [b"AB+1.5BC", b"AB1.5ABC", b"ABC", b"AB12345ABC"],
        b"ABC1.",
    ),
    "marks, end inside the trailer": (
        described(ByMarks(longest=6, trailer=2), Decoding(pattern=PATTERN + r"[\x02\x03]{2}")),
        [b"\x02+1.5\x03\x03\x02", b"\x0222.5\x0310", b"\x021.5\x03"],
        b"\x02\x031.",
    ),
    "marks with a check": (
        described(ByMarks(longest=6, trailer=1), checksum=XOR),
        [b"\x02+1.5\x03" + bytes([ord("+") ^ ord("1") ^ ord(".") ^ ord("5")]), b"\x021.5\x03"],
        b"\x02\x031.",
    ),
    "length": (described(ByLength(4)), [b"+1.5", b"22.5"], b"1.+x"),
    "length with sync": (
        described(ByLength(4, sync="V"), Decoding(layout=_DIGITS)),
        [b"V1.5", b"V22.", b"V1"],
        b"V1.5",
    ),
    "length with long sync": (
        described(ByLength(5, sync="VVW"), Decoding(layout=[Field("value", at=3, length=2)])),
        [b"VVW15", b"VVVW15", b"VVW1"],
        b"VW15",
    ),
    "length with sync and check": (
        described(ByLength(5, sync="V"), Decoding(layout=_DIGITS), checksum=XOR),
        [checked(XOR, b"V1.5"), checked(XOR, b"VV.5"), b"VV1.5x"],
        b"V1.5=",
    ),
    "length with check": (
        described(ByLength(4), Decoding(layout=[Field("value", at=0, length=3)]), checksum=SUM),
        [checked(SUM, b"015"), b"01"],
        checked(SUM, b"015"),
    ),
    "gap": (described(ByGap(0.03, longest=6)), [b"+1.5", b"22.5", b"1234567890"], b"1.+x"),
    **{
        f"seven bits, {parity}": (
            described(ByTerminator("\r\n", longest=6), parity=parity),
            [with_parity(b"+1.5\r\n", parity), b"+1.5\r\n", with_parity(b"1234567\r\n", parity)],
            with_parity(b"\r\n1.", parity) + b"\r\xff",
        )
        for parity in PARITIES[:2]
    },
    "seven bits, gap": (
        described(ByGap(0.03, longest=6), parity="odd"),
        [with_parity(b"+1.5", "odd"), b"+1.5"],
        with_parity(b"1.+", "odd") + b"\xff",
    ),
    "seven bits, length": (
        described(ByLength(4, sync="+"), parity="even"),
        [with_parity(b"+1.5", "even"), b"+1.5"],
        with_parity(b"1.+", "even") + b"\xff",
    ),
    "packet": (described(ByPacket(longest=6)), [b"+1.5", b"22.5", b"1234567890"], b"1.+x"),
    "packet, presented": (
        described(ByPacket(), Decoding(presentation=Presentation("sint16", -5))),
        [b"\x2b\x00", b"\xd5\xff", b"\x2b"],
        b"\x00\x80\xff",
    ),
}
"""By what it is: a description, some frames (some of them spoilt), and the bytes that matter."""

IN_PIECES = [kind for kind in KINDS if not kind.startswith("packet")]
"""The kinds whose frames may come in any pieces: a packet is a piece."""
