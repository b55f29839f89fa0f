"""A Bluetooth LE device as a `Link`: each value that it sends is one chunk."""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from gaugelink.devices.bluetooth import address_of, offers
from gaugelink.devices.bluetooth.offers import Offer
from gaugelink.devices.bluetooth.policy import Policy
from gaugelink.devices.description import LinkSettings
from gaugelink.devices.link import Chunk, LinkError

if TYPE_CHECKING:
    from bleak import BleakClient

LOST = "the connection was lost; is it switched on and near?"


class BluetoothLink:
    """The characteristic of a Bluetooth device that carries its value.

    `settings.characteristic` names it; without it the device's own presentation, or else its
    UART-like service, says which. `on_battery` is told the battery's charge, in percent, whenever
    it is learnt, if the device has one to tell of.
    """

    def __init__(
        self,
        port: str,
        settings: LinkSettings,
        clock: Callable[[], float] = time.monotonic,
        policy: Policy | None = None,
        on_battery: Callable[[int], None] = lambda percent: None,
    ) -> None:
        self._port = port
        self._settings = settings
        self._clock = clock
        self._policy = policy or Policy()
        self.on_battery = on_battery
        self.offers: Sequence[Offer] = ()
        """What the device offered when the link was last opened."""
        self._client: BleakClient | None = None
        self._question: Offer | None = None
        self._queue: asyncio.Queue[Chunk | LinkError] = asyncio.Queue()
        self._watching: asyncio.Task[None] | None = None
        self._heard = 0

    @property
    def port(self) -> str:
        return self._port

    @property
    def can_be_asked(self) -> bool:
        """Whether the open link has somewhere to write a question to."""
        return self._question is not None

    async def open(self) -> None:
        """Connect, find the characteristic and subscribe; LinkError says what stands in the way."""
        from gaugelink.devices.bluetooth import session

        address = address_of(self._port)
        if not address:
            raise LinkError(f"{self._port}: names no device; give ble: and its address")
        # Each connection has a queue of its own: what a lost one still says is not this one's.
        queue: asyncio.Queue[Chunk | LinkError] = asyncio.Queue()
        self._queue = queue

        def lost() -> None:
            queue.put_nowait(LinkError(f"{self._port}: {LOST}"))

        def heard(value: bytes) -> None:
            self._heard += 1
            if value:
                queue.put_nowait(Chunk(value, self._clock()))

        policy = self._policy
        self._client = client = await session.connect(self._port, address, policy, lost)
        try:
            found = self.offers = await session.offers(self._port, client, policy)
            value = offers.chosen(found, self._settings.characteristic)
            if value is None:
                wanted = self._settings.characteristic
                raise LinkError(
                    f"{self._port}: has no characteristic {wanted or 'that sends values'}; "
                    "let it be recognised, or choose another device"
                )
            self._question = offers.question_to(found, value)
            with session.explained(f"{self._port}: could not subscribe", policy.answer):
                await session.subscribe(client, value.handle, policy, heard)
            await self._subscribe_to_battery(client)
        except BaseException:
            await self.close()
            raise
        self._watching = asyncio.create_task(self._watch(client, value, address, lost))

    async def _subscribe_to_battery(self, client: BleakClient) -> None:
        """Learn the battery's charge, now and when it changes; a device that will not say is fine.

        A connection that is lost meanwhile is told of by the next read.
        """
        from gaugelink.devices.bluetooth import session

        with contextlib.suppress(*session.FAILURES):
            battery = session.battery(client)
            if battery is None:
                return
            if "read" in battery.properties:
                self._battery(await session.read(client, battery, self._policy))
            if "notify" in battery.properties:
                await session.subscribe(client, battery.handle, self._policy, self._battery)

    def _battery(self, value: bytes) -> None:
        if len(value) == 1 and value[0] <= 100:
            self.on_battery(value[0])

    async def _watch(
        self, client: BleakClient, value: Offer, address: str, lost: Callable[[], None]
    ) -> None:
        """Whenever it has been quiet, ask whether the device is still there.

        A radio that goes away without a word, and a device that the system has forgotten, are told
        of by nothing else.
        """
        from gaugelink.devices.bluetooth import session

        while True:
            before = self._heard
            await asyncio.sleep(self._policy.quiet)
            if self._heard != before:
                continue
            try:
                alive = await self._is_there(client, value, address)
            except session.REFUSED:
                alive = True  # to refuse is an answer too
            except session.FAILURES:
                alive = False
            if not alive:
                lost()
                return

    async def _is_there(self, client: BleakClient, value: Offer, address: str) -> bool:
        """Read something over the air, but never the value: that could pass for a new reading."""
        from gaugelink.devices.bluetooth import session

        battery = session.battery(client)
        if battery is not None and "read" in battery.properties:
            self._battery(await session.read(client, battery, self._policy))
            return True
        measured = client.services.get_characteristic(value.handle)
        for descriptor in measured.descriptors if measured is not None else ():
            await session.read(client, descriptor, self._policy)
            return True
        return await session.still_connected(address)

    async def read(self) -> Chunk:
        item = await self._queue.get()
        if isinstance(item, LinkError):
            # A lost connection stays lost: whoever reads on is told so again.
            self._queue.put_nowait(item)
            raise item
        return item

    async def write(self, data: bytes) -> None:
        client, question = self._client, self._question
        if client is None:
            raise LinkError(f"{self._port}: not open")
        if question is None:
            raise LinkError(f"{self._port}: takes no questions; it sends by itself or not at all")
        from gaugelink.devices.bluetooth import session

        with session.explained(f"{self._port}: could not send", self._policy.answer):
            await session.write(client, question.handle, data, self._policy)

    async def close(self) -> None:
        client, watching = self._client, self._watching
        self._client = self._question = self._watching = None
        if watching is not None:
            watching.cancel()
            await asyncio.wait([watching])
        if client is not None:
            from gaugelink.devices.bluetooth import session

            await session.part(client, self._policy)
