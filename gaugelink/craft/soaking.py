"""Soaking: how long a reed has been out of the water, and whether it still counts as wet.

A dry blade is thinner and stiffer than a wet one; only wet ones are measured. Times come in with
what happens, in seconds of one clock.
"""

from __future__ import annotations

import math
from typing import Literal

import msgspec

from gaugelink.craft.measured import CraftError
from gaugelink.craft.rules import Soaking

Wetness = Literal["wet", "dry", "unknown"]
"""`dry` is only ever what the maker says: a reed that dries is unknown for a long time first."""


class Bath(msgspec.Struct, frozen=True):
    """Where one reed is, and since when."""

    where: Literal["unknown", "in", "out"] = "unknown"
    since: float = 0.0
    """Seconds: when it went in, or came out."""
    soaked: bool = False
    """It was in the water long enough before it came out."""
    reminded: bool = False


class Reminder(msgspec.Struct, frozen=True):
    """To be said once."""

    out_for: float
    """Seconds out of the water."""
    text: str


def dip(bath: Bath, at: float, rule: Soaking) -> Bath:
    """It goes into the water. A dip while it is still wet leaves it wet."""
    _check(bath, at)
    if bath.where == "in":
        return bath
    return Bath("in", at, soaked=condition(bath, at, rule) == "wet")


def lift(bath: Bath, at: float, rule: Soaking) -> Bath:
    """It comes out of the water."""
    _check(bath, at)
    if bath.where != "in":
        return bath
    return Bath("out", at, soaked=bath.soaked or at - bath.since >= 60 * rule.soak)


def out_for(bath: Bath, now: float) -> float | None:
    """Seconds for which it has been out of the water; None in it, or when nothing is known."""
    _check(bath, now)
    return now - bath.since if bath.where == "out" else None


def condition(bath: Bath, now: float, rule: Soaking) -> Wetness:
    """Whether it counts as wet now, as far as its time in and out of the water says."""
    _check(bath, now)
    gone = now - bath.since
    if bath.where == "in":
        return "wet" if bath.soaked or gone >= 60 * rule.soak else "unknown"
    if bath.where == "out" and bath.soaked and gone <= 60 * rule.wet_for:
        return "wet"
    return "unknown"


def remind(bath: Bath, now: float, rule: Soaking) -> tuple[Bath, Reminder | None]:
    """The reminder that is due, once for each time out of the water."""
    gone = out_for(bath, now)
    if gone is None or bath.reminded or gone < 60 * rule.remind:
        return bath, None
    text = f"out of the water for {gone / 60:.0f} minutes: dip it again before you measure"
    return msgspec.structs.replace(bath, reminded=True), Reminder(gone, text)


def _check(bath: Bath, at: float) -> None:
    if not math.isfinite(at) or (bath.where != "unknown" and at < bath.since):
        raise CraftError("the clock ran backwards; dip the reed and begin to count anew")
