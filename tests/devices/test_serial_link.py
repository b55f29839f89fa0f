"""The serial link on a real pseudo-terminal, through pyserial."""

from __future__ import annotations

import asyncio
import time
from pathlib import Path

import pytest
import serial

from gaugelink.devices.description import LinkSettings
from gaugelink.devices.discovery import PortInfo
from gaugelink.devices.link import LinkError
from gaugelink.devices.serial_link import SerialLink, explain
from tests.devices.pty_port import PtyPort


async def test_bytes_come_as_they_are_with_the_time_they_came() -> None:
    with PtyPort() as port:
        link = SerialLink(port.path, LinkSettings())
        await link.open()
        before = time.monotonic()
        port.send(bytes(range(256)))
        got = b""
        async with asyncio.timeout(5):
            while len(got) < 256:
                chunk = await link.read()
                assert before <= chunk.at <= time.monotonic()
                got += chunk.data
        assert got == bytes(range(256))
        await link.close()


async def test_what_is_written_arrives() -> None:
    with PtyPort() as port:
        link = SerialLink(port.path, LinkSettings())
        await link.open()
        await link.write(b"?\r")
        assert await asyncio.to_thread(port.received, 2) == b"?\r"
        await link.close()


async def test_what_is_written_to_seven_bits_has_its_parity() -> None:
    with PtyPort() as port:
        link = SerialLink(port.path, LinkSettings(bits=7, parity="even"))
        await link.open()
        # The characters 1, 2, 4 and carriage return have an odd count of ones.
        await link.write(b"?123\r")
        assert await asyncio.to_thread(port.received, 5) == b"?\xb1\xb23\x8d"
        await link.close()


async def test_seven_bits_with_parity_are_opened_as_eight_without() -> None:
    with PtyPort() as port:
        link = SerialLink(port.path, LinkSettings(baud=4800, bits=7, parity="even", stop=2))
        await link.open()
        opened = link._serial  # what the driver was told can be seen nowhere else
        assert opened is not None
        assert (opened.baudrate, opened.bytesize, opened.parity, opened.stopbits) == (
            4800,
            8,
            serial.PARITY_NONE,
            2,
        )
        await link.close()


async def test_a_pull_of_the_plug_ends_a_waiting_read() -> None:
    with PtyPort() as port:
        link = SerialLink(port.path, LinkSettings())
        await link.open()
        port.send(b"+000.4")
        assert (await link.read()).data
        waiting = asyncio.create_task(link.read())
        await asyncio.sleep(0)
        port.unplug()
        with pytest.raises(LinkError, match="plugged in"):
            async with asyncio.timeout(5):
                await waiting
        await link.close()


async def test_it_opens_again_under_the_same_name(tmp_path: Path) -> None:
    with PtyPort(tmp_path / "indicator") as port:
        link = SerialLink(port.path, LinkSettings())
        for word in (b"first", b"again"):
            await link.open()
            port.send(word)
            got = b""
            async with asyncio.timeout(5):
                while len(got) < 5:
                    got += (await link.read()).data
            assert got == word
            port.unplug()
            with pytest.raises(LinkError):
                async with asyncio.timeout(5):
                    await link.read()
            await link.close()
            with pytest.raises(LinkError, match="no such port"):
                await link.open()
            port.plug()


async def test_a_device_plugged_in_elsewhere_is_found_under_its_new_name(tmp_path: Path) -> None:
    here, there = tmp_path / "one", tmp_path / "two"
    listed: list[PortInfo] = []
    with PtyPort(here) as port:
        listed[:] = [PortInfo(str(here), "dial", "1a2b:3c4d", "A1"), PortInfo("/dev/other")]
        link = SerialLink(str(here), LinkSettings(), lister=lambda: listed)
        await link.open()
        port.unplug()
        with pytest.raises(LinkError):
            async with asyncio.timeout(5):
                await link.read()
        await link.close()
    with PtyPort(there) as port:
        # Another of the same make is not taken for it.
        listed[:] = [PortInfo(str(there), "dial", "1a2b:3c4d", "B2")]
        with pytest.raises(LinkError, match="no such port"):
            await link.open()
        listed[:] = [PortInfo(str(there), "dial", "1a2b:3c4d", "A1")]
        await link.open()
        port.send(b"again")
        async with asyncio.timeout(5):
            assert (await link.read()).data
        await link.close()


async def test_a_port_is_held_by_one_program() -> None:
    with PtyPort() as port:
        first = SerialLink(port.path, LinkSettings())
        await first.open()
        with pytest.raises(LinkError, match="held by another program"):
            await SerialLink(port.path, LinkSettings()).open()
        await first.close()
        second = SerialLink(port.path, LinkSettings())
        await second.open()
        await second.close()


async def test_closing_while_a_read_waits_leaves_nothing_behind() -> None:
    with PtyPort() as port:
        link = SerialLink(port.path, LinkSettings())
        await link.open()
        reading = asyncio.create_task(link.read())
        await asyncio.sleep(0)
        reading.cancel()
        with pytest.raises(asyncio.CancelledError):
            await reading
        await link.close()
        await link.close()


async def test_what_cannot_be_opened_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(LinkError, match="no such port; plug the indicator in"):
        await SerialLink(str(tmp_path / "nothing"), LinkSettings()).open()
    with pytest.raises(LinkError, match="cannot be opened"):
        await SerialLink(str(tmp_path), LinkSettings()).open()
    with pytest.raises(LinkError, match="not open"):
        await SerialLink("x", LinkSettings()).write(b"?")


def test_permission_denied_names_the_group_to_join(tmp_path: Path) -> None:
    port = tmp_path / "ttyS9"
    port.touch()
    said = explain(str(port), PermissionError(13, "Permission denied"))
    assert "join the group" in said
    assert f"usermod -aG {port.group()} " in said
    assert "log in again" in said
