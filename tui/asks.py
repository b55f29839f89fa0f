"""What a key asks of the hub, or what it says instead: functions of what the bench knows."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Protocol

from gaugelink.daemon.messages import Request, Soak, StopWatching, WatchZone
from tui.state import NO_WALK, BenchState, Notice


class Asks(Protocol):
    """Makes the request from what is known, or the line that is said when there is none."""

    def __call__(self, state: BenchState) -> Request | Notice: ...


def watch(state: BenchState) -> Request | Notice:
    """Watch the zone in hand on its blade; when a zone is watched, go back to the walk."""
    if state.watching:
        return StopWatching(bench=state.bench)
    if state.walk is None:
        return Notice("trouble", NO_WALK)
    if state.stop is None:
        return Notice("trouble", "no station in hand: go to one of the zone to be watched")
    blade = state.station.blade if state.station else None
    return WatchZone(bench=state.bench, zone=state.stop.zone, blade=blade)


def water(state: BenchState) -> Request | Notice:
    """Into the water, and out of it when it is there."""
    if state.walk is None:
        return Notice("trouble", NO_WALK)
    return Soak(bench=state.bench, where="out" if state.water.where == "in" else "in")


def dry(state: BenchState) -> Request | Notice:
    """Measured dry from now on."""
    if state.walk is None:
        return Notice("trouble", NO_WALK)
    return Soak(bench=state.bench, where="dry")


ASKS: Mapping[str, Asks] = MappingProxyType({"watch": watch, "water": water, "dry": dry})
"""By the name of the action."""
