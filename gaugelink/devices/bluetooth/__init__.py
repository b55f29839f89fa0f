"""Indicators over Bluetooth LE, through bleak.

bleak costs as much to import as the rest of a command, so only `session` imports it, and whoever
needs `session` imports that when it is first used. Everything else here is plain data.
"""

from __future__ import annotations

PREFIX = "ble:"
"""What a Bluetooth device's port begins with: `ble:` and its address."""


def is_bluetooth(port: str) -> bool:
    """Whether a port is a Bluetooth device's."""
    return port.startswith(PREFIX)


def port_of(address: str) -> str:
    """The port of the Bluetooth device with this address."""
    return PREFIX + address


def address_of(port: str) -> str:
    """The address in a Bluetooth device's port; empty when there is none in it."""
    return port.removeprefix(PREFIX).strip()
