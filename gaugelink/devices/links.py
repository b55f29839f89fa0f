"""Which link a port's name stands for, and what comes over it."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence

from gaugelink.devices import bluetooth, recording, replay_link
from gaugelink.devices.description import Description, LinkSettings
from gaugelink.devices.link import Link, LinkError
from gaugelink.devices.recognise import best, recognise
from gaugelink.devices.serial_link import SerialLink

OpenLink = Callable[[str, LinkSettings], Link]
"""How a port is opened: `open_link`, or what a test gives in its place."""


def open_link(port: str, settings: LinkSettings) -> Link:
    """The link, not yet opened: `replay:FILE` plays a recording, `ble:ADDRESS` is a Bluetooth
    device, all else is a serial port.

    LinkError for a name that cannot stand for any.
    """
    if port.startswith(replay_link.PREFIX):
        return replay_link.replay_of(port)
    if bluetooth.is_bluetooth(port):
        from gaugelink.devices.bluetooth.link import BluetoothLink

        return BluetoothLink(port, settings)
    return SerialLink(port, settings)


def as_carried(port: str, description: Description) -> Description:
    """The description as it holds over that port: Bluetooth has no line settings."""
    if not bluetooth.is_bluetooth(port):
        return description
    from gaugelink.devices.bluetooth.offers import over_bluetooth

    return over_bluetooth(description)


def when_charged(link: Link, told: Callable[[int], None]) -> None:
    """Have `told` called with the battery's charge in percent, over a link that tells of one."""
    if bluetooth.is_bluetooth(link.port):
        from gaugelink.devices.bluetooth.link import BluetoothLink

        if isinstance(link, BluetoothLink):
            link.on_battery = told


def when_identified(link: Link, identity: str, told: Callable[[str, str], None]) -> None:
    """Have a link look for the device of that identity, wherever it is plugged in, and `told`
    called with the identity and the port whenever it has opened one that the system can tell
    apart; over a link that knows of such things."""
    if isinstance(link, SerialLink):
        link.identity = identity
        link.on_identified = told


async def describe(
    port: str, known: Sequence[Description], open_port: OpenLink = open_link
) -> Description:
    """The known description that fits what comes over a port; LinkError says what was tried."""
    if port.startswith(replay_link.PREFIX):
        return await asyncio.to_thread(_describe_recording, port, known)
    if bluetooth.is_bluetooth(port):
        from gaugelink.devices.bluetooth.recognise import recognise as ask_the_device

        return await ask_the_device(port, known)
    return await recognise(port, known, open_port)


def _describe_recording(port: str, known: Sequence[Description]) -> Description:
    try:
        played = recording.load(replay_link.replay_of(port).file)
    except recording.RecordingError as error:
        raise LinkError(str(error)) from error
    for description in known:
        if description.name == played.header.description:
            return description
    found = best(list(known), list(played.chunks()))
    if found is None:
        raise LinkError(f"{port}: none of the described formats fits; name its --description")
    return found
