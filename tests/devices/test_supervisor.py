"""A link that is lost, and heals: on pseudo-terminals, with the real pyserial."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from pathlib import Path

from gaugelink.devices.catalog import find
from gaugelink.devices.link import Chunk, LinkError
from gaugelink.devices.pipeline import Pipeline
from gaugelink.devices.recognise import recognise
from gaugelink.devices.serial_link import SerialLink
from gaugelink.devices.supervisor import LinkState, Retry, Supervisor
from gaugelink.reading import Reading
from tests.devices.pty_port import PtyPort

SOON = Retry(first=0.01, growth=2.0, most=0.05)


class Heard:
    """A sink that keeps what it is told, and lets a test wait for it."""

    def __init__(self) -> None:
        self.readings: list[Reading] = []
        self.links: list[tuple[LinkState, str, float]] = []
        self._news = asyncio.Event()

    def heard(self, readings: list[Reading]) -> None:
        self.readings += readings
        self._news.set()

    def link(self, state: LinkState, reason: str, retry_in: float) -> None:
        self.links.append((state, reason, retry_in))
        self._news.set()

    @property
    def values(self) -> list[float]:
        return [float(each.hundredths) for each in self.readings]

    def states(self) -> list[LinkState]:
        return [state for state, _, _ in self.links]

    async def news(self, count: int = 0, state: LinkState | None = None) -> None:
        """Wait for so many readings in all, or for the link to be in a state."""
        async with asyncio.timeout(10):
            while len(self.readings) < count or (state and self.links[-1:][0][0] != state):
                self._news.clear()
                await self._news.wait()


@contextlib.asynccontextmanager
async def supervised(port: str, description: str) -> AsyncIterator[tuple[Heard, Supervisor]]:
    found = find(description)
    heard = Heard()
    supervisor = Supervisor(SerialLink(port, found.link), Pipeline(found, "g"), heard, SOON)
    running = asyncio.create_task(supervisor.run())
    try:
        await asyncio.sleep(0)
        await heard.news(state="up") if Path(port).exists() else None
        yield heard, supervisor
    finally:
        running.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await running


async def test_an_unplug_in_mid_frame_is_survived_and_its_half_never_a_reading(
    tmp_path: Path,
) -> None:
    with PtyPort(tmp_path / "indicator") as port:
        async with supervised(port.path, "signed-decimal-unit-cr") as (heard, supervisor):
            port.send(b"+000.430mm\r+000.4")
            await heard.news(count=1)
            port.unplug()
            await heard.news(state="down")
            assert "plugged in" in heard.links[-1][1] or "no such port" in heard.links[-1][1]
            port.plug()
            await heard.news(state="up")
            # The end of another frame must not be joined to the half from before.
            port.send(b"10mm\r+000.400mm\r")
            await heard.news(count=2)
            assert heard.values == [43, 40]
            assert supervisor.opened == 2


async def test_a_port_that_is_not_there_yet_is_waited_for_with_growing_delays(
    tmp_path: Path,
) -> None:
    path = tmp_path / "later"
    async with supervised(str(path), "bare-decimal-lf") as (heard, _):
        async with asyncio.timeout(10):
            while heard.states().count("down") < 5:
                await asyncio.sleep(0.005)
        waits = [wait for state, _, wait in heard.links if state == "down"]
        assert waits[:4] == [0.01, 0.02, 0.04, 0.05]
        with PtyPort(path) as port:
            await heard.news(state="up")
            port.send(b"0.430\n")
            await heard.news(count=1)
    assert heard.values == [43]


async def test_an_indicator_that_must_be_asked_is_asked_once_at_a_time() -> None:
    with PtyPort() as port:
        async with supervised(port.path, "asked-question-cr") as (heard, _):
            for value in range(1, 4):
                assert await asyncio.to_thread(port.received, 2) == b"?\r"
                port.send(b"+0.%02d MM\r" % value)
                await heard.news(count=value)
            assert heard.values == [1, 2, 3]


async def test_one_that_does_not_answer_is_asked_again() -> None:
    with PtyPort() as port:
        async with supervised(port.path, "asked-question-cr") as (heard, _):
            assert await asyncio.to_thread(port.received, 4) == b"?\r?\r"
            port.send(b"+0.43 MM\r")
            await heard.news(count=1)


async def test_bursts_set_apart_by_silence_are_read_when_it_comes() -> None:
    with PtyPort() as port:
        async with supervised(port.path, "gap-decimal-letter") as (heard, _):
            port.send(bytes(b | 0x80 if b.bit_count() % 2 == 0 else b for b in b"+ 0.430M"))
            await heard.news(count=1)
            assert heard.values == [43]


async def test_a_known_format_is_recognised_by_listening() -> None:
    known = [find("bare-decimal-lf"), find("marks-fields-xor"), find("asked-question-cr")]
    with PtyPort() as port:

        async def send() -> None:
            while True:
                port.send(b"$00017,0.430,MM,87*3C\r\n")
                await asyncio.sleep(0.02)

        sending = asyncio.create_task(send())
        found = await recognise(port.path, known, SerialLink, listen=0.3)
        sending.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await sending
    assert found.name == "marks-fields-xor"


class _Torn:
    """A link that is lost when the test says so."""

    port = "torn"

    def __init__(self) -> None:
        self.torn = asyncio.Event()

    async def open(self) -> None:
        self.torn.clear()

    async def read(self) -> Chunk:
        await self.torn.wait()
        raise LinkError("torn: gone")

    async def write(self, data: bytes) -> None:
        raise LinkError("torn: gone")

    async def close(self) -> None:
        pass


async def test_a_plug_pulled_at_the_moment_of_ending_does_not_keep_it_going() -> None:
    link = _Torn()
    found = find("bare-decimal-lf")
    running = asyncio.create_task(Supervisor(link, Pipeline(found, "g"), Heard(), SOON).run())
    await asyncio.sleep(0.01)
    # Both in one turn of the loop: the read fails, and the whole is cancelled.
    link.torn.set()
    await asyncio.sleep(0)
    running.cancel()
    done, _ = await asyncio.wait([running], timeout=2)
    running.cancel()
    assert done == {running}
    assert running.cancelled()
