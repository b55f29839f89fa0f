"""What bytes, heard as eight bits without parity, say about the line: parity, and the speed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Literal

import msgspec

from gaugelink.devices.framing import BAD_PARITY
from gaugelink.devices.teaching import policy

Parity = Literal["none", "even", "odd", "mark"]
PARITIES: tuple[Parity, ...] = ("none", "even", "odd", "mark")
"""Space parity cannot be told from eight bits without, and reads the same."""

USUAL = frozenset(
    b"0123456789 +-.,;:/*=#$%&?!|<>()[]_\"'\t\r\n\x01\x02\x03\x04\x06\xb5\xb0\xc2"
) | {
    *range(ord("A"), ord("Z") + 1),
    *range(ord("a"), ord("z") + 1),
}
"""What indicators write: digits, signs, separators, letters, line ends, start and end marks."""


class Characters(msgspec.Struct, frozen=True):
    """The most likely parity of some bytes, and how much like an indicator's text they are."""

    parity: Parity
    fits: float
    """Share of bytes with that parity."""
    usual: float
    """Share of characters that indicators write."""
    digits: float
    """Share of digits in what is not spaces, which may fill up wide columns."""
    count: int

    @property
    def text(self) -> bool:
        """Whether this is text at the right speed."""
        return (
            self.fits >= policy.PARITY_FIT
            and self.usual >= policy.TEXT
            and self.digits >= policy.DIGITS
        )


HIGH_TEXT = frozenset(b"\xb5\xb0\xb2\xb3\xc2\xce\xbc")
"""Letter mu, degree sign and powers in eight-bit text, alone or as one of two bytes."""


def _bit(low: int, parity: Parity) -> int:
    odd = low.bit_count() % 2
    return {"none": 0, "even": odd, "odd": 1 - odd, "mark": 1}[parity]


def _table(parity: Parity) -> bytes:
    if parity == "none":
        return bytes(range(256))
    return bytes(
        byte & 0x7F if byte >> 7 == _bit(byte & 0x7F, parity) else BAD_PARITY for byte in range(256)
    )


_TABLES = {parity: _table(parity) for parity in PARITIES}


def stripped(data: bytes, parity: Parity) -> bytes:
    """The characters without their parity; one with a wrong parity becomes `BAD_PARITY`."""
    return data.translate(_TABLES[parity])


def judge(data: bytes, parities: Sequence[Parity] = PARITIES) -> Characters:
    """The parity whose text is best. Eight bits without parity win a tie, as the simplest."""
    found = [_judge(data, parity) for parity in parities]
    return max(found, key=lambda each: (each.text, round(each.fits * each.usual, 3)))


def _judge(data: bytes, parity: Parity) -> Characters:
    count = max(1, len(data))
    fits = sum(byte >> 7 == _bit(byte & 0x7F, parity) for byte in data) / count
    if parity == "none":
        fits += sum(byte in HIGH_TEXT for byte in data) / count
    text = stripped(data, parity)
    usual = sum(byte in USUAL for byte in text) / count
    filled = max(1, len(text) - text.count(b" "))
    digits = sum(byte in b"0123456789" for byte in text) / filled
    return Characters(parity, fits, usual, digits, len(data))


def likely_speeds(data: bytes, at: int) -> list[int]:
    """Speeds other than `at`, the likeliest sender first, by what was heard at `at` baud.

    A slower sender holds the line low for several of our bit times: the first data bits of every
    byte are 0, as many as its bit is longer than ours. At a faster one we miss bits, and bytes are
    of any kind.
    """
    others = [speed for speed in policy.SPEEDS if speed != at]
    if not data:
        return others
    even = sum(byte % 2 == 0 for byte in data) / len(data)
    if even < policy.EVEN_BYTES:
        return sorted(others, key=lambda speed: (speed < at, others.index(speed)))
    ratio = _shortest_low(data)
    if ratio is None:
        # Low for nine bits and more.
        return sorted(others, key=lambda speed: (speed > at / 8.5, others.index(speed)))
    wanted = at / ratio
    return sorted(others, key=lambda speed: max(speed / wanted, wanted / speed))


def _shortest_low(data: bytes) -> int | None:
    """The shortest first low of a byte in bit times, start bit included; None if never over."""
    lows = Counter(
        (byte & -byte).bit_length() for byte in data if byte
    )  # the place of the lowest 1, from 1: the start bit and the zeros before it
    common = [low for low, count in lows.items() if count >= max(1, 0.04 * len(data))]
    return min(common, default=None)
