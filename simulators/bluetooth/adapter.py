"""The simulated Bluetooth adapter: switched on and off, and listening when it is asked to."""

from __future__ import annotations

import asyncio
import random

from dbus_fast import Message, Variant

from simulators.bluetooth.peer import Peer
from simulators.bluetooth.tree import Answer, Method, Refused, Tree

ADAPTER = "org.bluez.Adapter1"
ROOT = "/org/bluez"
PATH = f"{ROOT}/hci0"
ADDRESS = "02:00:5E:00:00:01"

ANNOUNCED = 0.1
"""Seconds between two announcements of a device: as lively as they come."""

WAVERING = 3
"""dBm by which the signal strength wavers, either way."""


class Adapter:
    """The adapter, in a tree of objects."""

    def __init__(self, tree: Tree, seed: int) -> None:
        self.powered = True
        self.peers: list[Peer] = []
        self._tree = tree
        self._random = random.Random(f"{seed}/signal")
        self._listening: set[str] = set()
        """The programs that have asked it to listen."""
        tree.when_gone(self._forget)

    def appear(self) -> None:
        """Put it into the tree, and let the devices announce themselves to it from now on."""
        methods: dict[str, Method] = {
            f"{ADAPTER}.StartDiscovery": self._start,
            f"{ADAPTER}.StopDiscovery": self._stop,
            f"{ADAPTER}.SetDiscoveryFilter": self._filter,
            f"{ADAPTER}.RemoveDevice": self._remove,
        }
        shown = {
            "Address": Variant("s", ADDRESS),
            "AddressType": Variant("s", "public"),
            "Name": Variant("s", "simulated"),
            "Alias": Variant("s", "simulated"),
            "Class": Variant("u", 0),
            "Powered": Variant("b", True),
            "Discoverable": Variant("b", False),
            "Pairable": Variant("b", False),
            "Discovering": Variant("b", False),
            "UUIDs": Variant("as", []),
            "Roles": Variant("as", ["central", "peripheral"]),
        }
        self._tree.add(ROOT, {}, {})
        self._tree.add(PATH, {ADAPTER: shown}, methods)
        self._tree.begin(self._announcements())

    async def _announcements(self) -> None:
        """Let the devices announce themselves to it, for ever."""
        while True:
            await asyncio.sleep(ANNOUNCED)
            if self._listening:
                for peer in self.peers:
                    wavering = self._random.randint(-WAVERING, WAVERING)
                    peer.announce(peer.identity.signal + wavering)

    def switch(self, on: bool) -> None:
        """Switch it on or off; every connection ends with it."""
        self.powered = on
        if not on:
            for peer in self.peers:
                peer.lose()
            self._listening.clear()
            self._tree.change(PATH, ADAPTER, Discovering=Variant("b", False))
        self._tree.change(PATH, ADAPTER, Powered=Variant("b", on))

    def _forget(self, client: str) -> None:
        if client in self._listening:
            self._stop_for(client)

    async def _start(self, message: Message) -> Answer:
        if not self.powered:
            raise Refused("org.bluez.Error.NotReady", "Resource Not Ready")
        client = message.sender or ""
        if client in self._listening:
            raise Refused("org.bluez.Error.InProgress", "Operation already in progress")
        self._listening.add(client)
        self._tree.change(PATH, ADAPTER, Discovering=Variant("b", True))
        return Answer()

    async def _stop(self, message: Message) -> Answer:
        if not self.powered:
            raise Refused("org.bluez.Error.NotReady", "Resource Not Ready")
        client = message.sender or ""
        if client not in self._listening:
            raise Refused("org.bluez.Error.Failed", "No discovery started")
        self._stop_for(client)
        return Answer()

    def _stop_for(self, client: str) -> None:
        self._listening.discard(client)
        if not self._listening:
            for peer in self.peers:
                peer.unheard()
            self._tree.change(PATH, ADAPTER, Discovering=Variant("b", False))

    async def _filter(self, message: Message) -> Answer:
        """Only Low Energy devices are near: whatever is wished for, they are all there is."""
        if not self.powered:
            raise Refused("org.bluez.Error.NotReady", "Resource Not Ready")
        return Answer()

    async def _remove(self, message: Message) -> Answer:
        for peer in self.peers:
            if peer.known and peer.path == message.body[0]:
                peer.lose()
                peer.vanish()
                return Answer()
        raise Refused("org.bluez.Error.DoesNotExist", "Does Not Exist")
