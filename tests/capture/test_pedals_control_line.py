"""A switch on a control line, polled for real; a pseudo-terminal has no such lines and says so.

pyserial's own loop-back port stands in for one: its CTS follows RTS, and its DSR follows DTR, as if
a switch between them were closed.
"""

from __future__ import annotations

import asyncio
import errno
import threading

import pytest
import serial

from gaugelink.capture.gestures import Gestures, Meant
from gaugelink.capture.pedals.board import PedalBoard
from gaugelink.capture.pedals.control_line import ControlLine, Line, Port, open_port
from gaugelink.capture.pedals.event import PedalError, PedalEvent
from gaugelink.capture.pedals.mapping import TWO_PEDALS
from gaugelink.capture.pedals.source import Delays, SourceState
from tests.devices.pty_port import PtyPort

DEADLINE = 5.0
"""Seconds; nothing here waits that long unless it fails."""


class Switch:
    """A port whose lines the test closes and opens; each opening of it is a port of its own."""

    def __init__(self, line: Line = "cts", is_closed: bool = False) -> None:
        self.line = line
        self.is_closed = is_closed
        self.opened: list[serial.SerialBase] = []
        self.away: OSError | None = None

    def open(self, port: str) -> Port:
        if self.away is not None:
            raise self.away
        opened = serial.serial_for_url("loop://")
        self.opened.append(opened)
        self.set(self.is_closed)
        return opened

    def set(self, is_closed: bool) -> None:
        self.is_closed = is_closed
        if self.line == "cts":
            self.opened[-1].rts = is_closed
        else:
            self.opened[-1].dtr = is_closed


def line(switch: Switch, **more: bool | None) -> ControlLine:
    return ControlLine(
        "COM1", switch.line, "foot", opener=switch.open, clock=lambda: 7.0, settles=0.0, **more
    )


async def read(source: ControlLine) -> PedalEvent:
    async with asyncio.timeout(DEADLINE):
        (event,) = await source.read()
    return event


@pytest.mark.parametrize("name", ["cts", "dsr"])
@pytest.mark.parametrize("at_rest", [False, True])
async def test_a_switch_is_down_when_it_is_not_as_it_was_when_the_port_was_opened(
    name: Line, at_rest: bool
) -> None:
    switch = Switch(name, at_rest)
    source = line(switch)
    await source.open()
    for is_down in (True, False, True):
        switch.set(at_rest != is_down)
        assert await read(source) == PedalEvent("foot", name, is_down, 7.0)
    await source.close()
    assert not switch.opened[-1].is_open


async def test_its_rest_may_be_given_and_then_a_pedal_may_be_down_when_it_is_opened() -> None:
    switch = Switch(is_closed=True)
    source = line(switch, rest=False)
    await source.open()
    assert (await read(source)).is_down
    await source.close()


async def test_opened_again_it_still_knows_its_rest() -> None:
    switch = Switch()
    source = line(switch)
    await source.open()
    await source.close()
    switch.is_closed = True
    await source.open()
    assert (await read(source)).is_down, "the foot stands on it already"
    await source.close()


async def test_a_pseudo_terminal_has_no_control_lines_and_that_is_said() -> None:
    with PtyPort() as port:
        with pytest.raises(PedalError, match=r"has no control line CTS \(.*\): use a serial port"):
            await ControlLine(port.path).open()
        # The port was let go.
        again = open_port(port.path)
        with pytest.raises(OSError) as caught:  # noqa: PT011 - what pyserial says on a pty is looked at
            again.cts  # noqa: B018
        assert caught.value.errno == errno.ENOTTY
        again.close()


async def test_no_port_and_one_that_is_held_are_said_to_be_so() -> None:
    with pytest.raises(PedalError, match=r"/dev/nowhere: cannot be opened .* is it plugged in"):
        await ControlLine("/dev/nowhere").open()
    with PtyPort() as port:
        held = open_port(port.path)
        with pytest.raises(PedalError, match="lock"):
            await ControlLine(port.path).open()
        held.close()


async def test_a_port_that_is_pulled_out_is_lost() -> None:
    switch = Switch()
    source = line(switch)
    await source.open()
    # Closed under the thread, pyserial's port fails as one that has vanished.
    switch.opened[-1].close()
    async with asyncio.timeout(DEADLINE):
        with pytest.raises(PedalError, match="it was lost"):
            await source.read()
    await source.close()


async def test_called_off_while_it_opens_the_port_is_not_left_held() -> None:
    switch = Switch()
    begun, go = threading.Event(), threading.Event()

    def slow(port: str) -> Port:
        begun.set()
        assert go.wait(DEADLINE)
        return switch.open(port)

    source = ControlLine("COM1", opener=slow)
    opening = asyncio.create_task(source.open())
    assert await asyncio.to_thread(begun.wait, DEADLINE)
    opening.cancel()
    go.set()
    await asyncio.wait([opening])
    assert opening.cancelled()
    assert [each.is_open for each in switch.opened] == [False]


async def test_lost_and_found_while_it_runs() -> None:
    switch = Switch()
    switch.away = OSError(errno.ENOENT, "No such file or directory")
    states: asyncio.Queue[SourceState] = asyncio.Queue()
    meant: asyncio.Queue[Meant] = asyncio.Queue()
    board = PedalBoard(Gestures(TWO_PEDALS), meant.put_nowait, states.put_nowait)
    source = ControlLine("COM1", name="foot", opener=switch.open, settles=0.0)
    running = asyncio.create_task(board.run([source], Delays(first=0.001, growth=1.0)))
    async with asyncio.timeout(DEADLINE):
        assert "No such file" in (await states.get()).reason
        switch.away = None
        for _ in range(2):
            while not (await states.get()).is_up:
                pass
            switch.set(True)
            assert (await meant.get()).action == "capture"
            switch.set(False)
            switch.opened[-1].close()
            assert not (await states.get()).is_up
    running.cancel()
    await asyncio.wait([running])
    assert meant.empty()
