"""How the bench's gauge comes, goes and changes: functions of what the bench knows."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import msgspec

if TYPE_CHECKING:
    from gaugelink.daemon.messages import GaugeGone
    from tui.state import BenchState


def unread(state: BenchState, gauge: str) -> BenchState:
    """The state without a reading of that gauge."""
    read = state.reading is not None and state.reading.gauge == gauge
    return replace(state, reading=None) if read else state


def let_go(state: BenchState, gauge: str) -> BenchState:
    """The state once a gauge was let go of."""
    left = {name: event for name, event in state.gauges.items() if name != gauge}
    return replace(unread(state, gauge), gauges=left, let_go=state.let_go | {gauge})


def renamed(state: BenchState, event: GaugeGone) -> BenchState:
    """The state in which a gauge goes by its new name, in its old place among the others."""
    old, new = event.name, event.renamed
    told = state.gauges.get(new)  # the new name may have been heard before this
    gauges = {}
    for name, gauge in state.gauges.items():
        if name == old:
            gauges[new] = told or msgspec.structs.replace(gauge, name=new)
        elif name != new or old not in state.gauges:
            gauges[name] = gauge
    walk, reading = state.walk, state.reading
    if walk is not None and walk.gauge == old:
        walk = msgspec.structs.replace(walk, gauge=new)
    if reading is not None and reading.gauge == old:
        reading = msgspec.structs.replace(reading, gauge=new)
    own = new if state.gauge == old else state.gauge
    gone = state.let_go - {new}
    return replace(state, gauge=own, gauges=gauges, let_go=gone, walk=walk, reading=reading)


def measured_with(state: BenchState, gauge: str) -> BenchState:
    """The state once another gauge is this bench's own; a walk goes on with the one it has."""
    other = replace(state, gauge=gauge)
    return other if other.in_use == state.in_use else replace(other, reading=None, quiet=False)
