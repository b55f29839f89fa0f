"""Scanning and recognising through the real bleak, to a peer on a private message bus."""

from __future__ import annotations

import asyncio
import subprocess
import sys

import pytest

from gaugelink.devices.bluetooth.assigned import INDUSTRIAL_MEASUREMENT
from gaugelink.devices.bluetooth.link import BluetoothLink
from gaugelink.devices.bluetooth.presentation import Presentation
from gaugelink.devices.bluetooth.recognise import recognise
from gaugelink.devices.bluetooth.scan import scan
from gaugelink.devices.catalog import catalog
from gaugelink.devices.description import ByPacket, LinkSettings
from gaugelink.devices.link import LinkError
from tests.devices.bluetooth_peer import (
    ASKED_PORT,
    BARE_PORT,
    MARKS_PORT,
    PORT,
    QUICK,
    TEXTS,
    Simulator,
    beside,
    bus_at,
    needs_bus,
    simulated,
)

pytestmark = needs_bus

SHIPPED = list(catalog().values())


async def test_a_scan_lists_what_is_near_the_measuring_device_first(shared: Simulator) -> None:
    async with beside(shared):
        found = await scan(0.6)
    assert [each.port for each in found[:1]] == [PORT]
    assert {each.port for each in found} > {PORT, *TEXTS}
    first, lamp, *others = found
    assert (first.name, first.measures, first.appearance) == (
        *("Practice indicator", "dial indicator", 0x1483),
    )
    assert INDUSTRIAL_MEASUREMENT in first.services
    assert -70 < first.signal < -50
    assert lamp.name == "Lamp over the bench"
    assert lamp.signal > first.signal, "it is nearer, but it does not measure"
    signals = [each.signal for each in others]
    assert signals == sorted(signals, reverse=True)
    assert found[-1].name == "", "a device that does not say what it is called"


async def test_two_scans_and_an_opening_at_once_wait_for_each_other(shared: Simulator) -> None:
    async with beside(shared):
        link = BluetoothLink(PORT, LinkSettings(), policy=QUICK)
        first, second, _ = await asyncio.gather(scan(0.4), scan(0.4), link.open())
        assert first[0].port == second[0].port == PORT
        await link.close()


async def test_a_scan_without_bluetooth_says_why(shared: Simulator) -> None:
    async with bus_at("unix:path=/nowhere/at/all"):
        with pytest.raises(LinkError, match=r"^Bluetooth: .*D-Bus.*serial indicators work"):
            await scan(0.1)
    async with beside(shared) as simulator:
        await simulator.done("adapter", on=False)
        with pytest.raises(LinkError, match="the Bluetooth adapter is off; switch Bluetooth on"):
            await scan(0.1)


async def test_a_device_that_presents_a_length_configures_itself(shared: Simulator) -> None:
    async with beside(shared):
        found = await recognise(PORT, SHIPPED, QUICK)
    assert found.name == "bluetooth-sint32-metre"
    assert found.decoding.presentation == Presentation("sint32", -5, "m")
    assert found.framing == ByPacket()
    assert found.link.characteristic


@pytest.mark.parametrize("port", [MARKS_PORT, ASKED_PORT, BARE_PORT])
async def test_text_is_recognised_by_the_description_that_reads_it(
    shared: Simulator, port: str
) -> None:
    async with beside(shared):
        found = await recognise(port, SHIPPED, QUICK, listen=0.5)
        assert found.name == TEXTS[port]
        # It is closed again, and can be opened as it was found.
        link = BluetoothLink(port, found.link, policy=QUICK)
        await link.open()
        await link.close()


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        ("absent", "none of the described formats fits: name its --description"),
        ("wrong-unit", "it presents sint32 in unit 0x2703, which is not a length"),
    ],
)
async def test_a_wrong_or_absent_descriptor_is_told_of(kind: str, said: str) -> None:
    async with simulated("--descriptor", kind):
        with pytest.raises(LinkError, match=said):
            await recognise(PORT, [], QUICK, listen=0.2)


async def test_a_device_that_is_lost_while_it_is_listened_to(shared: Simulator) -> None:
    async with beside(shared) as simulator:
        await simulator.done("sleep", seconds=60)
        recognising = asyncio.create_task(recognise(BARE_PORT, [], QUICK, listen=1.0))
        await asyncio.sleep(0.7)
        await simulator.done("drop", peer=3)
        with pytest.raises(LinkError, match="lost"):
            await recognising


def test_nothing_but_its_use_imports_bleak() -> None:
    modules = ["link", "scan", "recognise", "offers", "presentation"]
    imports = "; ".join(f"import gaugelink.devices.bluetooth.{name}" for name in modules)
    code = f"import sys, gaugelink.devices.decoding; {imports}; print('bleak' in sys.modules)"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout == "False\n"
