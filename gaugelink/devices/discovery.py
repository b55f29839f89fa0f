"""Which serial ports there are, what the system knows of them, and who holds them."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Callable, Iterable
from pathlib import Path

import msgspec


class PortInfo(msgspec.Struct, frozen=True):
    """A serial port as the system knows it; what it does not know is empty."""

    port: str
    title: str = ""
    """What the device behind it calls itself."""
    usb: str = ""
    """USB vendor and product, `1a2b:3c4d`."""
    serial_number: str = ""

    @property
    def identity(self) -> str:
        """What stays the same when it is plugged in elsewhere; empty when nothing does."""
        return f"{self.usb}/{self.serial_number}" if self.usb and self.serial_number else ""


Lister = Callable[[], list[PortInfo]]
"""How the ports are listed: `serial_ports`, or what a test says."""


def serial_ports() -> list[PortInfo]:
    """The serial ports of this machine, those with a device first."""
    from serial.tools import list_ports

    found = []
    for each in list_ports.comports():
        usb = f"{each.vid:04x}:{each.pid:04x}" if each.vid is not None else ""
        title = each.description if each.description not in (None, "n/a") else ""
        found.append(PortInfo(each.device, title, usb, each.serial_number or ""))
    return sorted(found, key=lambda each: (not each.usb, each.port))


def holders(ports: Iterable[str]) -> dict[str, list[str]]:
    """The programs that hold each port open, `name (pid)`; empty where the system does not tell.

    Linux shows what each process of this user has open below /proc, and root everybody's.
    """
    if not sys.platform.startswith("linux"):
        return {}
    wanted = {os.path.realpath(port): port for port in ports}
    found: dict[str, list[str]] = {}
    for process in Path("/proc").iterdir():
        if process.name.isdigit() and int(process.name) != os.getpid():
            for device in _open_files(process) & wanted.keys():
                found.setdefault(wanted[device], []).append(f"{_name(process)} ({process.name})")
    return found


def _open_files(process: Path) -> set[str]:
    # Processes end and files are closed while they are looked at; others' may not be looked at.
    found = set()
    with contextlib.suppress(OSError):
        for file in (process / "fd").iterdir():
            with contextlib.suppress(OSError):
                found.add(os.readlink(file))
    return found


def _name(process: Path) -> str:
    try:
        return (process / "comm").read_text().strip()
    except OSError:
        return "a program"


def moved(identity: str, ports: Iterable[PortInfo]) -> str | None:
    """Where the device of an identity is now; None when it is not there, or not the only one."""
    found = [each.port for each in ports if identity and each.identity == identity]
    return found[0] if len(found) == 1 else None
