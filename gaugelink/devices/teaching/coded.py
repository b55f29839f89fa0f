"""Bytes of binary frames that are no whole number: floats, and binary-coded decimals.

Read as whole numbers they would move too, and show a thickness that is none.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Sequence
from typing import Literal

from gaugelink.devices.teaching import policy
from gaugelink.devices.teaching.columns import series

SMALLEST, LARGEST = 1e-5, 1e5
"""A length as any unit would have it, from hundredths of a millimetre in metres to micrometres. A
small whole number read as a float is far below, a negative one is none at all."""

NO_HIGH_BYTE = 0x76
"""The higher byte of a thickness in micrometres stays below: 30 mm is 0x7530. It may take a few
values that all look like decimals."""

Order = Literal["<", ">"]


def floats(parts: Sequence[bytes], order: Order) -> list[float] | None:
    """What IEEE 754 floats of four or eight bytes say, the lowest byte first for "<"; None when
    they do not move as a spindle does, over more than one power of two.
    """
    layout = struct.Struct(order + {4: "f", 8: "d"}[len(parts[0])])
    found = [value for (value,) in map(layout.unpack, parts)]
    if not all(
        not value or (math.isfinite(value) and SMALLEST <= abs(value) <= LARGEST) for value in found
    ):
        return None
    # Constant bytes before a whole number would be a float that hardly moves.
    if len({math.frexp(value)[1] for value in found}) < 2:
        return None
    moved = series(found, range(len(found)))
    return found if moved.moved and moved.rough < policy.ROUGH else None


def places(payloads: Sequence[bytes], end: int) -> set[int]:
    """The places, up to `end`, of bytes that are part of a float of four bytes, or hold two decimal
    digits each.
    """
    seen = [{each[place] for each in payloads} for place in range(end)]
    found = _decimal(seen)
    for at in range(end - 3):
        parts = [each[at : at + 4] for each in payloads]
        if floats(parts, "<") is not None or floats(parts, ">") is not None:
            found |= set(range(at, at + 4))
    return found


def _decimal(seen: Sequence[set[int]]) -> set[int]:
    """The bytes of binary-coded decimals: one that takes so many values that a whole number's would
    have had others, too, and its neighbours that could be more of the digits.
    """
    could = [all(byte >> 4 <= 9 and byte & 15 <= 9 for byte in each) for each in seen]
    found: set[int] = set()
    for place, each in enumerate(seen):
        if could[place] and len(each) >= policy.CODED and max(each) >= NO_HIGH_BYTE:
            found.add(place)
            for step in (-1, 1):
                beside = place + step
                while 0 <= beside < len(seen) and could[beside]:
                    found.add(beside)
                    beside += step
    return found
