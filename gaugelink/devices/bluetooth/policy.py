"""How long each step of a Bluetooth link may take, in one place, each with its reason."""

from __future__ import annotations

import msgspec


class Policy(msgspec.Struct, frozen=True):
    """Time limits; seconds."""

    find: float = 10.0
    """To hear the device. A thrifty one announces itself every few seconds, and is missed at
    times."""
    connect: float = 15.0
    """To connect and to learn what it offers. A device of many services takes several seconds; one
    that is half open never ends."""
    answer: float = 3.0
    """For one question and its answer over the air: a subscription, a read, a write."""
    quiet: float = 5.0
    """Without a value after which the device is asked whether it is still there: its radio may be
    gone without a word, and a maker who waits longer measures nothing."""
    close: float = 2.0
    """To part. Whoever ends the program does not wait for a device that is gone."""
