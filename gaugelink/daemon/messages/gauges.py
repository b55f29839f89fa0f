"""What the hub tells of its gauges as it happens."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

import msgspec

from gaugelink.capture.settling import Standing
from gaugelink.daemon.messages.base import Message


class ReadingEvent(Message, frozen=True, tag="reading"):
    """A reading of a gauge, and whether the spindle stands still."""

    gauge: str
    seq: int
    at: float
    hundredths: Decimal
    resolution: Decimal
    unit: str
    value: str
    """The digits as sent, in `unit`."""
    standing: Standing
    settled: Decimal | None
    """The settled value, the median of the still stretch; null while moving."""
    still: float
    """Seconds for which it has stood still."""
    status: str = ""
    pushed: bool = False
    """Sent by the indicator's own button: it says nothing until the next press."""
    missed: int = 0
    """Readings of this gauge that this follower did not get, since the last one it got."""
    contact: int = 0
    """Counts the contacts that the spindle stood in; a new one means that it has been lifted."""
    unlifted: int = 0
    """How many contacts just before this one were of the same visit: it slipped off and back."""


class GaugeEvent(Message, frozen=True, tag="gauge"):
    """A gauge and its link, sent when either changes."""

    name: str
    port: str
    description: str
    """Name of the description, empty while it is being recognised."""
    title: str
    link: Literal["opening", "up", "down"]
    reason: str = ""
    """Why the link is down, and what to do; empty while it is up."""
    retry_in: float = 0.0
    """Seconds until the link is tried again."""
    status: str = ""
    """The indicator's own word, such as `battery low`."""


class RawEvent(Message, frozen=True, tag="raw"):
    """Bytes of a gauge as they came over its link, before anything is made of them."""

    gauge: str
    at: float
    hex: str
    """Two digits a byte."""
    missed: int = 0
    """Bytes of this gauge that this follower did not get, since the last it got."""


class GaugeGone(Message, frozen=True, tag="gauge-gone"):
    """A gauge is let go of, or goes by another name from now on."""

    name: str
    renamed: str = ""
    """Its new name; empty when it is let go of."""


class TeachingEvent(Message, frozen=True, tag="teaching"):
    """What the maker should do while a gauge's format is worked out, or what is being tried."""

    gauge: str
    says: str


class TaughtAnswer(msgspec.Struct, frozen=True):
    """One answer to the question that was left, and the description that it means."""

    says: str
    toml: str
    name: str = ""
    """The usual name for that description."""


class Taught(Message, frozen=True, tag="taught"):
    """What was found out about a gauge's format, or why nothing was. It is not kept yet: `learn`
    keeps it."""

    gauge: str
    failed: str = ""
    """Why nothing was found out, and what was tried; empty when something was."""
    name: str = ""
    """The usual name for such a description."""
    toml: str = ""
    """The description, with the evidence as comments."""
    evidence: tuple[str, ...] = ()
    sure: float = 0.0
    """0 to 1."""
    question: str = ""
    """Asked when the evidence allows several answers; empty otherwise."""
    answers: tuple[TaughtAnswer, ...] = ()
    """The answers to it, the likeliest first."""
