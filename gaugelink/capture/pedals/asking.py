"""From what a pedal means to a gesture of the walk."""

from __future__ import annotations

import itertools

import msgspec

from gaugelink.capture.pedals.mapping import Action
from gaugelink.capture.walk import Gesture, WalkState


class Asked(msgspec.Struct, frozen=True):
    """A gesture of the walk, and for `goto` the key of the station to go to."""

    gesture: Gesture
    station: str = ""


def asked(action: Action, state: WalkState) -> Asked | None:
    """What an action asks of the walk as it stands; None for one that is not the walk's."""
    match action:
        case "capture" | "retake" | "skip" | "back" | "again":
            return Asked(action)
        case "pause":
            return Asked("resume" if state.paused else "pause")
        case "next-zone":
            # With no zone to come the walk says aloud that it has no such station.
            return Asked("goto", next_zone(state) or "next zone")
    return None


def next_zone(state: WalkState) -> str:
    """The key of the first station to be measured in the next zone, "" when none is left.

    A zone of one blade and the same zone of the other are two, as the reed is turned in between.
    What is left of the present zone stays in the pass: the walk comes back to it at the end.
    """
    here, place = state.stop, state.place
    if here is None or place is None:
        return ""
    count = len(state.queue)
    for after in itertools.chain(range(place + 1, count), range(place)):
        index = state.queue[after]
        stop = state.stops[index]
        if index in state.skipped or state.is_taken(stop):
            continue
        if (stop.zone, stop.station.blade) != (here.zone, here.station.blade):
            return stop.station.key
    return ""
