"""The process itself: started as a person would, and looked at over its bus."""

from __future__ import annotations

import asyncio
import os
import signal
import subprocess
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest
from dbus_fast import Message, MessageType, Variant
from dbus_fast.aio import MessageBus

from simulators.bluetooth.commands import RadioCommand, parse
from simulators.commands import CommandError
from tests.devices.bluetooth_peer import DEADLINE, PLACE, ROOT, Simulator, needs_bus, running

pytestmark = needs_bus

ADAPTER = "/org/bluez/hci0"
PEER = f"{ADAPTER}/dev_C4_5A_1E_00_00_01"


class Client:
    """A program on the simulator's bus, which asks it what a client would."""

    def __init__(self, bus: MessageBus) -> None:
        self.bus = bus

    async def call(
        self, path: str, interface: str, member: str, signature: str = "", *body: Any
    ) -> Message:
        return await self.bus.call(
            Message(
                destination="org.bluez",
                path=path,
                interface=interface,
                member=member,
                signature=signature,
                body=list(body),
            )
        )

    async def error(self, path: str, called: str, signature: str = "", *body: Any) -> str:
        """The name of the error that a call is refused with."""
        interface, member = called.rsplit(".", 1)
        reply = await self.call(path, interface, member, signature, *body)
        assert reply.message_type is MessageType.ERROR
        return (reply.error_name or "").rsplit(".", 1)[-1]

    async def ok(self, path: str, called: str, signature: str = "", *body: Any) -> list[Any]:
        interface, member = called.rsplit(".", 1)
        reply = await self.call(path, interface, member, signature, *body)
        assert reply.message_type is MessageType.METHOD_RETURN, reply.body
        found: list[Any] = reply.body
        return found

    async def objects(self) -> dict[str, dict[str, dict[str, Variant]]]:
        (found,) = await self.ok("/", "org.freedesktop.DBus.ObjectManager.GetManagedObjects")
        objects: dict[str, dict[str, dict[str, Variant]]] = found
        return objects

    async def until(self, path: str, there: bool = True) -> None:
        """Wait until an object is there, or no more."""
        while (path in await self.objects()) is not there:
            await asyncio.sleep(0.01)


@asynccontextmanager
async def client(simulator: Simulator) -> AsyncIterator[Client]:
    bus = await MessageBus(bus_address=simulator.bus).connect()
    try:
        async with asyncio.timeout(DEADLINE):
            yield Client(bus)
    finally:
        bus.disconnect()


async def test_it_answers_as_the_system_service_does() -> None:
    adapter, device = "org.bluez.Adapter1", "org.bluez.Device1"
    with running() as simulator:
        async with client(simulator) as one, client(simulator) as two:
            assert set(await one.objects()) == {"/org/bluez", ADAPTER}
            get = "org.freedesktop.DBus.Properties.Get"
            (roles,) = await one.ok(ADAPTER, get, "ss", adapter, "Roles")
            assert "central" in roles.value
            assert await one.error(ADAPTER, get, "ss", adapter, "Nothing") == "UnknownProperty"
            assert await one.error(ADAPTER, f"{adapter}.Nothing") == "UnknownMethod"
            assert await one.error("/nowhere", f"{adapter}.Nothing") == "UnknownObject"

            # No device is known before someone listens, and two may listen at once.
            assert await one.error(ADAPTER, f"{adapter}.StopDiscovery") == "Failed"
            await one.ok(ADAPTER, f"{adapter}.SetDiscoveryFilter", "a{sv}", {})
            await one.ok(ADAPTER, f"{adapter}.StartDiscovery")
            assert await one.error(ADAPTER, f"{adapter}.StartDiscovery") == "InProgress"
            await two.ok(ADAPTER, f"{adapter}.StartDiscovery")
            await one.until(PEER)
            await one.ok(ADAPTER, f"{adapter}.StopDiscovery")
            (listening,) = await one.ok(ADAPTER, get, "ss", adapter, "Discovering")
            assert listening.value is True
            two.bus.disconnect()
            while (await one.ok(ADAPTER, get, "ss", adapter, "Discovering"))[0].value:
                await asyncio.sleep(0.01)
            assert "RSSI" not in (await one.objects())[PEER][device]

            await one.ok(PEER, f"{device}.Connect")
            await one.ok(PEER, f"{device}.Connect")
            value = f"{PEER}/service000a/char000b"
            await one.until(value)
            await notifications(one, value)
            await one.ok(PEER, f"{device}.Disconnect")
            assert await one.error(PEER, f"{device}.Disconnect") == "NotConnected"
            assert value not in await one.objects()
            await one.ok(ADAPTER, f"{adapter}.RemoveDevice", "o", PEER)
            assert await one.error(ADAPTER, f"{adapter}.RemoveDevice", "o", PEER) == "DoesNotExist"


async def notifications(one: Client, value: str) -> None:
    characteristic = "org.bluez.GattCharacteristic1"
    descriptor = f"{value}/desc000e"
    (data,) = await one.ok(descriptor, "org.bluez.GattDescriptor1.ReadValue", "a{sv}", {})
    assert bytes(data) == bytes.fromhex("10fb0127010000")
    assert await one.error(value, f"{characteristic}.AcquireNotify", "a{sv}", {}) == "NotSupported"
    assert await one.error(value, f"{characteristic}.StopNotify") == "Failed"
    assert (
        await one.error(value, f"{characteristic}.WriteValue", "aya{sv}", b"?", {})
        == "NotPermitted"
    )
    await one.ok(value, f"{characteristic}.StartNotify")
    assert await one.error(value, f"{characteristic}.StartNotify") == "InProgress"
    heard: asyncio.Queue[bytes] = asyncio.Queue()

    def take(message: Message) -> None:
        if message.member == "PropertiesChanged" and "Value" in message.body[1]:
            heard.put_nowait(message.body[1]["Value"].value)

    one.bus.add_message_handler(take)
    await one.bus.call(
        Message(
            destination="org.freedesktop.DBus",
            path="/org/freedesktop/DBus",
            interface="org.freedesktop.DBus",
            member="AddMatch",
            signature="s",
            body=["type='signal',path_namespace='/org/bluez'"],
        )
    )
    assert len(await heard.get()) == 4
    await one.ok(value, f"{characteristic}.StopNotify")


async def test_commands_are_answered_in_order_and_wrong_ones_refused() -> None:
    with running() as simulator:
        await simulator.done("place", station=PLACE)
        truth = await simulator.do("thickness", station=PLACE)
        gone = await simulator.do("scrape", station=PLACE, zone="windows", strokes=4)
        left = await simulator.do("thickness", station=PLACE)
        assert truth["hundredths"] - gone["removed"] == pytest.approx(left["hundredths"], abs=0.001)
        for what, more, said in (
            ("dance", {}, "not a command"),
            ("drop", {"peer": 3}, "there is no peer 3"),
            ("battery", {"percent": 101}, "not a command"),
            ("special", {"means": "above"}, "sint32 cannot say above"),
            ("place", {"station": "x"}, "x"),
        ):
            answer = await simulator.do(what, **more)
            assert answer["is"] == "error"
            assert said in answer["text"]


def test_a_line_that_is_no_command() -> None:
    assert isinstance(parse('{"do": "adapter", "on": false}'), RadioCommand)
    for line in (b"", b"\xff", b"[]", b'{"do": "adapter"}'):
        with pytest.raises(CommandError, match="not a command"):
            parse(line)


@pytest.mark.parametrize("ending", [signal.SIGTERM, signal.SIGINT, signal.SIGKILL])
def test_however_it_ends_its_bus_ends_with_it(ending: signal.Signals) -> None:
    process = subprocess.Popen(
        [sys.executable, "-m", "simulators", "bluetooth"], cwd=ROOT, stdout=subprocess.PIPE
    )
    with process:
        assert process.stdout is not None
        address = process.stdout.readline().decode()
        folder = Path(address.removeprefix("unix:path=").split(",")[0]).parent
        (bus,) = children(process.pid)
        process.send_signal(ending)
        process.wait(10)
    if ending is signal.SIGKILL:
        assert process.returncode == -ending
        for file in folder.iterdir():
            file.unlink()
        folder.rmdir()
    else:
        assert process.returncode == 0
        assert not folder.exists()
    wait_for_the_end_of(bus)


def children(pid: int) -> list[int]:
    return [int(each) for each in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def wait_for_the_end_of(pid: int) -> None:
    """Whose child it is by now does not matter: it must be gone, or dead at least."""
    descriptor = os.pidfd_open(pid) if Path(f"/proc/{pid}").exists() else None
    if descriptor is not None:
        import select

        ready, _, _ = select.select([descriptor], [], [], 10)
        os.close(descriptor)
        assert ready


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--text", "none"), "no description is called 'none'"),
        (("--style", "none"), "no style is called 'none'"),
        (("--format", "utf8s"), "--format utf8s: Invalid enum value 'utf8s'"),
        (("--unit", "kg"), "'kg' is not a length"),
        (("--unit", "mm"), "Bluetooth has no unit mm"),
        (("--exponent", "-20"), "is a power of ten from -12 to 12"),
        (("--format", "uint2"), "has no room in uint2"),
        (("--script", "/nowhere"), "/nowhere: cannot be read"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_what_cannot_be_served_is_one_line_and_exit_2(options: tuple[str, ...], said: str) -> None:
    ended = subprocess.run(
        [sys.executable, "-m", "simulators", "bluetooth", *options],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=DEADLINE,
        check=False,
    )
    assert (ended.returncode, ended.stdout, ended.stderr.count("\n")) == (2, "", 1)
    assert ended.stderr.startswith("simulators bluetooth: ")
    assert said in ended.stderr


def test_without_dbus_daemon_it_says_what_to_install(tmp_path: Path) -> None:
    ended = subprocess.run(
        [sys.executable, "-m", "simulators", "bluetooth"],
        cwd=ROOT,
        env={**os.environ, "PATH": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=DEADLINE,
        check=False,
    )
    assert ended.returncode == 2
    assert ended.stderr == (
        "simulators bluetooth: dbus-daemon is not installed; install the package dbus\n"
    )
