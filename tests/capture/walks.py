"""Walks to press on, and what a gauge says to them."""

from __future__ import annotations

from decimal import Decimal

from gaugelink.capture import walk
from gaugelink.capture.settling import Settled
from gaugelink.capture.walk import Step, Trigger, WalkState, captured, press
from gaugelink.craft.style import find

STYLE = find("millrace-long")
STAGE = "tip"
FIRST, SECOND, THIRD = (stop.station.key for stop in STYLE.stops(STAGE)[:3])


def begun(trigger: Trigger = "press", stage: str = STAGE) -> WalkState:
    return walk.begin(STYLE, stage, "reed 1", trigger)


def live(
    at: float,
    value: float | None = 40,
    contact: int = 1,
    still: float = 1.0,
    resolution: str = "0.1",
) -> Settled:
    """What the gauge says: settled on `value`, moving where that is None."""
    shown = Decimal(str(300 if value is None else value))
    return Settled(
        standing="moving" if value is None else "settled",
        at=at,
        hundredths=shown,
        resolution=Decimal(resolution),
        value=None if value is None else shown,
        contact=contact,
        still=still,
    )


def take(state: WalkState, at: float, value: float = 40, contact: int = 1) -> WalkState:
    """The walk after a capture that was made durable."""
    step = press(state, "capture", at, live(at, value, contact))
    assert step.take is not None, step.said
    return captured(step.state, step.take)


def take_all(state: WalkState, values: list[float], start: int = 1) -> WalkState:
    for contact, value in enumerate(values, start):
        state = take(state, contact * 10.0, value, contact)
    return state


def why(step: Step) -> str:
    assert step.take is None
    assert step.said is not None
    assert step.said.text
    return step.said.why


def here(state: WalkState) -> str:
    assert state.stop is not None
    return state.stop.station.key
