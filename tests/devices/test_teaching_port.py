"""Teaching over real pseudo-terminals, whose other end garbles what is heard at a wrong speed."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator

import pytest

from gaugelink.devices.description import LinkSettings
from gaugelink.devices.link import LinkError
from gaugelink.devices.serial_link import SerialLink
from gaugelink.devices.teaching import policy
from gaugelink.devices.teaching.finding import Finding
from gaugelink.devices.teaching.listening import PRESS, NotTaught, Teacher
from simulators.formats import formats
from simulators.line import with_parity
from simulators.serial_pty import PseudoTerminal
from tests.benchmarks import teaching as teaching_benchmark
from tests.benchmarks.teaching import all_of, playing

SUITE = (1, 2, 4, 5, 6, 7, 9, 11, 13, 15, 16, 19)
"""Formats of seed 1 at all speeds but the slowest, by themselves and asked, text and binary."""


async def test_a_dozen_formats_are_taught_over_a_real_port(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(teaching_benchmark, "AT_ONCE", len(SUITE))
    made = formats(20, seed=1)
    async with asyncio.timeout(120):
        outcomes = await all_of([made[index] for index in SUITE])
    assert [(each.format.name, each.reason) for each in outcomes if each.reason] == []


@contextlib.asynccontextmanager
async def silent(baud: int = 9600) -> AsyncIterator[tuple[PseudoTerminal, str, bytearray]]:
    """A port on which nothing comes by itself, and what was sent to it at the right speed."""
    loop = asyncio.get_running_loop()
    received = bytearray()

    def closing(master: int) -> None:
        loop.remove_reader(master)

    port = PseudoTerminal(
        LinkSettings(baud=baud),
        opened=lambda fd: loop.add_reader(fd, lambda: received.extend(port.received())),
        closing=closing,
    )
    path = port.plug()
    try:
        yield port, path, received
    finally:
        port.unplug()


@pytest.fixture
def few_speeds(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three speeds are enough to see that each is tried."""
    monkeypatch.setattr(policy, "SPEEDS", policy.SPEEDS[:3])


@pytest.fixture
def hasty(monkeypatch: pytest.MonkeyPatch) -> None:
    """Waits cut short: what is waited for in these tests never comes."""
    for name in ("QUIET", "PRESSES", "LAST_ANSWER", "ANSWER"):
        monkeypatch.setattr(policy, name, 0.02)


@pytest.mark.usefixtures("hasty", "few_speeds")
async def test_a_silent_port_is_asked_politely_and_nothing_else_is_sent() -> None:
    said: list[str] = []
    async with silent() as (_, path, received), asyncio.timeout(60):
        with pytest.raises(NotTaught, match="nothing came") as caught:
            await Teacher(path, SerialLink, said.append).teach()
    assert bytes(received).startswith("".join(policy.REQUESTS).encode())
    tried = caught.value.tried
    assert tuple(tried.requests) == policy.REQUESTS
    assert set(tried.speeds) == set(policy.SPEEDS)
    assert sum(tried.speeds.values()) == 0
    assert PRESS in said
    for speed in policy.SPEEDS:
        assert str(speed) in str(caught.value)


async def test_an_indicator_that_sends_is_never_asked() -> None:
    async with silent() as (port, path, received), asyncio.timeout(60):
        teaching = asyncio.create_task(Teacher(path, SerialLink, lambda line: None).teach())
        index = 0
        while not teaching.done():
            port.send(b"%+08.3fmm\r" % (4 + index % 37 / 10))
            index += 1
            await asyncio.sleep(0.05)
        finding = await teaching
    assert bytes(received) == b""
    assert finding.description.sends == "stream"
    assert finding.description.link.baud == 9600


async def pressed(baud: int, first: float, monkeypatch: pytest.MonkeyPatch) -> Finding:
    """What is taught of an indicator whose button is pressed now and then, seven bits even."""
    monkeypatch.setattr(policy, "QUIET", 0.3)
    async with silent(baud) as (port, path, _), asyncio.timeout(60):
        teaching = asyncio.create_task(Teacher(path, SerialLink, lambda line: None).teach())
        await asyncio.sleep(first)
        press = 0
        while not teaching.done():
            port.send(with_parity(b"%+.2f mm\r\n" % (0.43 + press * 0.31), "even"))
            press += 1
            await asyncio.sleep(0.6 + press % 3 * 0.35)
        return await teaching


async def test_a_button_is_learnt_from_presses_at_another_speed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    found = (await pressed(4800, 1.0, monkeypatch)).description
    assert found.sends == "on-button"
    assert found.link == LinkSettings(baud=4800, bits=7, parity="even")
    assert found.ask is None


@pytest.mark.usefixtures("few_speeds")
async def test_one_that_is_switched_on_late_is_no_button(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(policy, "QUIET", 0.3)
    async with silent() as (port, path, _), asyncio.timeout(60):
        teaching = asyncio.create_task(Teacher(path, SerialLink, lambda line: None).teach())
        await asyncio.sleep(1.0)
        index = 0
        while not teaching.done():
            port.send(b"%+08.3fmm\r" % (4 + index % 37 / 10))
            index += 1
            await asyncio.sleep(0.05)
        found = (await teaching).description
    assert (found.sends, found.link.baud) == ("stream", 9600)


@pytest.mark.usefixtures("few_speeds")
async def test_noise_is_not_taught(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(policy, "UNDECIDED", 1.5)
    noise = bytes(index * 7919 % 251 for index in range(400))
    async with silent() as (port, path, _), asyncio.timeout(110):
        teaching = asyncio.create_task(Teacher(path, SerialLink, lambda line: None, "x", 3).teach())
        index = 0
        while not teaching.done():
            port.send(noise[index * 13 % 300 :][: 17 + index % 11])
            index += 1
            await asyncio.sleep(0.02)
        (outcome,) = await asyncio.gather(teaching, return_exceptions=True)
    assert isinstance(outcome, NotTaught) or (isinstance(outcome, Finding) and outcome.sure < 0.5)


async def test_a_port_that_is_not_there_says_so() -> None:
    with pytest.raises(LinkError, match="no such port"):
        await Teacher("/nowhere", SerialLink, lambda line: None).teach()


async def test_a_lost_line_says_so() -> None:
    async with silent() as (port, path, _), asyncio.timeout(20):
        teaching = asyncio.create_task(Teacher(path, SerialLink, lambda line: None).teach())
        await asyncio.sleep(0.5)
        port.unplug()
        with pytest.raises(LinkError, match="lost"):
            await teaching


async def test_it_asks_for_movement_and_answers_without(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(policy, "STILL", 0.5)
    said: list[str] = []
    async with silent() as (port, path, _), asyncio.timeout(30):
        teacher = Teacher(path, SerialLink, said.append, seconds=1.5)
        teaching = asyncio.create_task(teacher.teach())
        while not teaching.done():
            port.send(b"+000.430mm\r")
            await asyncio.sleep(0.05)
        finding = await teaching
    assert said.count("move the spindle slowly up and down") == 1
    assert not finding.moved
    assert finding.description.unit == "mm"
    assert finding.sure < 0.9


async def test_closing_in_the_middle_leaves_nothing_behind() -> None:
    async with playing(formats(1, seed=1)[0]) as path:
        teaching = asyncio.create_task(Teacher(path, SerialLink, lambda line: None).teach())
        await asyncio.sleep(0.3)
        teaching.cancel()
        with pytest.raises(asyncio.CancelledError):
            await teaching
