"""A Linux input device: opened, grabbed, read, lost and found again, through python-evdev."""

from __future__ import annotations

import asyncio
import errno
import os
import struct
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from evdev import ecodes

from gaugelink.capture.gestures import Gestures, Meant
from gaugelink.capture.pedals.board import PedalBoard
from gaugelink.capture.pedals.event import PedalError, PedalEvent
from gaugelink.capture.pedals.input_device import InputDevice, code_of, input_devices
from gaugelink.capture.pedals.mapping import TWO_PEDALS
from gaugelink.capture.pedals.source import Delays, SourceState
from simulators.pedals import Edge, Foot
from tests.capture.input_folder import InputFolder

DEADLINE = 5.0
"""Seconds; nothing here waits that long unless it fails."""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[InputFolder]:
    made = InputFolder(tmp_path, monkeypatch)
    yield made
    made.close()


def device(folder: InputFolder, wanted: str = "Foot switch", **more: Any) -> InputDevice:
    return InputDevice(wanted, name="foot", folder=str(folder.path), **more)


async def read(source: InputDevice) -> list[PedalEvent]:
    async with asyncio.timeout(DEADLINE):
        return await source.read()


def edges(*moves: tuple[float, bool]) -> list[Edge]:
    return [Edge(at, is_down) for at, is_down in moves]


async def test_it_is_found_by_its_name_grabbed_and_read(folder: InputFolder) -> None:
    folder.plug("event0", "Keyboard")
    folder.plug("event12", "Foot Switch")
    source = device(folder, clock=lambda: 50.0, wall=lambda: 1000.0)
    await source.open()
    assert folder.grabbed == ["event12"], "and nothing else is taken from the maker"
    folder.press("event12", edges((999.5, True), (999.7, False)))
    heard = await read(source)
    assert [(each.source, each.pedal, each.is_down) for each in heard] == [
        ("foot", "pagedown", True),
        ("foot", "pagedown", False),
    ]
    assert [each.at for each in heard] == pytest.approx([49.5, 49.7])
    await source.close()


async def test_it_is_opened_by_its_path(folder: InputFolder, tmp_path: Path) -> None:
    path = folder.plug("event3", "Anything")
    link = tmp_path / "by-id-foot"
    link.symlink_to(path)
    source = InputDevice(str(link))
    await source.open()
    folder.press("event3", edges((time.time(), True)))
    (event,) = await read(source)
    assert (event.source, event.pedal, event.is_down) == (str(link), "pagedown", True)
    assert abs(event.at - time.monotonic()) < DEADLINE
    await source.close()


async def test_the_kernels_own_repeats_and_reports_are_no_presses(folder: InputFolder) -> None:
    folder.plug("event1", "Foot switch")
    source = device(folder)
    await source.open()
    now = int(time.time())
    repeat = struct.pack("@llHHi", now, 0, ecodes.EV_KEY, ecodes.KEY_B, 2)
    scan = struct.pack("@llHHi", now, 0, ecodes.EV_MSC, ecodes.MSC_SCAN, 458_757)
    folder.send("event1", repeat + scan)
    folder.press("event1", edges((now, True)), ecodes.KEY_B)
    heard: list[PedalEvent] = []
    while not heard:
        heard += await read(source)
    assert [(each.pedal, each.is_down) for each in heard] == [("b", True)]
    await source.close()


@pytest.mark.parametrize("ago", [-5.0, 3.0, 1e6])
async def test_a_wall_clock_that_was_set_dates_no_press(folder: InputFolder, ago: float) -> None:
    folder.plug("event1", "Foot switch")
    source = device(folder, clock=lambda: 50.0, wall=lambda: 2e6)
    await source.open()
    folder.press("event1", edges((2e6 - ago, True)))
    assert [each.at for each in await read(source)] == [50.0]
    await source.close()


async def test_events_that_the_kernel_dropped_are_a_loss(folder: InputFolder) -> None:
    folder.plug("event1", "Foot switch")
    source = device(folder)
    await source.open()
    folder.send("event1", struct.pack("@llHHi", 1, 0, ecodes.EV_SYN, ecodes.SYN_DROPPED, 0))
    with pytest.raises(PedalError, match="opening it anew"):
        await read(source)
    await source.close()


async def test_one_that_is_pulled_out_is_lost_and_closing_it_is_quiet(folder: InputFolder) -> None:
    folder.plug("event1", "Foot switch")
    source = device(folder)
    await source.open()
    waiting = asyncio.create_task(read(source))
    await asyncio.sleep(0)
    folder.pull("event1")
    with pytest.raises(PedalError, match="is it plugged in"):
        await waiting
    await source.close()
    await source.close()
    with pytest.raises(PedalError, match="not open"):
        await source.read()


async def test_a_reader_that_is_called_off_leaves_nothing_behind(folder: InputFolder) -> None:
    folder.plug("event1", "Foot switch")
    source = device(folder)
    await source.open()
    waiting = asyncio.create_task(source.read())
    await asyncio.sleep(0)
    waiting.cancel()
    await asyncio.wait([waiting])
    folder.press("event1", edges((time.time(), True)))
    assert len(await read(source)) == 1
    await source.close()


async def test_what_stands_in_the_way_is_said_with_what_to_do(folder: InputFolder) -> None:
    with pytest.raises(PedalError, match="plug it in; there are: none that may be read"):
        await device(folder).open()
    folder.plug("event1", "Keyboard")
    with pytest.raises(PedalError, match="plug it in; there are: Keyboard"):
        await device(folder).open()
    folder.plug("event2", "Foot switch")
    folder.plug("event3", "Foot switch")
    with pytest.raises(
        PedalError, match=r"more than one .* give a path, one of .*event2, .*event3"
    ):
        await device(folder).open()
    folder.held_by_another.add("event2")
    with pytest.raises(PedalError, match=r"event2: held by another program"):
        await device(folder, str(folder.path / "event2")).open()
    with pytest.raises(PedalError, match=r"event9: there is no such input device: plug it in"):
        await device(folder, str(folder.path / "event9")).open()
    assert folder.grabbed == []


async def test_what_is_no_input_device_is_said_to_be_none(tmp_path: Path) -> None:
    """Here the kernel itself answers: a FIFO and a file know none of the ioctls."""
    os.mkfifo(tmp_path / "event0")
    (tmp_path / "event1").write_bytes(b"")
    for file in ("event0", "event1"):
        with pytest.raises(PedalError, match=f"{file}: is no input device"):
            await InputDevice(str(tmp_path / file)).open()
    assert input_devices(str(tmp_path)) == {}


async def test_one_that_may_not_be_read_is_said_to_be_so(
    folder: InputFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = folder.plug("event1", "Foot switch")
    real = os.open

    def refuse(file: str, flags: int) -> int:
        if str(file) == path:
            # Root, whom nothing is refused, runs the tests, too.
            raise OSError(errno.EACCES, "Permission denied")
        return real(file, flags)

    monkeypatch.setattr("evdev.device.os.open", refuse)
    with pytest.raises(PedalError, match="join the group that may read it"):
        await device(folder, path).open()


async def test_without_evdev_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "evdev", None)
    for wanted in ("Foot switch", "/dev/input/event0"):
        with pytest.raises(PedalError, match=r"pip install 'gaugelink\[pedal\]'"):
            await InputDevice(wanted).open()


def test_keys_have_the_names_that_they_have_in_the_terminal() -> None:
    names = {
        ecodes.KEY_PAGEDOWN: "pagedown",
        ecodes.KEY_PAGEUP: "pageup",
        ecodes.KEY_LEFT: "left",
        ecodes.KEY_SPACE: "space",
        ecodes.KEY_ENTER: "enter",
        ecodes.KEY_B: "b",
        ecodes.BTN_LEFT: "btn_left",
        0x2FE: "key 766",
    }
    assert {code: code_of(code) for code in names} == names


async def test_plugged_in_pulled_out_and_plugged_in_elsewhere_while_it_runs(
    folder: InputFolder,
) -> None:
    """From the kernel's bytes to what is meant, through evdev, with a contact that bounces."""
    states: asyncio.Queue[SourceState] = asyncio.Queue()
    meant: asyncio.Queue[Meant] = asyncio.Queue()
    board = PedalBoard(Gestures(TWO_PEDALS), meant.put_nowait, states.put_nowait)
    delays = Delays(first=0.001, growth=1.0, most=0.001)
    running = asyncio.create_task(board.run([device(folder)], delays))
    foot = Foot(1)
    async with asyncio.timeout(DEADLINE):
        away = await states.get()
        assert (away.source, away.is_up) == ("foot", False)
        assert "plug it in" in away.reason
        for file in ("event1", "event7"):
            folder.plug(file, "Foot switch")
            while not (await states.get()).is_up:
                pass
            folder.press(file, foot.press(time.time()))
            found = await meant.get()
            assert (found.action, found.pedal, found.kind) == ("capture", "right", "short")
            folder.pull(file)
            lost = await states.get()
            assert not lost.is_up
    assert meant.empty(), "its bounces meant nothing"
    running.cancel()
    await asyncio.wait([running])


async def test_a_hold_is_known_while_it_lasts_and_a_pull_of_the_plug_is_no_release(
    folder: InputFolder,
) -> None:
    states: asyncio.Queue[SourceState] = asyncio.Queue()
    meant: asyncio.Queue[Meant] = asyncio.Queue()
    gestures = Gestures(TWO_PEDALS)
    board = PedalBoard(gestures, meant.put_nowait, states.put_nowait)

    def is_waiting() -> bool:
        return gestures.deadline is not None

    folder.plug("event1", "Foot switch")
    running = asyncio.create_task(board.run([device(folder)], Delays(first=0.001)))
    async with asyncio.timeout(DEADLINE):
        assert (await states.get()).is_up
        # It went down almost a hold ago, by the kernel's time: only the rest is waited for.
        down = edges((time.time() - TWO_PEDALS.hold + 0.05, True))
        folder.press("event1", down, ecodes.KEY_PAGEUP)
        assert (await meant.get()).action == "pause"
        folder.press("event1", edges((time.time(), True)), ecodes.KEY_LEFT)
        while not is_waiting():
            await asyncio.sleep(0)
        folder.pull("event1")
        while (await states.get()).is_up:
            pass
    assert not is_waiting(), "what was under way is given up"
    assert meant.empty()
    running.cancel()
    await asyncio.wait([running])
