"""What a line can do at the worst moment: none of it raises, blocks, or takes a reading away."""

from __future__ import annotations

import asyncio
import contextlib
import threading
import time
from collections.abc import AsyncIterator, Callable, Iterator
from typing import Any

import pytest
import serial

from gaugelink.devices import recognise as recognising
from gaugelink.devices import serial_link
from gaugelink.devices.catalog import find
from gaugelink.devices.description import LinkSettings
from gaugelink.devices.link import Chunk, Link, LinkError
from gaugelink.devices.pipeline import Pipeline
from gaugelink.devices.recognise import recognise
from gaugelink.devices.serial_link import SerialLink
from gaugelink.devices.supervisor import Retry, Supervisor
from tests.devices.pty_port import PtyPort
from tests.devices.test_supervisor import Heard, supervised


def test_a_port_that_stays_away_for_days_is_still_waited_for() -> None:
    assert Retry().after(1_000_000) == Retry().most
    assert Retry(first=0.5, growth=1.0, most=2.0).after(1_000_000) == 0.5


@pytest.mark.parametrize(
    "error",
    [
        # What a port raises that is pulled out between being opened and being set.
        pytest.param("termios", id="termios.error"),
        pytest.param(NotImplementedError("no such speed"), id="NotImplementedError"),
        pytest.param(OverflowError("signed integer is greater"), id="OverflowError"),
    ],
)
async def test_whatever_the_driver_raises_on_opening_is_a_lost_link(
    monkeypatch: pytest.MonkeyPatch, error: Any
) -> None:
    if error == "termios":
        termios = pytest.importorskip("termios")
        error = termios.error(5, "Input/output error")

    def fails(self: serial.Serial, force_update: bool = False) -> None:
        raise error

    monkeypatch.setattr(serial.Serial, "_reconfigure_port", fails)
    with PtyPort() as port, pytest.raises(LinkError, match="cannot be opened"):
        await SerialLink(port.path, LinkSettings()).open()


async def test_whatever_the_driver_raises_on_reading_is_a_lost_link(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def fails(self: serial.Serial, size: int = 1) -> bytes:
        # With more than a thousand files open, select takes no more.
        raise ValueError("filedescriptor out of range in select()")

    monkeypatch.setattr(serial.Serial, "read", fails)
    with PtyPort() as port:
        link = SerialLink(port.path, LinkSettings())
        await link.open()
        async with asyncio.timeout(5):
            with pytest.raises(LinkError, match="was lost"):
                await link.read()
        await link.close()


async def test_a_line_that_falls_silent_as_it_is_closed_is_let_go(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The abort of a read is used up by a read that had begun before: the next must not wait."""
    between, go_on = threading.Event(), threading.Event()
    whole = serial.Serial.in_waiting

    def waiting(self: serial.Serial) -> int:
        count: int = whole.fget(self)  # type: ignore[attr-defined]
        between.set()
        go_on.wait(5)
        return count + 1  # one that was announced and does not come

    monkeypatch.setattr(serial.Serial, "in_waiting", property(waiting))
    with PtyPort() as port:
        link = SerialLink(port.path, LinkSettings())
        await link.open()
        port.send(b"1")
        await asyncio.to_thread(between.wait, 5)
        closing = asyncio.create_task(link.close())
        await asyncio.sleep(0.05)
        go_on.set()
        async with asyncio.timeout(2):
            await asyncio.shield(closing)


async def test_a_port_is_not_closed_under_a_question_that_is_being_sent(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Its descriptor may by then be another file's."""
    order: list[str] = []
    sending, go_on = threading.Event(), threading.Event()

    def write(self: serial.Serial, data: bytes) -> int:
        sending.set()
        go_on.wait(5)
        order.append("sent")
        return len(data)

    close = serial.Serial.close

    def closed(self: serial.Serial) -> None:
        order.append("closed")
        close(self)

    monkeypatch.setattr(serial.Serial, "write", write)
    monkeypatch.setattr(serial.Serial, "close", closed)
    with PtyPort() as port:
        link = SerialLink(port.path, LinkSettings())
        await link.open()
        asking = asyncio.create_task(link.write(b"?"))
        await asyncio.to_thread(sending.wait, 5)
        asking.cancel()
        closing = asyncio.create_task(link.close())
        await asyncio.sleep(0.05)
        go_on.set()
        await closing
        with pytest.raises(asyncio.CancelledError):
            await asking
    assert order[:2] == ["sent", "closed"]


async def test_chunks_that_wait_keep_their_own_times() -> None:
    """A gap or a cut is told by the time between two chunks, also when the loop was busy."""
    ticks: Iterator[int] = iter(range(1, 1000))
    with PtyPort() as port:
        link = SerialLink(port.path, LinkSettings(), clock=lambda: float(next(ticks)))
        await link.open()
        for word in (b"ab", b"cd"):
            port.send(word)
            time.sleep(0.05)  # noqa: ASYNC251 - the loop is busy: that is the point
        async with asyncio.timeout(5):
            first, second = await link.read(), await link.read()
        await link.close()
    assert (first.data, second.data) == (b"ab", b"cd")
    assert first.at < second.at


def _burst(text: bytes) -> bytes:
    """With odd parity in bit 7."""
    return bytes(b | 0x80 if b.bit_count() % 2 == 0 else b for b in text)


async def test_a_busy_loop_neither_joins_bursts_nor_cuts_one() -> None:
    with PtyPort() as port:
        async with supervised(port.path, "gap-decimal-letter") as (heard, _):
            port.send(_burst(b"+ 0.4"))
            await asyncio.sleep(0.01)  # its beginning has been read, and its end is waited for
            port.send(_burst(b"30M"))
            time.sleep(0.1)  # noqa: ASYNC251
            port.send(_burst(b"+ 0.400M"))
            time.sleep(0.1)  # noqa: ASYNC251
            await heard.news(count=2)
            assert heard.values == [43, 40]


async def test_a_flood_that_is_not_read_is_left_on_the_line(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(serial_link, "MOST_CHUNKS", 8)
    reads = 0

    def flood(self: serial.Serial, size: int = 1) -> bytes:
        nonlocal reads
        reads += 1
        return b"x" * size

    monkeypatch.setattr(serial.Serial, "read", flood)
    monkeypatch.setattr(serial.Serial, "in_waiting", 4096)
    with PtyPort() as port:
        link = SerialLink(port.path, LinkSettings())
        await link.open()
        await asyncio.sleep(0.1)
        assert reads <= 2 * (8 + 1)
        for _ in range(20):
            assert len((await link.read()).data) == 513
        async with asyncio.timeout(2):
            await link.close()


class Slow(Link):
    """An indicator that answers one question after another, each after `takes` seconds."""

    def __init__(self, takes: float) -> None:
        self._takes = takes
        self._chunks: asyncio.Queue[Chunk] = asyncio.Queue()
        self._questions: asyncio.Queue[bytes] = asyncio.Queue()
        self.most_waiting = 0
        self.asked = self.answered = 0

    @property
    def port(self) -> str:
        return "slow"

    async def open(self) -> None:
        self._answering = asyncio.create_task(self._answer())

    async def _answer(self) -> None:
        while True:
            await self._questions.get()
            await asyncio.sleep(self._takes)
            self.answered += 1
            self._chunks.put_nowait(Chunk(b"+0.43 MM\r", time.monotonic()))

    async def read(self) -> Chunk:
        return await self._chunks.get()

    async def write(self, data: bytes) -> None:
        self.asked += 1
        self._questions.put_nowait(data)
        self.most_waiting = max(self.most_waiting, self.asked - self.answered)

    async def close(self) -> None:
        self._answering.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await self._answering


async def test_an_indicator_slower_than_described_does_not_fall_ever_further_behind() -> None:
    import msgspec

    found = find("asked-question-cr")
    assert found.ask is not None
    found = msgspec.structs.replace(
        found, ask=msgspec.structs.replace(found.ask, every=0.005, wait=0.02)
    )
    link, heard = Slow(takes=0.03), Heard()
    running = asyncio.create_task(Supervisor(link, Pipeline(found, "g"), heard).run())
    try:
        await heard.news(count=20)
        assert link.most_waiting <= 2
    finally:
        running.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await running


@contextlib.asynccontextmanager
async def sending(send: Callable[[], None]) -> AsyncIterator[None]:
    async def run() -> None:
        while True:
            send()
            await asyncio.sleep(0.005)

    task = asyncio.create_task(run())
    try:
        yield
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


async def test_a_flood_of_noise_is_recognised_as_nothing_in_bounded_work(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    judged: list[int] = []
    score = recognising.score

    def counting(description: Any, chunks: Any) -> Any:
        judged.append(sum(len(chunk.data) for chunk in chunks))
        return score(description, chunks)

    monkeypatch.setattr(recognising, "score", counting)
    monkeypatch.setattr(recognising, "ENOUGH_BYTES", 2000)
    with PtyPort() as port:
        async with sending(lambda: port.send(b"\x00\r\x02\xff" * 100)):
            with pytest.raises(LinkError, match="none of the described formats fits"):
                await recognise(port.path, [find("bare-decimal-lf")], SerialLink, listen=0.3)
    assert judged
    assert max(judged) < 2000 + 4096
