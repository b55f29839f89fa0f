"""What every pedal, switch, key and button comes down to: a press, or a release."""

from __future__ import annotations

import msgspec

from gaugelink.reading import GaugelinkError, Reading

BUTTON = "button"
"""The code of an indicator's own button."""


class PedalError(GaugelinkError):
    """A pedal that cannot be opened, or was lost; the text says why and what to do."""


class PedalEvent(msgspec.Struct, frozen=True):
    """One pedal went down or came up; a switch that bounces sends several of them."""

    source: str
    """The device that it belongs to, by the name that the maker gave it."""
    pedal: str
    """Its code: a key's name in small letters such as `pagedown`, `cts`, `button`."""
    is_down: bool
    at: float
    """Seconds, monotonic."""
    has_release: bool = True
    """Whether the source tells of releases. A terminal does not: it repeats a key that is held."""


def pushed_button(reading: Reading) -> PedalEvent | None:
    """The press that a reading was sent by, None for one that belongs to a stream.

    An indicator sends once when its own button is pressed and says nothing of the release. The
    source is the gauge's name. A walk takes what was pushed by itself; so at a walk this button
    needs no meaning, and elsewhere it may choose from a list.
    """
    if not reading.pushed:
        return None
    return PedalEvent(reading.gauge, BUTTON, True, reading.at, has_release=False)
