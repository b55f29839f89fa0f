"""What a reed crows, from its length and its thickness. A rough model, to practise and test with.

Only its signs and the effect of the length are known: a longer reed, or one that is thinner
behind, crows flatter; clipping takes the thinnest part, and so the end is thicker afterwards.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import msgspec

from gaugelink.craft.reed import BLADES, Station
from gaugelink.craft.style import Style

PER_BACK = 3.0
"""Cents by which the crow rises for each hundredth that the blades are too thick below the tip, on
average; assumed."""

PER_TIP = 1.5
"""Cents by which it rises for each hundredth that they are too thick at the end; assumed."""

DRY = 60.0
"""Cents by which a dry reed crows sharper, being stiffer: that it is stiffer is published (Ukshini
and Dirckx, abstract), the cents are assumed."""

OWN = 15.0
"""Cents: standard deviation of how a reed crows by itself. Pieces of cane differ more than styles
(Blasco-Yepes and Payri, published abstract); the cents are assumed."""

BY_LENGTH = 0.3
"""Standard deviation of how much more or less a reed follows its length than by the ratio alone;
assumed: makers expect 25 cents a millimetre, give or take 10."""

END = (0.4, 1.2)
"""Millimetres from the end at which the tip is looked at; at both sides and the middle."""


class Voice(msgspec.Struct, frozen=True):
    """How one reed crows."""

    own: float = 0.0
    """Cents of its own."""
    by_length: float = 1.0
    """How much it follows its length; 1 is by the ratio alone."""
    scatter: float = 4.0
    """Cents: standard deviation of one crow; assumed, as in the styles."""


def draw_voice(seed: int) -> Voice:
    """A voice of its own."""
    rng = random.Random(f"{seed}/voice")
    return Voice(rng.gauss(0, OWN), min(max(rng.gauss(1, BY_LENGTH), 0.3), 2.0))


def crow(
    style: Style,
    length: float,
    thickness: Callable[[Station], float],
    moisture: float,
    voice: Voice,
) -> float:
    """Cents from the style's goal, without the scatter; `thickness` gives hundredths at a station.

    0 for a reed of the finished length, with the thickness of the style's last stage, soaked. The
    length counts by the ratio alone, 1200 log2(finished / length): 25 cents a millimetre on a reed
    of 70 mm (own arithmetic).
    """
    stops = style.stops(style.stages[-1].name)
    line = style.lengths.tip_line
    back = [
        thickness(stop.station) - float(stop.target)
        for stop in stops
        if stop.station.height < min(line, length)
    ]
    thin = [float(stop.target) for stop in stops if stop.station.height >= line]
    end = [
        thickness(Station(blade, length - below, across))
        for blade in BLADES
        for below in END
        for across in (-0.5, 0.0, 0.5)
    ]
    cents = voice.by_length * 1200 * math.log2(style.lengths.finished / length)
    cents += PER_BACK * _mean(back)
    if thin:
        cents += PER_TIP * (_mean(end) - _mean(thin))
    return cents + DRY * (1 - moisture) + voice.own


def _mean(values: list[float]) -> float:
    return math.fsum(values) / len(values) if values else 0.0
