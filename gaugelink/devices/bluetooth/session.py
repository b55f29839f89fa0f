"""The one module that imports bleak: scanning, connecting, subscribing, and what went wrong.

Import it when it is first needed, not before.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable, Iterator
from typing import Any
from weakref import WeakKeyDictionary

from bleak import BleakAdapter, BleakClient, BleakScanner
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.descriptor import BleakGATTDescriptor
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData
from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakDBusError,
    BleakDeviceNotFoundError,
    BleakError,
    BleakGATTProtocolError,
)

from gaugelink.devices.bluetooth.assigned import (
    BATTERY_LEVEL,
    GENERIC_SERVICES,
    PRESENTATION_FORMAT,
)
from gaugelink.devices.bluetooth.offers import Offer
from gaugelink.devices.bluetooth.policy import Policy
from gaugelink.devices.link import LinkError

FAILURES = (BleakError, OSError, EOFError, ValueError, AssertionError, LookupError, AttributeError)
"""What bleak raises when the radio, the bus or the device goes away. The last three come from its
own insides, when a device vanishes between two of its steps; a time limit is an OSError."""

REFUSED = BleakGATTProtocolError
"""The device answered, and the answer was no."""

SERIAL_WORKS = "serial indicators work without it"

_radios: WeakKeyDictionary[asyncio.AbstractEventLoop, asyncio.Lock] = WeakKeyDictionary()


def radio() -> asyncio.Lock:
    """Held while scanning or connecting.

    The system refuses a second scan by the same program, and a connection that is begun while
    another is being made fails.
    """
    return _radios.setdefault(asyncio.get_running_loop(), asyncio.Lock())


def explain(error: BaseException) -> str:
    """What went wrong with Bluetooth itself, in words, and what to do."""
    match error:
        case BleakBluetoothNotAvailableError(reason=BleakBluetoothNotAvailableReason.POWERED_OFF):
            return "the Bluetooth adapter is off; switch Bluetooth on"
        case BleakBluetoothNotAvailableError(
            reason=BleakBluetoothNotAvailableReason.NO_BLUETOOTH
            | BleakBluetoothNotAvailableReason.NO_BLE_CENTRAL_ROLE
        ):
            return f"no Bluetooth LE adapter; plug one in, or switch it on: {SERIAL_WORKS}"
        case BleakBluetoothNotAvailableError():
            return f"Bluetooth is not to be had ({error.args[0]}); {SERIAL_WORKS}"
        case BleakDeviceNotFoundError():
            return "not heard; is it switched on, near, and not connected to something else?"
        case BleakDBusError(dbus_error=name) if name.endswith(("ServiceUnknown", "NameHasNoOwner")):
            return (
                "the system's Bluetooth service is not running; start it (sudo systemctl start "
                f"bluetooth): {SERIAL_WORKS}"
            )
        case BleakDBusError(dbus_error=name) if name.endswith("AccessDenied"):
            return "this user may not use Bluetooth; join the group bluetooth, then log in again"
        case BleakDBusError(dbus_error="org.bluez.Error.NotReady"):
            return "the Bluetooth adapter is off; switch Bluetooth on"
        case BleakDBusError(dbus_error=name) if name.endswith(("UnknownObject", "UnknownMethod")):
            return "the device is gone; is it switched on and near?"
        case TimeoutError():
            return "no answer in time; is it switched on and near?"
        case BleakGATTProtocolError():
            return f"it refused: {error.args[1]}"
        case BleakError():
            return f"{error}; switch it off and on"
        case OSError() | EOFError() | ValueError():
            return (
                f"Bluetooth cannot be reached: no system message bus (D-Bus) answers ({error}); "
                f"start dbus and bluetooth: {SERIAL_WORKS}"
            )
    return f"the device went away ({type(error).__name__}); is it switched on and near?"


@contextlib.contextmanager
def explained(what: str, seconds: float | None = None) -> Iterator[None]:
    """Turns what bleak raises into a LinkError that begins with `what`."""
    try:
        yield
    except FAILURES as error:
        limit = f" within {seconds:g} s" if seconds and isinstance(error, TimeoutError) else ""
        raise LinkError(f"{what}{limit}: {explain(error)}") from error


async def find(address: str, policy: Policy) -> BLEDevice | None:
    """The device with that address: connected to this computer already, or heard announcing itself.

    A program that was killed leaves its device connected; such a one announces itself no more.
    """
    with contextlib.suppress(NotImplementedError):
        adapter = await BleakAdapter.get()
        for device in await adapter.get_connected_devices(list(GENERIC_SERVICES)):
            if device.address.lower() == address.lower():
                return device
    return await BleakScanner.find_device_by_address(address, timeout=policy.find)


async def still_connected(address: str) -> bool:
    """Whether the system itself still counts the device as connected."""
    try:
        adapter = await BleakAdapter.get()
        known = await adapter.get_connected_devices(list(GENERIC_SERVICES))
    except NotImplementedError:
        return True  # nothing to be learnt here; the system tells of a lost link by itself
    return any(device.address.lower() == address.lower() for device in known)


async def connect(port: str, address: str, policy: Policy, lost: Callable[[], None]) -> BleakClient:
    """Connect, and learn what the device offers. `lost` is called when the connection ends.

    Raises LinkError that says at which step it failed, and why.
    """
    async with radio():
        with explained(port):
            device = await find(address, policy)
        if device is None:
            raise LinkError(f"{port}: {explain(BleakDeviceNotFoundError(address))}")
        client = BleakClient(device, lambda _: lost(), timeout=policy.connect)
        try:
            with explained(f"{port}: could not connect", policy.connect):
                await client.connect()
        except BaseException:
            await part(client, policy)
            raise
    return client


async def part(client: BleakClient, policy: Policy) -> None:
    """End the connection, whatever its state; never raises."""
    with contextlib.suppress(*FAILURES):
        async with asyncio.timeout(policy.close):
            await client.disconnect()


@contextlib.asynccontextmanager
async def connected(
    port: str, address: str, policy: Policy, lost: Callable[[], None] = lambda: None
) -> AsyncIterator[BleakClient]:
    """A connection until the block is left."""
    client = await connect(port, address, policy, lost)
    try:
        yield client
    finally:
        await part(client, policy)


async def offers(port: str, client: BleakClient, policy: Policy) -> list[Offer]:
    """What the device offers, with the presentation of each characteristic that notifies."""
    found = []
    with explained(f"{port}: could not learn what it offers", policy.answer):
        for service in client.services:
            for each in service.characteristics:
                can = set(each.properties)
                notifies = bool(can & {"notify", "indicate"})
                presented = await _presentation(client, each, policy) if notifies else None
                found.append(
                    Offer(
                        service=service.uuid,
                        uuid=each.uuid,
                        handle=each.handle,
                        service_handle=service.handle,
                        notifies=notifies,
                        written=bool(can & {"write", "write-without-response"}),
                        presented=presented,
                    )
                )
    return found


async def _presentation(
    client: BleakClient, characteristic: BleakGATTCharacteristic, policy: Policy
) -> bytes | None:
    descriptor = characteristic.get_descriptor(PRESENTATION_FORMAT)
    if descriptor is None:
        return None
    # A descriptor that may not be read is as good as none.
    with contextlib.suppress(REFUSED):
        return await read(client, descriptor, policy)
    return None


def battery(client: BleakClient) -> BleakGATTCharacteristic | None:
    """The battery's level, the first if there are several; None when there is none."""
    for service in client.services:
        for each in service.characteristics:
            if each.uuid == BATTERY_LEVEL:
                return each
    return None


async def read(
    client: BleakClient, what: BleakGATTCharacteristic | BleakGATTDescriptor, policy: Policy
) -> bytes:
    """The value of a characteristic or a descriptor, asked for over the air."""
    async with asyncio.timeout(policy.answer):
        if isinstance(what, BleakGATTDescriptor):
            return bytes(await client.read_gatt_descriptor(what))
        return bytes(await client.read_gatt_char(what))


async def write(client: BleakClient, handle: int, data: bytes, policy: Policy) -> None:
    """Send bytes to a characteristic, in as many pieces as the connection needs."""
    target = client.services.get_characteristic(handle)
    if target is None:
        raise BleakError("the characteristic is gone")
    most = target.max_write_without_response_size
    async with asyncio.timeout(policy.answer):
        for start in range(0, len(data), most):
            await client.write_gatt_char(
                target, data[start : start + most], response="write" in target.properties
            )


async def subscribe(
    client: BleakClient, handle: int, policy: Policy, heard: Callable[[bytes], None]
) -> None:
    """Have `heard` called with each value that the characteristic sends from now on."""
    async with asyncio.timeout(policy.answer):
        await client.start_notify(handle, lambda _, data: heard(bytes(data)))


async def advertisements(seconds: float) -> dict[str, tuple[BLEDevice, AdvertisementData]]:
    """By address, the devices heard within so many seconds, each with its newest announcement."""
    async with radio(), BleakScanner() as scanner:
        await asyncio.sleep(seconds)
        return dict(scanner.discovered_devices_and_advertisement_data)


def appearance(announced: AdvertisementData) -> int | None:
    """What the device announces itself as; None where the system does not pass it on."""
    for part_of in announced.platform_data:
        if isinstance(part_of, dict):
            value: Any = part_of.get("Appearance")
            return value if isinstance(value, int) else None
    return None
