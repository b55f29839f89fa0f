"""Whether the spine runs in the middle, as far as places beside it let that be seen."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Literal

import msgspec

from gaugelink.craft.measured import COVERAGE, Measured, told, trusted
from gaugelink.craft.reed import Station
from gaugelink.craft.style import Stop

Value = tuple[float, float]
"""Hundredths, and their variance."""


class Spine(msgspec.Struct, frozen=True):
    """Where the top of the spine lies at one height."""

    station: Station
    """The place in the middle."""
    word: Literal["middle", "leans left", "leans right", "can't tell"]
    """`middle` when it cannot be told from the middle; `can't tell` when there is no ridge."""
    across: float | None
    """Where the ridge is highest, from -1 (left edge) to 1; None when there is no ridge to see."""
    uncertainty: float | None
    """Its standard uncertainty."""

    @property
    def text(self) -> str:
        """In words."""
        place = f"{self.station.blade}, {self.station.height:g}"
        if self.across is None or self.uncertainty is None:
            return f"{place}: no ridge stands out; can't tell where the spine runs"
        by = f"{abs(self.across):.2f} ± {COVERAGE * self.uncertainty:.2f} of half the width"
        return f"{place}: the spine {'is in the' if self.word == 'middle' else ''}".rstrip() + (
            f" middle ({by})" if self.word == "middle" else f" {self.word} by {by}"
        )


def spines(
    stops: Sequence[Stop], taken: Mapping[str, Measured], uncertainty: float
) -> tuple[Spine, ...]:
    """The spine at every measured place in the middle that has measured places to its sides.

    The sides are needed at the same height, or above and below it, to be joined by a line. Through
    them and the middle goes one parabola. With L, M and R at -a, 0 and a its top lies at
    a (R - L) / (2 (2M - L - R)); the uncertainty follows by the law of propagation (JCGM 100:2008,
    5.1.2). There is a ridge when 2M - L - R is told from 0 and above it. `uncertainty` is the
    standard uncertainty of one value, in hundredths.
    """
    values = {
        stop.station: (
            float(taken[stop.station.key].hundredths),
            trusted(taken[stop.station.key], uncertainty) ** 2,
        )
        for stop in stops
        if stop.station.key in taken
    }
    found = []
    for station, middle in values.items():
        if station.side != "middle":
            continue
        for across in sorted({abs(each.across) for each in values if each.side != "middle"}):
            left = _beside(values, station, -across)
            right = _beside(values, station, across)
            if left is not None and right is not None:
                found.append(_top(station, across, left, middle, right))
                break
    return tuple(found)


def _top(station: Station, across: float, left: Value, middle: Value, right: Value) -> Spine:
    ridge = 2 * middle[0] - left[0] - right[0]
    if ridge <= 0 or not told(ridge, math.sqrt(4 * middle[1] + left[1] + right[1])):
        return Spine(station, "can't tell", None, None)
    lean = right[0] - left[0]
    top = across * lean / (2 * ridge)
    # The derivatives of a (R - L) / (2 (2M - L - R)) by L, M and R, squared, times the variances.
    variance = (
        (lean - ridge) ** 2 * left[1] + 4 * lean**2 * middle[1] + (lean + ridge) ** 2 * right[1]
    ) * (across / (2 * ridge**2)) ** 2
    spread = math.sqrt(variance)
    if not told(top, spread):
        return Spine(station, "middle", top, spread)
    return Spine(station, "leans right" if top > 0 else "leans left", top, spread)


def _beside(values: Mapping[Station, Value], middle: Station, across: float) -> Value | None:
    """The thickness beside a place: measured there, or on the line between the nearest two."""
    line = {
        station.height: value
        for station, value in values.items()
        if station.blade == middle.blade and station.across == across
    }
    if middle.height in line:
        return line[middle.height]
    below = max((height for height in line if height < middle.height), default=None)
    above = min((height for height in line if height > middle.height), default=None)
    if below is None or above is None:
        return None
    share = (middle.height - below) / (above - below)
    low, high = line[below], line[above]
    return (
        (1 - share) * low[0] + share * high[0],
        (1 - share) ** 2 * low[1] + share**2 * high[1],
    )
