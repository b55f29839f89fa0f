"""One simulated device near the adapter: what it announces, offers and sends, and its faults."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from functools import partial
from typing import Any

import msgspec
from dbus_fast import Message, Variant

from gaugelink.devices.bluetooth.assigned import BATTERY_LEVEL, GENERIC_SERVICES
from simulators.bluetooth.gatt import Characteristic, Descriptor, Service
from simulators.bluetooth.tree import Answer, Method, Refused, Tree

DEVICE = "org.bluez.Device1"
SERVICE = "org.bluez.GattService1"
CHARACTERISTIC = "org.bluez.GattCharacteristic1"
DESCRIPTOR = "org.bluez.GattDescriptor1"

MOST = 20
"""Bytes in one notification of the smallest packets: longer text comes in pieces."""

AIR = 0.02
"""Seconds for a question and its answer over the air."""

SUPERVISION = 30.0
"""Seconds after which an unanswered question ends the connection."""


class Identity(msgspec.Struct, frozen=True):
    """What a device announces."""

    address: str
    name: str
    signal: int
    """dBm at the adapter."""
    appearance: int | None = None
    announces: tuple[str, ...] = ()
    """UUIDs of the services that it announces."""


class Peer:
    """A device. It is the port of its indicator: what is sent to it goes out as notifications."""

    def __init__(
        self,
        tree: Tree,
        adapter: str,
        identity: Identity,
        services: tuple[Service, ...],
        value: str = "",
        received: Callable[[bytes], None] = lambda data: None,
        powered: Callable[[], bool] = lambda: True,
        in_pieces: bool = False,
    ) -> None:
        self.identity = identity
        self.path = f"{adapter}/dev_{identity.address.replace(':', '_')}"
        self.discovery = 0.0
        """Seconds that a client takes to learn what it offers."""
        self.half_open = False
        """Whether it connects, and then never says what it offers."""
        self.hung = False
        """Whether its radio has gone without a word: connected still, but deaf and mute."""
        self.connected = False
        self.battery = 100
        self._tree = tree
        self._adapter = adapter
        self._services = services
        self._value = value
        self.received = received
        self._powered = powered
        self._in_pieces = in_pieces
        self._on = True
        self.known = False
        """Whether the system has heard of it, and not forgotten it."""
        self._places: dict[str, str] = {}
        """The path of each characteristic while it is connected, by its UUID."""
        self._listeners: dict[str, set[str]] = {}
        self._resolving: asyncio.Task[None] | None = None
        tree.when_gone(self._forget)

    # As a port of its indicator

    @property
    def plugged(self) -> bool:
        """Whether it is switched on."""
        return self._on

    def plug(self) -> str:
        """Switch it on; its address."""
        self._on = True
        return self.identity.address

    def unplug(self) -> None:
        """Switch it off."""
        self._on = False
        self.lose()

    def send(self, data: bytes) -> None:
        """Notify whoever listens of a new value; lost when no one does."""
        size = MOST if self._in_pieces else max(len(data), 1)
        for start in range(0, len(data), size):
            self._notify(self._value, data[start : start + size])

    def _notify(self, uuid: str, data: bytes) -> None:
        path = self._places.get(uuid)
        if path is not None and self._listeners.get(path) and not self.hung:
            self._tree.change(path, CHARACTERISTIC, Value=Variant("ay", data))

    def set_battery(self, percent: int) -> None:
        """Charge or drain its battery."""
        self.battery = percent
        self._notify(BATTERY_LEVEL, bytes([percent]))

    # On the air

    def announce(self, signal: int) -> None:
        """Be heard by an adapter that listens, if it announces itself at present."""
        if not self._on or self.connected or self.hung:
            return
        if self.known:
            self._tree.change(self.path, DEVICE, RSSI=Variant("n", signal))
            return
        self.known = True
        methods: dict[str, Method] = {
            f"{DEVICE}.Connect": self._connect,
            f"{DEVICE}.Disconnect": self._disconnect,
        }
        self._tree.add(self.path, {DEVICE: self._properties(signal)}, methods)

    def _properties(self, signal: int) -> dict[str, Variant]:
        who = self.identity
        known = {
            "Address": Variant("s", who.address),
            "AddressType": Variant("s", "random"),
            "Alias": Variant("s", who.name or who.address.replace(":", "-")),
            "Adapter": Variant("o", self._adapter),
            "Paired": Variant("b", False),
            "Bonded": Variant("b", False),
            "Trusted": Variant("b", False),
            "Blocked": Variant("b", False),
            "LegacyPairing": Variant("b", False),
            "Connected": Variant("b", False),
            "ServicesResolved": Variant("b", False),
            "UUIDs": Variant("as", list(who.announces)),
            "RSSI": Variant("n", signal),
        }
        if who.name:
            known["Name"] = Variant("s", who.name)
        if who.appearance is not None:
            known["Appearance"] = Variant("q", who.appearance)
        return known

    def unheard(self) -> None:
        """The adapter listens no more: how strong it is is no longer known."""
        self._tree.drop(self.path, DEVICE, "RSSI")

    def lose(self) -> None:
        """The connection ends, and the system notices."""
        if not self.connected:
            return
        self._end()
        self._tree.change(
            self.path, DEVICE, ServicesResolved=Variant("b", False), Connected=Variant("b", False)
        )
        self._withdraw()

    def vanish(self) -> None:
        """The system forgets the device from one moment to the next, without another word."""
        self._end()
        self._withdraw()
        self._tree.remove(self.path)
        self.known = False

    def _end(self) -> None:
        self.connected = False
        self._places.clear()
        self._listeners.clear()
        if self._resolving is not None:
            self._resolving.cancel()
            self._resolving = None

    def _withdraw(self) -> None:
        for path in self._tree.under(self.path):
            self._tree.remove(path)

    def _forget(self, client: str) -> None:
        """A program has left the bus, and listens no more."""
        for listeners in self._listeners.values():
            listeners.discard(client)

    # What is called

    async def _connect(self, message: Message) -> Answer:
        await asyncio.sleep(AIR)
        if not self._powered():
            raise Refused("org.bluez.Error.NotReady", "Resource Not Ready")
        if not self._on or not self._services:
            raise Refused("org.bluez.Error.Failed", "le-connection-timeout")
        if not self.connected:
            self.connected = True
            self._tree.change(self.path, DEVICE, Connected=Variant("b", True))
            self._resolving = self._tree.begin(self._resolve())
        return Answer()

    async def _disconnect(self, message: Message) -> Answer:
        if not self.connected:
            raise Refused("org.bluez.Error.NotConnected", "Not Connected")
        self.lose()
        return Answer()

    async def _resolve(self) -> None:
        await asyncio.sleep(AIR + self.discovery)
        if self.half_open:
            return
        handle = 10
        for service in self._services:
            handle = self._offer(service, handle)
        uuids = [*GENERIC_SERVICES, *(service.uuid for service in self._services)]
        self._tree.change(
            self.path, DEVICE, UUIDs=Variant("as", uuids), ServicesResolved=Variant("b", True)
        )

    def _offer(self, service: Service, handle: int) -> int:
        """Put a service into the tree from that handle on; the handle after it."""
        place = f"{self.path}/service{handle:04x}"
        shown = {
            "UUID": Variant("s", service.uuid),
            "Device": Variant("o", self.path),
            "Primary": Variant("b", True),
            "Includes": Variant("ao", []),
        }
        self._tree.add(place, {SERVICE: shown}, {})
        for characteristic in service.characteristics:
            handle += 1
            path = f"{place}/char{handle:04x}"
            # One for the value and one for the subscription, which the system keeps to itself.
            handle += 2
            self._offer_characteristic(characteristic, path, place)
            for descriptor in characteristic.descriptors:
                handle += 1
                self._offer_descriptor(descriptor, f"{path}/desc{handle:04x}", path)
        return handle + 1

    def _offer_characteristic(self, offered: Characteristic, path: str, service: str) -> None:
        shown: dict[str, Any] = {
            "UUID": Variant("s", offered.uuid),
            "Service": Variant("o", service),
            "Value": Variant("ay", b""),
            "Notifying": Variant("b", False),
            "NotifyAcquired": Variant("b", False),
            "Flags": Variant("as", list(offered.flags)),
            "MTU": Variant("q", MOST + 3),
        }
        calls = {
            "ReadValue": self._read,
            "WriteValue": self._write,
            "StartNotify": self._start_notify,
            "StopNotify": self._stop_notify,
            "AcquireNotify": self._acquire,
        }
        methods: dict[str, Method] = {
            f"{CHARACTERISTIC}.{name}": partial(call, offered) for name, call in calls.items()
        }
        self._places[offered.uuid] = path
        self._tree.add(path, {CHARACTERISTIC: shown}, methods)

    def _offer_descriptor(self, offered: Descriptor, path: str, characteristic: str) -> None:
        shown = {
            "UUID": Variant("s", offered.uuid),
            "Characteristic": Variant("o", characteristic),
            "Value": Variant("ay", b""),
        }

        async def read(message: Message) -> Answer:
            await self._answer_over_the_air()
            return Answer("ay", offered.value)

        self._tree.add(path, {DESCRIPTOR: shown}, {f"{DESCRIPTOR}.ReadValue": read})

    async def _answer_over_the_air(self) -> None:
        if self.hung:
            await asyncio.sleep(SUPERVISION)
            self.lose()
            raise Refused("org.bluez.Error.Failed", "Not connected")
        await asyncio.sleep(AIR)
        if not self.connected:
            raise Refused("org.bluez.Error.Failed", "Not connected")

    async def _read(self, of: Characteristic, message: Message) -> Answer:
        if "read" not in of.flags:
            raise Refused("org.bluez.Error.NotPermitted", "Read not permitted")
        await self._answer_over_the_air()
        if of.uuid == BATTERY_LEVEL:
            return Answer("ay", bytes([self.battery]))
        raise Refused("org.bluez.Error.NotPermitted", "Read not permitted")

    async def _write(self, of: Characteristic, message: Message) -> Answer:
        if "write" not in of.flags:
            raise Refused("org.bluez.Error.NotPermitted", "Write not permitted")
        await self._answer_over_the_air()
        self.received(bytes(message.body[0]))
        return Answer()

    async def _start_notify(self, of: Characteristic, message: Message) -> Answer:
        if "notify" not in of.flags:
            raise Refused("org.bluez.Error.NotSupported", "Operation is not supported")
        await self._answer_over_the_air()
        listeners = self._listeners.setdefault(message.path or "", set())
        if message.sender in listeners:
            raise Refused("org.bluez.Error.InProgress", "Operation already in progress")
        listeners.add(message.sender or "")
        self._tree.change(message.path or "", CHARACTERISTIC, Notifying=Variant("b", True))
        return Answer()

    async def _stop_notify(self, of: Characteristic, message: Message) -> Answer:
        listeners = self._listeners.get(message.path or "", set())
        if message.sender not in listeners:
            raise Refused("org.bluez.Error.Failed", "No notify session started")
        listeners.discard(message.sender or "")
        return Answer()

    async def _acquire(self, of: Characteristic, message: Message) -> Answer:
        """Notifications go through the bus here, as for any client that does not insist."""
        raise Refused("org.bluez.Error.NotSupported", "Operation is not supported")
