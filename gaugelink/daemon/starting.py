"""Beginning a walk: the reed is put on the rack and taken in hand, a walk that was left goes on."""

from __future__ import annotations

import msgspec

from gaugelink.capture import walk
from gaugelink.capture.walk import WalkState
from gaugelink.craft.style import Style
from gaugelink.daemon import messages as m
from gaugelink.daemon.keeper import Keeper
from gaugelink.reading import GaugelinkError
from gaugelink.store.errors import UnknownReed


async def take_in_hand(keeper: Keeper, name: str, style: str, day: int) -> None:
    """Put a new reed on the rack, and move one on to the day of its stage."""
    store, run = keeper.store, keeper.run
    try:
        reed = await run(store.reed, name)
    except UnknownReed:
        # Whoever has a reed in hand and names it wants it measured, not filed first.
        reed = await run(store.add_reed, name, style)
    if (state := _state_on(day, reed.state)) != reed.state:
        await run(store.update_reed, name, state=state)


async def begin_or_resume(
    keeper: Keeper, request: m.StartWalk, style: Style
) -> tuple[int, WalkState]:
    """The walk's number in the store, and where it stands."""
    store, run = keeper.store, keeper.run
    fresh = walk.begin(style, request.stage, request.reed, request.trigger)
    left = None
    if not request.anew:
        left = await run(store.unfinished_walk, request.reed, style.name, request.stage)
    if left is not None:
        kept = walk.resumed(_kept(left.state))
        # An edited style has other stations or targets: its walk begins anew.
        if kept.stops == fresh.stops:
            await run(store.resume_walk, left.walk, gauge=request.gauge, trigger=request.trigger)
            return left.walk, msgspec.structs.replace(
                kept, trigger=request.trigger, walking=style.walking
            )
    number = await run(
        store.start_walk,
        bench=request.bench,
        reed=request.reed,
        style=style.name,
        stage=request.stage,
        gauge=request.gauge,
        trigger=request.trigger,
        state=msgspec.json.encode(fresh),
    )
    return number, fresh


def _state_on(day: int, state: str) -> str:
    """What a reed in that state is, once a stage of that day is begun on it."""
    if day == 1:
        return "first day" if state == "blank" else state
    return "second day" if state in ("blank", "first day", "resting") else state


def _kept(state: bytes) -> WalkState:
    try:
        return msgspec.json.decode(state, type=WalkState)
    except msgspec.DecodeError as error:
        raise GaugelinkError(
            f"the unfinished walk was kept by another version ({error}): begin it anew"
        ) from error
