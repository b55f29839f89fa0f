"""What a Bluetooth simulator can be told besides what every simulator can.

`peer` counts the indicators from 0, the one that is described first.
"""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from simulators.commands import Command, CommandError, Seconds, Told

Percent = Annotated[int, Meta(ge=0, le=100)]
Which = Annotated[int, Meta(ge=0, le=15)]


class Drop(Told, frozen=True, tag="drop"):
    """End the connection; the device announces itself again at once."""

    peer: Which = 0


class Vanish(Told, frozen=True, tag="vanish"):
    """Let the system forget the device, without a word that its connection has ended."""

    peer: Which = 0


class Hang(Told, frozen=True, tag="hang"):
    """Let its radio go away without a word: connected still, but deaf and mute; or come back."""

    on: bool = True
    peer: Which = 0


class Slow(Told, frozen=True, tag="slow"):
    """Take that long, from the next connection on, to say what it offers."""

    seconds: Seconds
    peer: Which = 0


class HalfOpen(Told, frozen=True, tag="half-open"):
    """Connect from now on, but never say what it offers; or do again."""

    on: bool = True
    peer: Which = 0


class Battery(Told, frozen=True, tag="battery"):
    """Set the battery's charge."""

    percent: Percent
    peer: Which = 0


class SwitchAdapter(Told, frozen=True, tag="adapter"):
    """Switch the computer's own adapter on or off."""

    on: bool


class SendSpecial(Told, frozen=True, tag="special"):
    """Send once the pattern by which a float says that it is no number."""

    means: Literal["not-a-number", "not-at-this-resolution", "above", "below", "reserved"]


RadioCommand = Drop | Vanish | Hang | Slow | HalfOpen | Battery | SwitchAdapter | SendSpecial


def parse(line: bytes | str) -> Command | RadioCommand:
    """The command in one JSON line; CommandError says what is wrong with it."""
    try:
        command: Command | RadioCommand = msgspec.json.decode(line, type=Command | RadioCommand)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise CommandError(f"not a command: {error}") from error
    return command
