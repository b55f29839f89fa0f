"""The Bluetooth link through the real bleak, to a peer on a private message bus."""

from __future__ import annotations

import asyncio
import contextlib
import sys
import time
from collections.abc import AsyncIterator
from decimal import Decimal

import pytest

from gaugelink.devices.bluetooth import recognise
from gaugelink.devices.bluetooth.link import BluetoothLink
from gaugelink.devices.bluetooth.offers import over_bluetooth
from gaugelink.devices.bluetooth.presentation import Presentation
from gaugelink.devices.catalog import find
from gaugelink.devices.description import ByPacket, Decoding, Description, LinkSettings
from gaugelink.devices.link import LinkError
from gaugelink.devices.pipeline import Pipeline
from gaugelink.devices.supervisor import Retry, Supervisor
from gaugelink.reading import Reading
from simulators.bluetooth.daemon import private_bus
from tests.devices.bluetooth_peer import (
    ASKED_PORT,
    BARE_PORT,
    MARKS_PORT,
    PLACE,
    PORT,
    QUICK,
    TEXTS,
    Simulator,
    beside,
    bus_at,
    needs_bus,
    readings,
    simulated,
)
from tests.devices.test_supervisor import Heard

pytestmark = needs_bus

SOON = Retry(first=0.01, growth=2.0, most=0.1)


def link_to(port: str = PORT, **more: object) -> BluetoothLink:
    return BluetoothLink(port, LinkSettings(), policy=QUICK, **more)  # type: ignore[arg-type]


async def placed(simulator: Simulator) -> float:
    """Put the spindle down; the hundredths that stand under it."""
    await simulator.done("place", station=PLACE)
    truth = await simulator.do("thickness", station=PLACE)
    return float(truth["hundredths"])


async def near(truth: float, link: BluetoothLink, pipeline: Pipeline) -> Reading:
    """The first reading that shows the spindle down."""
    while True:
        (reading,) = await readings(link, pipeline, 1)
        if abs(float(reading.hundredths) - truth) < 2:
            return reading


async def measured(simulator: Simulator) -> tuple[Reading, Pipeline]:
    """What the device at PORT shows of the reed, read as it says of itself."""
    description = await recognise.recognise(PORT, [], QUICK)
    link = BluetoothLink(PORT, description.link, policy=QUICK)
    pipeline = Pipeline(description, "g")
    truth = await placed(simulator)
    await link.open()
    reading = await near(truth, link, pipeline)
    await link.close()
    return reading, pipeline


async def test_a_presented_value_is_read_in_exact_hundredths(shared: Simulator) -> None:
    async with beside(shared) as simulator:
        reading, pipeline = await measured(simulator)
    assert reading.hundredths == reading.hundredths.to_integral_value()
    assert (reading.resolution, reading.unit) == (Decimal(1), "m")
    assert reading.value == f"{reading.hundredths.to_integral_value()}E-5"
    assert pipeline.refused.total() == 0


async def test_so_are_inches_of_another_format() -> None:
    async with simulated("--format", "sint24", "--exponent", "-4", "--unit", "in") as simulator:
        reading, pipeline = await measured(simulator)
    assert reading.hundredths % Decimal("0.254") == 0, "whole ten-thousandths of an inch"
    assert (reading.resolution, reading.unit) == (Decimal("0.254"), "in")
    assert pipeline.refused.total() == 0


async def test_a_float_that_is_no_number_is_no_reading_and_says_why() -> None:
    async with simulated("--format", "medfloat16") as simulator:
        reading, pipeline = await measured(simulator)
        assert reading.resolution == 1
        link = link_to()
        await link.open()
        await simulator.done("sleep", seconds=600)
        reasons = {
            "not-a-number": "not a number",
            "not-at-this-resolution": "not at this resolution",
            "above": "above range",
            "below": "below range",
            "reserved": "reserved value",
        }
        for means in reasons:
            await simulator.done("special", means=means)
        while pipeline.refused.total() < 5:
            await readings_of_one(link, pipeline)
        await link.close()
    assert dict(pipeline.refused) == dict.fromkeys(reasons.values(), 1)


async def readings_of_one(link: BluetoothLink, pipeline: Pipeline) -> list[Reading]:
    chunk = await link.read()
    return pipeline.feed(chunk.data, chunk.at)


async def test_every_notification_is_a_chunk_with_its_time(shared: Simulator) -> None:
    async with beside(shared):
        link = link_to()
        before = time.monotonic()
        await link.open()
        chunk, later = await link.read(), await link.read()
        assert len(chunk.data) == len(later.data) == 4
        assert before <= chunk.at < later.at <= time.monotonic()
        await link.close()


async def test_text_is_framed_and_decoded_as_on_a_serial_line(shared: Simulator) -> None:
    async with beside(shared) as simulator:
        link = link_to(MARKS_PORT)
        truth = await placed(simulator)
        await link.open()
        sizes = {len((await link.read()).data) for _ in range(4)}
        assert max(sizes) <= 20, "the frames are longer, and came in pieces"
        pipeline = Pipeline(over_bluetooth(find(TEXTS[MARKS_PORT])), "g")
        assert (await near(truth, link, pipeline)).unit == "mm"
        await link.close()


async def test_it_asks_what_must_be_asked(shared: Simulator) -> None:
    async with beside(shared):
        link = link_to(ASKED_PORT)
        await link.open()
        pipeline = Pipeline(over_bluetooth(find(TEXTS[ASKED_PORT])), "g")
        for _ in range(3):
            await link.write(b"?\r")
            assert len(await readings(link, pipeline, 1)) == 1
        await link.close()
        with pytest.raises(LinkError, match="not open"):
            await link.write(b"?\r")
        presenting = link_to()
        await presenting.open()
        with pytest.raises(LinkError, match="takes no questions"):
            await presenting.write(b"?")
        await presenting.close()


async def test_the_battery_is_told_of_at_once_and_when_it_changes(shared: Simulator) -> None:
    told: asyncio.Queue[int] = asyncio.Queue()
    async with beside(shared) as simulator:
        await simulator.done("battery", percent=61)
        link = link_to(on_battery=told.put_nowait)
        await link.open()
        assert await told.get() == 61
        await simulator.done("battery", percent=9)
        assert await told.get() == 9
        await link.close()


async def read_for_ever(link: BluetoothLink) -> None:
    while True:
        await link.read()


async def lost(link: BluetoothLink) -> None:
    """Read on until the link says that it is lost."""
    with pytest.raises(LinkError, match="the connection was lost; is it switched on"):
        await read_for_ever(link)


async def test_a_dropped_connection_ends_a_waiting_read_and_stays_lost(shared: Simulator) -> None:
    async with beside(shared) as simulator:
        link = link_to(ASKED_PORT)
        await link.open()
        waiting = asyncio.create_task(lost(link))
        await asyncio.sleep(0)
        await simulator.done("drop", peer=2)
        await waiting
        await lost(link)
        with pytest.raises(LinkError, match="could not send"):
            await link.write(b"?\r")
        await link.close()
        await link.close()


@pytest.mark.parametrize("fault", ["vanish", "hang"])
async def test_one_that_is_gone_without_a_word_is_found_out_by_asking(
    shared: Simulator, fault: str
) -> None:
    async with beside(shared) as simulator:
        link = link_to()
        await link.open()
        await simulator.done(fault)
        await lost(link)
        await link.close()


async def test_so_it_is_without_a_battery_to_ask_for() -> None:
    async with simulated("--battery", "-1", "--also", "bare-decimal-lf") as simulator:
        link = link_to()
        await link.open()
        await simulator.done("hang")
        await lost(link)
        await link.close()
        # Of plain text nothing at all can be asked; the system has forgotten the device.
        text = link_to(MARKS_PORT)
        await text.open()
        await text.read()
        await simulator.done("vanish", peer=1)
        await lost(text)
        await text.close()


async def test_silence_alone_is_no_loss(shared: Simulator) -> None:
    async with beside(shared) as simulator:
        link = link_to()
        await link.open()
        await simulator.done("sleep", seconds=1.5)
        silent = time.monotonic()
        while (await link.read()).at < silent + 5 * QUICK.quiet:
            pass
        await link.close()


async def test_slow_discovery_is_waited_for_and_half_open_is_not(shared: Simulator) -> None:
    async with beside(shared) as simulator:
        link = link_to()
        await simulator.done("slow", seconds=0.5)
        await link.open()
        assert (await link.read()).data
        await link.close()
        await simulator.done("half-open", on=True)
        with pytest.raises(LinkError, match="could not connect within 2 s: no answer in time"):
            await link.open()
        opening = asyncio.create_task(link.open())
        await asyncio.sleep(0.5)
        opening.cancel()
        with pytest.raises(asyncio.CancelledError):
            await opening
        # Neither of the two has left anything behind that is in the way.
        await simulator.done("half-open", on=False)
        await link.open()
        assert (await link.read()).data
        await link.close()


async def test_one_that_a_killed_program_left_connected_is_found_all_the_same(
    shared: Simulator,
) -> None:
    other = [sys.executable, "-c", OTHER_PROGRAM, PORT]
    async with beside(shared):
        killed = await asyncio.create_subprocess_exec(*other, stdout=asyncio.subprocess.PIPE)
        assert killed.stdout is not None
        assert await killed.stdout.readline() == b"open\n"
        killed.kill()
        await killed.communicate()
        link = link_to()
        await link.open()
        assert (await link.read()).data
        await link.close()


OTHER_PROGRAM = """
import asyncio, sys
from gaugelink.devices.bluetooth.link import BluetoothLink
from gaugelink.devices.description import LinkSettings

async def hold() -> None:
    await BluetoothLink(sys.argv[1], LinkSettings()).open()
    print("open", flush=True)
    await asyncio.sleep(60)

asyncio.run(hold())
"""


async def test_what_cannot_be_opened_says_what_to_do(shared: Simulator) -> None:
    async with beside(shared) as simulator:
        with pytest.raises(LinkError, match="names no device; give ble: and its address"):
            await link_to("ble:").open()
        wrong = LinkSettings(characteristic="00000000-0000-0000-0000-000000000000")
        with pytest.raises(LinkError, match="has no characteristic 00000000-"):
            await BluetoothLink(PORT, wrong, policy=QUICK).open()
        with pytest.raises(LinkError, match=r"could not connect.*le-connection-timeout"):
            await link_to("ble:C4:5A:1E:00:00:F1").open()
        with pytest.raises(LinkError, match=r"ble:00:.*: not heard; is it switched on, near"):
            await link_to("ble:00:00:00:00:00:00").open()
        await simulator.done("adapter", on=False)
        with pytest.raises(LinkError, match="the Bluetooth adapter is off; switch Bluetooth on"):
            await link_to().open()


@pytest.mark.parametrize("address", ["unix:path=/nowhere/at/all", "nonsense"])
async def test_without_a_message_bus_serial_works_and_the_message_says_so(address: str) -> None:
    async with bus_at(address):
        with pytest.raises(LinkError, match=r"no system message bus.*serial indicators work"):
            await link_to().open()


async def test_without_the_bluetooth_service_it_says_how_to_start_it() -> None:
    async with private_bus() as address, bus_at(address):
        with pytest.raises(LinkError, match="Bluetooth service is not running; start it"):
            await link_to().open()


@contextlib.asynccontextmanager
async def supervised(port: str, description: Description) -> AsyncIterator[Heard]:
    link = BluetoothLink(port, description.link, policy=QUICK)
    heard = Heard()
    running = asyncio.create_task(Supervisor(link, Pipeline(description, port), heard, SOON).run())
    try:
        await asyncio.sleep(0)
        await heard.news(state="up")
        yield heard
    finally:
        running.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await running


PRESENTED = Description(
    name="presented",
    title="As the shared simulator presents it",
    framing=ByPacket(),
    decoding=Decoding(presentation=Presentation("sint32", -5)),
)
BARE = over_bluetooth(find(TEXTS[BARE_PORT]))


@pytest.mark.parametrize("fault", ["drop", "vanish", "unplug", "adapter", "cut"])
async def test_a_lost_link_is_told_of_and_heals_by_itself(shared: Simulator, fault: str) -> None:
    async with beside(shared) as simulator, supervised(PORT, PRESENTED) as heard:
        await heard.news(count=3)
        await simulator.done(fault, **({"on": False} if fault == "adapter" else {}))
        await heard.news(state="down")
        assert "the connection was lost" in heard.links[-1][1]
        if fault == "adapter":
            await simulator.done("adapter", on=True)
        elif fault in ("unplug", "cut"):
            assert (await simulator.do("replug"))["is"] == "plugged"
        await heard.news(state="up")
        await heard.news(count=len(heard.readings) + 3)
    numbers = [reading.seq for reading in heard.readings]
    assert numbers == list(range(1, len(numbers) + 1))


async def test_two_at_once_and_one_heals_while_the_other_is_read(shared: Simulator) -> None:
    async with beside(shared) as simulator:
        async with supervised(PORT, PRESENTED) as first, supervised(BARE_PORT, BARE) as second:
            await first.news(count=3)
            await second.news(count=3)
            await simulator.done("drop", peer=3)
            await second.news(state="down")
            await first.news(count=len(first.readings) + 3)
            await second.news(state="up")
            await second.news(count=len(second.readings) + 3)
        assert first.states().count("down") == 0
