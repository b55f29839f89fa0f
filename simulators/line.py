"""What the characters on a serial line turn into, bit by bit: parity, and the wrong speed."""

from __future__ import annotations

from typing import Literal

Parity = Literal["none", "even", "odd", "mark", "space"]

DATA_BITS = 8
"""Seven bits with parity take as long as eight without, and are sent as eight."""


def with_parity(data: bytes, parity: Parity) -> bytes:
    """Seven-bit characters with their parity in bit 7; `none` leaves them as they are."""
    if parity == "none":
        return data
    return bytes(byte & 0x7F | _parity_bit(byte & 0x7F, parity) << 7 for byte in data)


def _parity_bit(character: int, parity: Parity) -> int:
    odd = character.bit_count() % 2
    return {"none": 0, "even": odd, "odd": 1 - odd, "mark": 1, "space": 0}[parity]


def heard(data: bytes, sent: int, read: int, stop_bits: int = 1) -> bytes:
    """The characters that a receiver set to `read` baud makes of `data` sent at `sent` baud.

    The line is followed as a receiver does: it waits for the edge of a start bit, then looks once
    in the middle of each of its own bit times. A character without a proper stop bit is handed on
    all the same, as drivers do by default. Speeds must be above 0. At the same speed the data
    comes back unchanged.
    """
    if sent == read or not data:
        return data
    levels = [
        level
        for byte in data
        for level in (0, *((byte >> bit) & 1 for bit in range(DATA_BITS)), *(1,) * stop_bits)
    ]

    def level(at: float) -> int:
        """The line's level `at` sent bit times after the first start bit; idle is high."""
        index = int(at)
        return levels[index] if index < len(levels) else 1

    step = sent / read
    found = bytearray()
    at = 0.0
    while (edge := _falling_edge(levels, at)) is not None:
        middle = edge + step / 2
        if level(middle):
            # The low was over by the middle of the start bit: a glitch, not a character.
            at = middle
            continue
        found.append(
            sum(level(middle + step * (bit + 1)) << bit for bit in range(DATA_BITS)),
        )
        at = middle + step * (DATA_BITS + 1)
    return bytes(found)


def _falling_edge(levels: list[int], at: float) -> int | None:
    """The next bit boundary after `at` where the line falls; None when it stays idle."""
    start = 0 if at == 0 else int(at) + 1
    for index in range(start, len(levels)):
        if levels[index] == 0 and (index == 0 or levels[index - 1] == 1):
            return index
    return None
