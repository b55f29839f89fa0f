"""Which Bluetooth devices are near, those that announce themselves as measuring devices first."""

from __future__ import annotations

from collections.abc import Iterable

import msgspec

from gaugelink.devices.bluetooth import port_of
from gaugelink.devices.bluetooth.assigned import APPEARANCES, INDUSTRIAL_MEASUREMENT

LISTEN = 5.0
"""Seconds: most devices announce themselves at least once in it."""


class Near(msgspec.Struct, frozen=True):
    """A Bluetooth device that was heard."""

    address: str
    name: str
    """As it calls itself; empty when it does not."""
    signal: int
    """Strength at this computer in dBm: -40 beside it, -90 far away."""
    appearance: int | None = None
    """Its assigned appearance code, where the system passes it on."""
    services: tuple[str, ...] = ()
    """UUIDs of the services that it announces."""

    @property
    def port(self) -> str:
        """What to give as its port."""
        return port_of(self.address)

    @property
    def measures(self) -> str:
        """What kind of measuring device it says it is; empty when it says no such thing."""
        if self.appearance in APPEARANCES:
            return APPEARANCES[self.appearance]
        return "measuring device" if INDUSTRIAL_MEASUREMENT in self.services else ""


def ordered(devices: Iterable[Near]) -> list[Near]:
    """What announces itself as a measuring device first, then the strongest first."""
    return sorted(devices, key=lambda each: (not each.measures, -each.signal, each.address))


async def scan(seconds: float = LISTEN) -> list[Near]:
    """The devices heard within so many seconds, in order.

    Raises LinkError when there is no Bluetooth to be had, saying why.
    """
    from gaugelink.devices.bluetooth import session

    with session.explained("Bluetooth"):
        heard = await session.advertisements(seconds)
    return ordered(
        Near(
            address=address,
            name=announced.local_name or device.name or "",
            signal=announced.rssi,
            appearance=session.appearance(announced),
            services=tuple(announced.service_uuids),
        )
        for address, (device, announced) in heard.items()
    )
