"""Input devices made of FIFOs, for python-evdev to open as if the kernel had made them.

Only the ioctls are answered in the kernel's place, which a FIFO has not: what the device is called,
and that it may be grabbed. All else is evdev's own: its constructor opens the file, and its C code
reads and decodes the bytes of `struct input_event`.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Iterable
from pathlib import Path

import pytest
from evdev import _input, ecodes  # type: ignore[attr-defined]

from simulators.pedals import Edge, input_events


class InputFolder:
    """A folder like /dev/input. Devices are plugged in and pulled out again."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.path = folder
        self.names: dict[str, str] = {}
        self.grabbed: list[str] = []
        self.held_by_another: set[str] = set()
        self._writers: dict[str, int] = {}
        info = {
            "ioctl_devinfo": lambda fd: (3, 1, 1, 1, self._name_of(fd), "", ""),
            "ioctl_EVIOCGVERSION": lambda fd: 0x010001,
            "ioctl_capabilities": lambda fd: {ecodes.EV_KEY: [ecodes.KEY_PAGEDOWN]},
            "ioctl_EVIOCGEFFECTS": lambda fd: 0,
            "ioctl_EVIOCGRAB": self._grab,
        }
        for name, answer in info.items():
            assert hasattr(_input, name)
            monkeypatch.setattr(_input, name, answer)

    def _file(self, fd: int) -> str:
        return Path(os.readlink(f"/proc/self/fd/{fd}")).name.removesuffix(" (deleted)")

    def _name_of(self, fd: int) -> str:
        file = self._file(fd)
        if file not in self.names:
            raise OSError(errno.ENOTTY, "Inappropriate ioctl for device")
        return self.names[file]

    def _grab(self, fd: int, grab: int) -> None:
        assert grab == 1
        file = self._file(fd)
        if file in self.held_by_another:
            raise OSError(errno.EBUSY, "Device or resource busy")
        self.grabbed.append(file)

    def plug(self, file: str, name: str) -> str:
        path = self.path / file
        os.mkfifo(path)
        self.names[file] = name
        self._writers[file] = os.open(path, os.O_RDWR)
        return str(path)

    def pull(self, file: str) -> None:
        """Its file goes, and whoever reads it comes to the end. A real one says ENODEV."""
        (self.path / file).unlink()
        os.close(self._writers.pop(file))

    def send(self, file: str, data: bytes) -> None:
        os.write(self._writers[file], data)

    def press(self, file: str, edges: Iterable[Edge], key: int = ecodes.KEY_PAGEDOWN) -> None:
        self.send(file, input_events(edges, key))

    def close(self) -> None:
        for file in list(self._writers):
            self.pull(file)
