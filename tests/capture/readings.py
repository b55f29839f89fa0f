"""Readings to feed a settler with; the time is data, so nothing waits."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from gaugelink.capture.settling import Settled, Settler
from gaugelink.reading import Reading


def reading(
    at: float, hundredths: Decimal | float, resolution: str = "0.1", pushed: bool = False
) -> Reading:
    """One reading; a float is rounded to the resolution, as an indicator does."""
    step = Decimal(resolution)
    value = (
        hundredths if isinstance(hundredths, Decimal) else round(hundredths / float(step)) * step
    )
    return Reading("g", 1, at, value, step, "mm", str(value / 100), pushed=pushed)


def feed(
    settler: Settler,
    values: Iterable[Decimal | float],
    rate: float = 10.0,
    start: float = 0.0,
    resolution: str = "0.1",
) -> list[Settled]:
    """What a settler says to values that come `rate` times a second from `start` on."""
    return [
        settler.feed(reading(start + index / rate, value, resolution))
        for index, value in enumerate(values)
    ]


def settled(found: list[Settled]) -> list[Settled]:
    """The moments at which it newly settled."""
    before = [None, *(each.since if each.standing == "settled" else None for each in found)]
    return [
        each
        for each, last in zip(found, before, strict=False)
        if each.standing == "settled" and each.since != last
    ]
