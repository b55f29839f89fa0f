"""A simulated indicator: the maker's table on one side, a port that takes bytes on the other.

Whoever owns it calls `tick` once for each sample and `heard` with what came in. The port may be a
pseudo-terminal or a list in a test; nothing here waits or opens anything.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from decimal import Decimal
from typing import Protocol

from gaugelink.devices.description import Description
from gaugelink.reading import GaugelinkError
from simulators.commands import (
    Button,
    Clip,
    Clipped,
    Command,
    CommandError,
    Crow,
    Crowed,
    Cut,
    Done,
    Dry,
    Failed,
    IsThick,
    Lift,
    Noise,
    Place,
    Plugged,
    PressAgain,
    Quit,
    Replug,
    Rest,
    Said,
    Scrape,
    Scraped,
    Sharpen,
    Sleep,
    Soak,
    Stuck,
    Thickness,
    Timed,
    Unplug,
    Visit,
    parse,
)
from simulators.encoding import Encoder, EncodingError
from simulators.scene import Scene

DIGITS = 4
"""Decimal places of a hundredth in what is answered and encoded."""


class Port(Protocol):
    """Where the bytes go."""

    @property
    def plugged(self) -> bool:
        """Whether there is a port at present."""
        ...

    def plug(self) -> str:
        """Open a new port; its path."""
        ...

    def unplug(self) -> None:
        """Take the port away."""
        ...

    def send(self, data: bytes) -> None:
        """Send, or lose, the bytes; never wait. Lost when there is no port."""
        ...


class Indicator:
    """One indicator of a description, steered by commands and by a script."""

    def __init__(
        self,
        description: Description,
        encoder: Encoder,
        scene: Scene,
        port: Port,
        *,
        seed: int,
        rate: float,
        script: Sequence[Timed] = (),
    ) -> None:
        self._description = description
        self._encoder = encoder
        self._scene = scene
        self._port = port
        self._rate = rate
        self._noise = random.Random(f"{seed}/noise")
        self._script = list(script)
        self._sample = 0
        self._silent_until = 0
        self._asked = b""
        self.ended = False
        """Whether it has been told to quit."""

    def tick(self) -> list[Said]:
        """One sample: the script's commands that are due, the value sent, what is to be said."""
        said: list[Said] = []
        now = self._sample / self._rate
        while self._script and self._script[0].at <= now:
            said.append(self.do(self._script.pop(0).command))
        self._sample += 1
        presses = self._scene.tick()
        self.show()
        return [*said, *presses]

    def show(self) -> None:
        """Send what is shown now, if it sends by itself: for one that shares another's scene."""
        if self._description.sends == "stream":
            self._send()

    def heard(self, data: bytes) -> None:
        """Take what the other side sent, in any pieces, and answer each request in it."""
        ask = self._description.ask
        if self._description.sends != "when-asked" or ask is None:
            return
        request = ask.send.encode("latin-1")
        if self._description.link.bits == 7:
            data = bytes(byte & 0x7F for byte in data)
        *asked, rest = (self._asked + data).split(request)
        # What can still be the beginning of a request is all that is kept.
        self._asked = rest[-(len(request) - 1) :] if len(request) > 1 else b""
        for _ in asked:
            self._send()

    def obey(self, line: bytes) -> Said:
        """Do the command in a line and answer it."""
        try:
            command = parse(line)
        except CommandError as error:
            return Failed(str(error))
        return self.do(command)

    def do(self, command: Command) -> Said:
        """Do a command and answer it; what cannot be done is answered with `error`."""
        self._scene.steered()
        try:
            check(command, self._scene, self._description)
            return self._do(command)
        except GaugelinkError as error:
            return Failed(str(error))

    def _do(self, command: Command) -> Said:
        scene, reed = self._scene, self._scene.reed
        match command:
            case Place(key, force):
                scene.place(reed.place(key), force)
            case Visit(key):
                scene.visit(reed.place(key))
            case Lift():
                scene.lift()
            case PressAgain():
                scene.press_again()
            case Stuck(seconds):
                scene.stick(seconds)
            case Scrape(key, strokes, zone, pressure):
                station = reed.place(key)
                removed = reed.scrape(station, reed.heights(station, zone), strokes, pressure)
                return Scraped(station.key, round(removed, DIGITS))
            case Thickness(key):
                station = reed.place(key)
                return IsThick(station.key, round(reed.thickness(station), DIGITS))
            case Sharpen() | Soak() | Dry() | Rest() | Clip() | Crow():
                return self._do_to_reed(command)
            case Quit():
                self.ended = True
            case _:
                return self._do_to_line(command)
        return _done(command)

    def _do_to_reed(self, command: Sharpen | Soak | Dry | Rest | Clip | Crow) -> Said:
        reed = self._scene.reed
        match command:
            case Sharpen():
                reed.knife.sharpen()
            case Soak(seconds):
                reed.soak(seconds)
            case Dry(seconds):
                reed.dry(seconds)
            case Rest():
                reed.rest()
            case Clip(millimetres):
                return Clipped(round(reed.clip(millimetres), DIGITS))
            case Crow():
                return Crowed(round(reed.crow(), 1), round(reed.length, DIGITS))
        return _done(command)

    def _do_to_line(self, command: Button | Unplug | Replug | Cut | Noise | Sleep) -> Said:
        match command:
            case Button():
                self._send()
            case Sleep(seconds):
                self._silent_until = self._sample + round(seconds * self._rate)
            case Replug():
                if self._port.plugged:
                    raise CommandError("the indicator is plugged in already")
                return Plugged(self._port.plug())
            case Noise(count):
                self._port.send(self._noise.randbytes(count))
            case Unplug() | Cut():
                if not self._port.plugged:
                    raise CommandError("the indicator is unplugged already")
                if isinstance(command, Cut):
                    frame = self._frame()
                    self._port.send(frame[: len(frame) // 2])
                self._asked = b""
                self._port.unplug()
        return _done(command)

    def _send(self) -> None:
        if self._sample >= self._silent_until:
            self._port.send(self._frame())

    def _frame(self) -> bytes:
        """The frame for what is shown now; empty when the description has no way to say it."""
        try:
            return self._encoder.encode(Decimal(repr(round(self._scene.value, DIGITS))))
        except EncodingError:
            # Below zero without a sign, or beyond its digits: a real indicator goes silent too.
            return b""


def _done(command: Command) -> Done:
    return Done(str(command.__struct_config__.tag))


def check(command: Command, scene: Scene, description: Description) -> None:
    """Refuse what could not be done at any time: a place off the cane, a zone, no button.

    Raises a GaugelinkError that says why.
    """
    match command:
        case Place(key) | Visit(key) | Thickness(key):
            scene.reed.place(key)
        case Scrape(key, _, zone, _):
            scene.reed.heights(scene.reed.place(key), zone)
        case Button() if description.sends != "on-button":
            raise CommandError(f"{description.name} has no button to send with")
