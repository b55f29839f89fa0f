"""What a workshop does to a line while a reed is walked: nothing wrong is captured, and it heals.

The indicator is a process of its own on a pseudo-terminal, read through pyserial.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest

from gaugelink.daemon import messages as m
from gaugelink.daemon.client import LocalClient
from gaugelink.devices import supervisor
from gaugelink.devices.catalog import find
from simulators.serial_pty import PseudoTerminal
from tests.daemon.real import first, following, link_of, real_hub
from tests.daemon.scripted import until
from tests.simulators.test_simulated_serial import Simulator, simulator

SPOKEN = "signed-decimal-unit-cr"
RATE = "50"


class Maker:
    """A hand at a simulated indicator, a bench, and what the bench says."""

    def __init__(self, simulated: Simulator, client: LocalClient, events: list[m.Event]) -> None:
        self.simulated = simulated
        self.client = client
        self.events = events

    @property
    def reading(self) -> m.ReadingEvent | None:
        return next(
            (each for each in reversed(self.events) if isinstance(each, m.ReadingEvent)), None
        )

    async def at(self, station: str) -> None:
        """Place the spindle, and wait until it stands there."""
        await self.simulated.do(do="lift")
        await until(lambda: self.reading is not None and self.reading.hundredths > 300)
        await self.simulated.do(do="place", station=station)
        await self.settled()

    async def settled(self) -> None:
        """Wait for a settled reading of cane that came after now."""
        seen = len(self.events)
        await until(
            lambda: any(
                isinstance(each, m.ReadingEvent)
                and each.standing == "settled"
                and each.hundredths < 150
                for each in self.events[seen:]
            )
        )

    async def press(self) -> Any:
        return await self.client.ask(m.Press(gesture="capture"))

    async def thickness(self, station: str) -> float:
        """What the simulator knows to be true there."""
        said = await self.simulated.do(do="thickness", station=station)
        return float(said["hundredths"])


@contextlib.asynccontextmanager
async def bench(tmp_path: Path, *options: str) -> AsyncIterator[tuple[Maker, list[str]]]:
    """A walk over a simulated indicator, and its stations."""
    wanted = ("--description", SPOKEN, "--rate", RATE, "--seed", "4", *options)
    async with simulator(*wanted) as simulated, real_hub(tmp_path / "s.db") as client:
        events = await following(client)
        await client.ask(m.AddGauge(name="g", port=simulated.path, description=SPOKEN))
        await link_of(client, "g")
        walk = await client.ask(
            m.StartWalk(reed="R1", style="millrace-long", stage="windows", gauge="g")
        )
        yield Maker(simulated, client, events), [stop.station for stop in walk.stops]


async def test_a_spindle_that_sticks_gives_no_second_station_its_value(tmp_path: Path) -> None:
    async with bench(tmp_path) as (maker, stations):
        await maker.at(stations[0])
        assert isinstance(await maker.press(), m.Captured)
        await maker.simulated.do(do="stuck", seconds=2)
        await maker.simulated.do(do="place", station=stations[1])
        await asyncio.sleep(0.6)  # the time in which two presses are one
        refused = await maker.press()
        assert (refused.why, refused.text[:10]) == ("same contact", "not lifted")
        await asyncio.sleep(1.6)
        await maker.at(stations[1])
        captured = await maker.press()
        assert captured.station == stations[1]
        truth = await maker.thickness(stations[1])
        assert float(captured.hundredths) == pytest.approx(truth, abs=3)


async def test_one_that_falls_asleep_is_stale_and_when_it_wakes_it_is_read(tmp_path: Path) -> None:
    async with bench(tmp_path) as (maker, stations):
        await maker.at(stations[0])
        await maker.simulated.do(do="sleep", seconds=2)
        await asyncio.sleep(1.3)
        refused = await maker.press()
        assert refused.why == "stale"
        await maker.settled()
        captured = await maker.press()
        assert captured.station == stations[0]
        assert len([each for each in maker.events if isinstance(each, m.Captured)]) == 1


async def test_noise_on_the_line_is_counted_and_never_captured(tmp_path: Path) -> None:
    async with bench(tmp_path) as (maker, stations):
        await maker.at(stations[0])
        for _ in range(5):
            await maker.simulated.do(do="noise", count=500)
        await maker.settled()
        captured = await maker.press()
        truth = await maker.thickness(stations[0])
        assert float(captured.hundredths) == pytest.approx(truth, abs=3)
        (counts,) = (await maker.client.ask(m.Diagnose())).gauges
        assert sum(counts.refused.values()) > 0
        assert counts.link == "up"


async def test_half_a_frame_and_a_new_plug_go_on_in_the_same_walk(tmp_path: Path) -> None:
    link = tmp_path / "dial"
    async with bench(tmp_path, "--link", str(link)) as (maker, stations):
        await maker.at(stations[0])
        await maker.press()
        await maker.simulated.do(do="cut")
        await link_of(maker.client, "g", "down")
        assert (await maker.press()).why in ("link lost", "too soon")
        await maker.simulated.do(do="replug")
        await link_of(maker.client, "g")
        await asyncio.sleep(0.6)
        await maker.at(stations[1])
        captured = await maker.press()
        assert captured.station == stations[1]


@contextlib.asynccontextmanager
async def saying(name: str, link: Path, baud: int | None = None) -> AsyncIterator[None]:
    """An indicator that says the example of a description for ever, perhaps at another speed."""
    described = find(name)
    settings = described.link
    if baud is not None:
        import msgspec

        settings = msgspec.structs.replace(settings, baud=baud)
    port = PseudoTerminal(settings, link)
    port.plug()

    async def stream() -> None:
        while True:
            port.send(described.example.encode("latin-1"))
            await asyncio.sleep(0.02)

    sending = asyncio.create_task(stream())
    try:
        yield
    finally:
        sending.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await sending
        port.unplug()


@pytest.fixture
def soon(monkeypatch: pytest.MonkeyPatch) -> None:
    """What makes no sense is given up within half a second."""
    monkeypatch.setattr(supervisor, "SENSELESS_FOR", 0.5)


@pytest.mark.usefixtures("soon")
async def test_a_wrong_speed_after_a_replug_is_said_and_the_right_one_heals_it(
    tmp_path: Path,
) -> None:
    link = tmp_path / "dial"
    async with asyncio.timeout(30), real_hub(tmp_path / "s.db") as client:
        events = await following(client)
        async with saying(SPOKEN, link):
            await client.ask(m.AddGauge(name="g", port=str(link), description=SPOKEN))
            await first(events, m.ReadingEvent)
        await link_of(client, "g", "down")
        events.clear()
        async with saying(SPOKEN, link, baud=4800):
            await until(lambda: any(_garbled(each) for each in events), within=20)
            assert not any(isinstance(each, m.ReadingEvent) for each in events)
        async with saying(SPOKEN, link):
            await first(events, m.ReadingEvent)
        assert (await link_of(client, "g", "down")).description == SPOKEN


def _garbled(event: m.Event) -> bool:
    return (
        isinstance(event, m.GaugeEvent)
        and event.link == "down"
        and "make no sense" in event.reason
        and event.reason.endswith("gaugelink teach " + event.port)
    )


@pytest.mark.usefixtures("soon")
async def test_another_indicator_at_the_port_of_one_that_was_recognised_is_recognised_too(
    tmp_path: Path,
) -> None:
    link = tmp_path / "dial"
    async with asyncio.timeout(60), real_hub(tmp_path / "s.db") as client:
        events = await following(client)
        async with saying(SPOKEN, link):
            await client.ask(m.AddGauge(name="g", port=str(link)))
            await first(events, m.ReadingEvent)
            assert (await link_of(client, "g")).description == SPOKEN
        await link_of(client, "g", "down")
        events.clear()
        async with saying("marks-decimal-sum", link):
            await until(lambda: any(isinstance(e, m.ReadingEvent) for e in events), within=40)
            assert (await link_of(client, "g")).description == "marks-decimal-sum"
