"""Advice on the scene's walks, worked out as the hub works it out."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from gaugelink.craft.style import find
from gaugelink.daemon import messages as m
from gaugelink.daemon.advising import UNCERTAINTY, advice
from gaugelink.daemon.advisor import ASSUMED


@dataclass(frozen=True)
class Value:
    """What was captured at a station."""

    hundredths: Decimal
    resolution: Decimal = Decimal(1)


def advised(walk: m.WalkEvent, uncertainty: float = UNCERTAINTY) -> m.Advice:
    """The advice on what the walk has captured."""
    taken = {
        stop.station: Value(stop.hundredths) for stop in walk.stops if stop.hundredths is not None
    }
    return advice(
        walk.reed, find(walk.style), walk.stage, taken, (uncertainty, ASSUMED), walk.bench
    )
