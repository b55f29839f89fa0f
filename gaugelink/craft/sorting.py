"""Sorting a batch before it is worked on: which blanks, or pieces of cane, promise most.

A blank that is near its target and the same on all sides leaves the least to do. What is too thin
cannot be helped, and what has hardly been measured says nothing: these come last, and say so.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Literal

import msgspec

from gaugelink.craft.measured import COVERAGE, CraftError, Measured, trusted
from gaugelink.craft.mirroring import mirrors
from gaugelink.craft.reed import Station
from gaugelink.craft.style import Stop

ENOUGH = 0.75
"""The share of a stage's stations that must be measured for a blank to be judged."""

Group = Literal["sound", "thin", "too few"]


class Sorted(msgspec.Struct, frozen=True):
    """Where a blank stands in its batch."""

    name: str
    place: int
    """From 1, the most promising."""
    group: Group
    off: int | None
    """Whole hundredths from the target, on average; None when nothing was measured."""
    uneven: int | None
    """Whole hundredths between mirrored places, on average; None when no pair was measured."""
    measured: int
    reasons: tuple[str, ...]
    """Why it stands there, in words."""


class _Judged(msgspec.Struct, frozen=True):
    name: str
    group: Group
    off: int | None
    uneven: int | None
    measured: int
    reasons: tuple[str, ...]


def sort_batch(
    stops: Sequence[Stop],
    batch: Mapping[str, Mapping[str, Measured]],
    uncertainty: float,
) -> tuple[Sorted, ...]:
    """The blanks of a batch, the most promising first.

    `batch` has for each blank its values by station key; `uncertainty` is the standard uncertainty
    of one, in hundredths. Distance from the target and unevenness are root mean squares in whole
    hundredths, since no finer difference is worth an argument; blanks go by their sum, then by the
    distance, and keep their order when both are alike. Behind them come those that are under a
    lower limit as far as can be told, then those of which too little was measured.
    """
    if not stops:
        raise CraftError("there are no stations to sort by; choose a stage that has some")
    order: list[Group] = ["sound", "thin", "too few"]
    judged = [_judge(name, stops, taken, uncertainty) for name, taken in batch.items()]
    judged.sort(key=lambda each: (order.index(each.group), *_rank(each)))
    return tuple(
        Sorted(each.name, place, each.group, each.off, each.uneven, each.measured, each.reasons)
        for place, each in enumerate(judged, 1)
    )


def _rank(each: _Judged) -> tuple[int, int]:
    if each.group == "too few":
        return -each.measured, 0
    off, uneven = each.off or 0, each.uneven or 0
    return off + uneven, off


def _judge(
    name: str, stops: Sequence[Stop], taken: Mapping[str, Measured], uncertainty: float
) -> _Judged:
    known = [stop for stop in stops if stop.station.key in taken]
    off = _root_mean_square(
        [float(taken[stop.station.key].hundredths - stop.target) for stop in known]
    )
    apart = _apart(known, taken)
    uneven = _root_mean_square([size for _, size in apart])
    thin = [stop for stop in known if _too_thin(stop, taken[stop.station.key], uncertainty)]
    reasons = []
    if len(known) < math.ceil(ENOUGH * len(stops)):
        group: Group = "too few"
        reasons.append(f"only {len(known)} of {len(stops)} places measured: measure the rest")
    else:
        group = "thin" if thin else "sound"
    if thin:
        places = ", ".join(stop.station.spoken for stop in thin[:3])
        more = f" and {len(thin) - 3} more" if len(thin) > 3 else ""
        reasons.append(f"too thin at {places}{more}: it cannot be put back")
    if off is not None:
        reasons.append(f"{off} from target on average" if off else "on target")
    if uneven is not None:
        worst, size = max(apart, key=lambda pair: abs(pair[1]))
        where = f", most at {worst.spoken} ({abs(size):.0f})" if uneven else ""
        reasons.append(f"uneven by {uneven}{where}" if uneven else "even on all sides")
    return _Judged(name, group, off, uneven, len(known), tuple(reasons))


def _too_thin(stop: Stop, measured: Measured, uncertainty: float) -> bool:
    under = float(stop.target - stop.tolerance - measured.hundredths)
    return under > COVERAGE * trusted(measured, uncertainty)


def _apart(known: Sequence[Stop], taken: Mapping[str, Measured]) -> list[tuple[Station, float]]:
    """Every pair of mirrored places once: the one that comes first, and what it is thicker by."""
    by_key = {stop.station.key: stop for stop in known}
    found, seen = [], set()
    for key, stop in by_key.items():
        seen.add(key)
        for mirror in mirrors(stop.station):
            other = by_key.get(mirror.key)
            if other is None or mirror.key in seen or other.target != stop.target:
                continue
            size = taken[key].hundredths - taken[mirror.key].hundredths
            found.append((stop.station, float(size)))
    return found


def _root_mean_square(values: Sequence[float]) -> int | None:
    if not values:
        return None
    return round(math.sqrt(math.fsum(value**2 for value in values) / len(values)))
