"""A foot switch or page-turner as a Linux input device, read directly, through python-evdev.

So the terminal needs no focus. The device is grabbed: what is pressed arrives here and is typed
nowhere else. Only Linux has such devices; elsewhere, and without the extra `pedal`, the terminal's
own keys do.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import time
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING

from gaugelink.capture.pedals.event import PedalError, PedalEvent

if TYPE_CHECKING:
    import evdev

FOLDER = "/dev/input"
"""Where Linux lists its input devices."""

EV_SYN, SYN_DROPPED, EV_KEY = 0, 3, 1
"""Of the kernel's input-event-codes.h."""

UP, DOWN = 0, 1
"""A key's values; 2 is the kernel's own repeat of one that is held, and says nothing new."""

OLDEST = 2.0
"""Seconds. A loop that was busy reads what happened a while ago; more than this is the wall clock
having been set."""


class InputDevice:
    """An input device, by its path or by the name that it gives itself.

    A path below `by-id` and a name stay the same when it is plugged in elsewhere; `event5` may not.
    `name` is what its events are to say. `clock` is monotonic, `wall` the clock that the kernel
    dates events by.
    """

    def __init__(
        self,
        wanted: str,
        name: str = "",
        folder: str = FOLDER,
        clock: Callable[[], float] = time.monotonic,
        wall: Callable[[], float] = time.time,
    ) -> None:
        self._wanted = wanted
        self._name = name or wanted
        self._folder = folder
        self._clock = clock
        self._wall = wall
        self._device: evdev.InputDevice[str] | None = None

    @property
    def name(self) -> str:
        return self._name

    async def open(self) -> None:
        """Open and grab it; PedalError says what stands in the way."""
        # Opening may wait for a device that sleeps. Shielded, so that one which opens just as this
        # task is cancelled is closed, and not left held.
        opening = asyncio.ensure_future(asyncio.to_thread(self._open))
        try:
            self._device = await asyncio.shield(opening)
        except asyncio.CancelledError:
            with contextlib.suppress(PedalError):
                (await opening).close()
            raise

    def _open(self) -> evdev.InputDevice[str]:
        path = self._wanted if "/" in self._wanted else self._path_of(self._wanted)
        library = _evdev()
        try:
            # What is only read needs no right to write, and wakes no lamps.
            device: evdev.InputDevice[str] = library.InputDevice(path, readonly=True)
        except OSError as error:
            raise PedalError(_explain(path, error)) from error
        try:
            device.grab()
        except OSError as error:
            device.close()
            raise PedalError(_explain(path, error)) from error
        return device

    def _path_of(self, name: str) -> str:
        """The path of the device that calls itself so."""
        known = input_devices(self._folder)
        paths = [path for path, title in known.items() if title.casefold() == name.casefold()]
        if len(paths) == 1:
            return paths[0]
        if paths:
            listed = ", ".join(paths)
            raise PedalError(f"{name}: more than one is called so: give a path, one of {listed}")
        listed = ", ".join(sorted(set(known.values()))) or "none that may be read"
        raise PedalError(f"{name}: no input device is called so: plug it in; there are: {listed}")

    async def read(self) -> list[PedalEvent]:
        device = self._device
        if device is None:
            raise PedalError(f"{self._wanted}: not open")
        await _readable(device.fd)
        try:
            events = list(device.read())
        except BlockingIOError:
            return []
        except OSError as error:
            raise PedalError(_explain(self._wanted, error)) from error
        if not events:
            raise PedalError(f"{self._wanted}: it ended; is it plugged in?")
        return self._heard(events)

    def _heard(self, events: list[evdev.InputEvent]) -> list[PedalEvent]:
        now, wall = self._clock(), self._wall()
        found = []
        for event in events:
            if event.type == EV_SYN and event.code == SYN_DROPPED:
                # Which pedals are down is not known any more; opened anew, none is taken to be.
                raise PedalError(f"{self._wanted}: more came than was read; opening it anew")
            if event.type != EV_KEY or event.value not in (UP, DOWN):
                continue
            ago = wall - event.timestamp()
            at = now - ago if 0 <= ago <= OLDEST else now
            found.append(PedalEvent(self._name, code_of(event.code), event.value == DOWN, at))
        return found

    async def close(self) -> None:
        device, self._device = self._device, None
        if device is not None:
            # It lets go of the grab, too. One that has vanished may fail to be closed.
            with contextlib.suppress(OSError):
                device.close()


def code_of(number: int) -> str:
    """The code of a key by its number in the kernel: `pagedown`, `b`, `btn_left`, or `key 777`."""
    from evdev import ecodes

    names = ecodes.keys.get(number, f"key {number}")
    name = names if isinstance(names, str) else names[0]
    return name.lower().removeprefix("key_")


def input_devices(folder: str = FOLDER) -> dict[str, str]:
    """The input devices that may be read: what each calls itself, by path.

    PedalError when python-evdev is not installed.
    """
    library = _evdev()
    found = {}
    for path in sorted(Path(folder).glob("event*")):
        # Devices come and go while they are looked at, and not all may be read.
        with contextlib.suppress(OSError):
            device = library.InputDevice(str(path), readonly=True)
            found[str(path)] = device.name
            device.close()
    return found


def _evdev() -> ModuleType:
    try:
        import evdev
    except ImportError as error:
        raise PedalError(
            "input devices need python-evdev, on Linux: pip install 'gaugelink[pedal]'"
        ) from error
    return evdev


async def _readable(fd: int) -> None:
    """Wait until there is something to read."""
    loop = asyncio.get_running_loop()
    ready = asyncio.Event()
    loop.add_reader(fd, ready.set)
    try:
        await ready.wait()
    finally:
        loop.remove_reader(fd)


def _explain(path: str, error: OSError) -> str:
    """One line that says why a device cannot be had and what to do about it."""
    match error.errno:
        case errno.ENOENT:
            return f"{path}: there is no such input device: plug it in, or give another path"
        case errno.EACCES | errno.EPERM:
            return (
                f"{path}: permission denied: join the group that may read it "
                "(sudo usermod -aG input $USER), then log in again"
            )
        case errno.EBUSY:
            return f"{path}: held by another program: close that one first"
        case errno.ENODEV:
            return f"{path}: it was lost; is it plugged in?"
        case errno.ENOTTY | errno.EINVAL:
            return f"{path}: is no input device: give one of {FOLDER}"
    return f"{path}: cannot be read ({error.strerror or error})"
