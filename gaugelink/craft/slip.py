"""The sideways slip of one blade over the other, by which the edges seal."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

import msgspec

from gaugelink.craft.measured import CraftError
from gaugelink.craft.rules import Slipping


class Slip(msgspec.Struct, frozen=True):
    """A slip against the maker's limits."""

    word: Literal["less", "right", "more"]
    text: str


def slip(millimetres: Decimal, rule: Slipping) -> Slip:
    """What a slip amounts to, whichever way it goes: keep that way for the life of the reed.

    Raises CraftError for one that is not finite, or as wide as a blade.
    """
    if not (millimetres.is_finite() and abs(millimetres) <= 5):
        raise CraftError(f"{millimetres} mm is no slip of two blades; measure it again")
    size = abs(millimetres)
    limits = f"{rule.least:f} to {rule.most:f} mm"
    if size < rule.least:
        return Slip("less", f"slipped by {size:f} mm, less than {limits}: the edges may leak")
    if size > rule.most:
        return Slip("more", f"slipped by {size:f} mm, more than {limits}: the edges stand open")
    return Slip("right", f"slipped by {size:f} mm, within {limits}")
