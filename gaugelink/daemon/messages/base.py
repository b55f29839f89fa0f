"""What every line from the hub is."""

from __future__ import annotations

import msgspec


class Message(msgspec.Struct, frozen=True, tag_field="is"):
    """What the hub sends."""


class Greeting(Message, frozen=True, tag="greeting"):
    """The first line of a connection."""

    protocol: int
    version: str
    """gaugelink's own version."""
