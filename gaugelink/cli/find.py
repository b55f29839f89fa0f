"""`gaugelink find`: what could be connected, and what is."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from typing import TYPE_CHECKING

import click
import msgspec

from gaugelink.cli import common

if TYPE_CHECKING:
    from gaugelink.daemon.messages import GaugeEvent
    from gaugelink.devices.discovery import PortInfo
    from gaugelink.folders import Folders

EVERY = 1.0
"""Seconds between two looks with --follow: soon enough for somebody who has just plugged it in."""


class Found(msgspec.Struct, frozen=True, tag_field="is", tag="port"):
    """A port that an indicator may be at."""

    port: str
    title: str
    usb: str
    serial_number: str
    gauge: str
    """The hub's gauge at it, empty when it has none there."""
    description: str
    """What that gauge is described by."""
    holders: list[str]


class Near(msgspec.Struct, frozen=True, tag_field="is", tag="bluetooth"):
    """A Bluetooth device that was heard."""

    port: str
    name: str
    signal: int
    """Strength here in dBm."""
    measures: str
    """What kind of measuring device it says it is; empty when it says no such thing."""
    gauge: str


class Gone(msgspec.Struct, frozen=True, tag_field="is", tag="gone"):
    """A port that was there and is not any more."""

    port: str


@click.command("find")
@click.option("--follow", is_flag=True, help="Go on looking: say what comes and goes.")
@click.option("--serial-only", is_flag=True, help="Do not look for Bluetooth devices.")
@common.json_option
@click.pass_context
def command(ctx: click.Context, follow: bool, serial_only: bool, as_json: bool) -> None:
    """Show what an indicator may be at: serial ports, then Bluetooth devices near by.

    Of a port, what the system knows of it and who uses it; of a Bluetooth device, its name and
    how strongly it is heard, those first that say they are measuring devices.

    \b
    Example: gaugelink find --follow
    """
    common.run(_find(common.folders_of(ctx), follow, serial_only, as_json))


async def _find(folders: Folders, follow: bool, serial_only: bool, as_json: bool) -> None:
    before: dict[str, Found | Near] = {}
    bluetooth = not serial_only
    while True:
        ports = await _look(folders)
        _say_changes(before, {each.port: each for each in ports}, as_json)
        now: dict[str, Found | Near] = {each.port: each for each in ports}
        if not now and not before and not as_json:
            common.say("no serial port is there: plug the indicator in", err=True)
        if bluetooth:
            devices = await _listen(folders)
            bluetooth = devices is not None
            near = {each.port: each for each in devices or []}
            # A signal strength that wavers is not news.
            known = {
                port: msgspec.structs.replace(was, signal=near[port].signal)
                for port, was in before.items()
                if isinstance(was, Near) and port in near
            }
            _say_changes(known, near, as_json)
            now |= near
        for port in before.keys() - now.keys():
            common.say(common.json_line(Gone(port)) if as_json else f"{port}  gone")
        if not follow:
            return
        before = now
        await asyncio.sleep(EVERY)


def _say_changes(
    before: Mapping[str, Found | Near], now: Mapping[str, Found | Near], as_json: bool
) -> None:
    for port, found in now.items():
        if before.get(port) != found:
            common.say(common.json_line(found) if as_json else _plain(found))


async def _listen(folders: Folders) -> list[Near] | None:
    """The Bluetooth devices near by; None when there is no Bluetooth, with why on stderr."""
    from gaugelink.devices.bluetooth.scan import scan
    from gaugelink.devices.link import LinkError

    try:
        heard = await scan()
    except LinkError as error:
        common.say(f"gaugelink: {error}", err=True)
        return None
    gauges = {gauge.port: gauge.name for gauge in await _gauges(folders)}
    return [
        Near(each.port, each.name, each.signal, each.measures, gauges.get(each.port, ""))
        for each in heard
    ]


async def _look(folders: Folders) -> list[Found]:
    from gaugelink.devices.bluetooth import is_bluetooth
    from gaugelink.devices.discovery import PortInfo, holders, serial_ports

    gauges = {gauge.port: gauge for gauge in await _gauges(folders)}
    ports = await asyncio.to_thread(serial_ports)
    # A port that the system does not list, such as a pseudo-terminal, may be in use all the same.
    listed = {each.port for each in ports}
    ports += [PortInfo(port) for port in gauges if port not in listed and not is_bluetooth(port)]
    held = await asyncio.to_thread(holders, [each.port for each in ports])
    return [_found(each, gauges.get(each.port), held.get(each.port, [])) for each in ports]


def _found(port: PortInfo, gauge: GaugeEvent | None, held: list[str]) -> Found:
    return Found(
        port.port,
        port.title,
        port.usb,
        port.serial_number,
        gauge.name if gauge else "",
        gauge.description if gauge else "",
        held,
    )


async def _gauges(folders: Folders) -> list[GaugeEvent]:
    """The running hub's gauges; none when no hub runs."""
    from gaugelink.daemon.messages import Gauges

    async with common.running_hub(folders) as client:
        return [] if client is None else list(await client.ask(Gauges()))


def _plain(found: Found | Near) -> str:
    if isinstance(found, Near):
        use = f"gauge {found.gauge!r}" if found.gauge else "free"
        what = " ".join(filter(None, (found.name or "no name", found.measures)))
        return f"{found.port:<22} {use:<38} {what}, {found.signal} dBm"
    what = " ".join(filter(None, (found.title, found.usb, found.serial_number)))
    if found.gauge:
        use = f"gauge {found.gauge!r}, {found.description or 'not recognised yet'}"
    elif found.holders:
        use = f"held by {', '.join(found.holders)}"
    else:
        use = "free"
    return f"{found.port:<22} {use:<38} {what}".rstrip()
