"""Keeping sources, and the board that reads gestures from all of them."""

from __future__ import annotations

import asyncio

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.capture.gestures import Gestures, Meant
from gaugelink.capture.pedals.board import PedalBoard
from gaugelink.capture.pedals.event import PedalError, PedalEvent
from gaugelink.capture.pedals.mapping import ONE_PEDAL, TWO_PEDALS
from gaugelink.capture.pedals.source import Delays, SourceState, keep

DEADLINE = 5.0
"""Seconds; nothing here waits that long unless it fails."""

QUICK = Delays(first=0.0001, growth=2.0, most=0.001)


class Scripted:
    """A source that opens, speaks and fails as it is told."""

    name = "scripted"

    def __init__(self, *script: str | PedalEvent) -> None:
        self._script = list(script)
        self.opened = self.closed = 0

    async def open(self) -> None:
        self.opened += 1
        if self._script and self._script[0] == "away":
            self._script.pop(0)
            raise PedalError("scripted: away")

    async def read(self) -> list[PedalEvent]:
        if not self._script:
            await asyncio.Event().wait()
        item = self._script.pop(0)
        if isinstance(item, str):
            raise PedalError(f"scripted: {item}")
        return [item]

    async def close(self) -> None:
        self.closed += 1


def down(at: float, code: str = "pagedown") -> PedalEvent:
    return PedalEvent("scripted", code, True, at)


@given(failures=st.integers(1, 10_000))
def test_delays_grow_and_no_further_than_the_longest(failures: int) -> None:
    delays = Delays()
    assert delays.first <= delays.after(failures) <= delays.after(failures + 1) <= delays.most
    assert delays.after(1) == delays.first
    assert delays.after(100) == delays.most


async def test_a_source_is_opened_again_with_growing_delays_and_said_to_be_away() -> None:
    source = Scripted("away", "away", "away", down(1.0), "lost", "away")
    states: list[SourceState] = []
    heard: list[PedalEvent] = []
    up_again = asyncio.Event()

    def told(state: SourceState) -> None:
        states.append(state)
        if state.is_up and heard:
            up_again.set()

    keeping = asyncio.create_task(keep(source, heard.extend, told, QUICK))
    async with asyncio.timeout(DEADLINE):
        await up_again.wait()
    keeping.cancel()
    await asyncio.wait([keeping])
    assert [(each.is_up, each.reason, each.retry_in) for each in states] == [
        (False, "scripted: away", 0.0001),
        (False, "scripted: away", 0.0002),
        (False, "scripted: away", 0.0004),
        (True, "", 0.0),
        (False, "scripted: lost", 0.0001),
        (False, "scripted: away", 0.0002),
        (True, "", 0.0),
    ]
    assert heard == [down(1.0)]
    assert source.closed == source.opened == 6


async def test_one_that_opens_but_never_says_anything_is_tried_less_and_less_often() -> None:
    source = Scripted("lost", "lost", "lost")
    waits: list[float] = []
    enough = asyncio.Event()

    def told(state: SourceState) -> None:
        if not state.is_up:
            waits.append(state.retry_in)
        if len(waits) == 3:
            enough.set()

    keeping = asyncio.create_task(keep(source, lambda events: None, told, QUICK))
    async with asyncio.timeout(DEADLINE):
        await enough.wait()
    keeping.cancel()
    await asyncio.wait([keeping])
    assert waits == [0.0001, 0.0002, 0.0004]


async def test_events_fed_by_hand_are_read_with_those_of_the_sources() -> None:
    meant: asyncio.Queue[Meant] = asyncio.Queue()
    loop = asyncio.get_running_loop()
    board = PedalBoard(Gestures(TWO_PEDALS), meant.put_nowait, lambda state: None, loop.time)
    running = asyncio.create_task(board.run([Scripted(down(loop.time()))]))
    async with asyncio.timeout(DEADLINE):
        assert (await meant.get()).action == "capture"
        board.feed(PedalEvent("keys", "pagedown", True, loop.time(), has_release=False))
        assert (await meant.get()).action == "capture"
    running.cancel()
    await asyncio.wait([running])


async def test_in_a_list_a_short_press_is_known_after_the_time_for_a_second() -> None:
    meant: asyncio.Queue[Meant] = asyncio.Queue()
    loop = asyncio.get_running_loop()
    board = PedalBoard(
        Gestures(ONE_PEDAL, "lists"), meant.put_nowait, lambda state: None, loop.time
    )
    running = asyncio.create_task(board.run([]))
    async with asyncio.timeout(DEADLINE):
        began = loop.time()
        board.feed(PedalEvent("keys", "x", True, began, has_release=False))
        assert meant.empty()
        found = await meant.get()
        assert (found.action, found.at) == ("next", began)
        assert loop.time() >= began + ONE_PEDAL.double
    running.cancel()
    await asyncio.wait([running])


async def test_turning_to_the_walk_calls_off_what_was_waited_for() -> None:
    meant: list[Meant] = []
    loop = asyncio.get_running_loop()
    gestures = Gestures(ONE_PEDAL, "lists")
    board = PedalBoard(gestures, meant.append, lambda state: None, loop.time)
    board.feed(PedalEvent("keys", "x", True, loop.time(), has_release=False))
    waited = gestures.deadline
    board.turn_to("walk")
    assert waited is not None
    assert gestures.deadline is None
    assert meant == []


async def test_a_board_that_is_called_off_closes_its_sources_and_its_timer() -> None:
    meant: list[Meant] = []
    loop = asyncio.get_running_loop()
    source = Scripted()
    board = PedalBoard(Gestures(ONE_PEDAL), meant.append, lambda state: None, loop.time)
    running = asyncio.create_task(board.run([source]))
    while not source.opened:
        await asyncio.sleep(0)
    board.feed(down(loop.time() - ONE_PEDAL.hold + 0.001))
    running.cancel()
    with pytest.raises(asyncio.CancelledError):
        await running
    assert source.closed == 1
    # A timer that was left would now be due.
    await asyncio.sleep(0.003)
    assert meant == []
