"""What the hub answers besides events: what it keeps, and how it fares."""

from __future__ import annotations

from decimal import Decimal

import msgspec

from gaugelink.craft.soaking import Wetness
from gaugelink.craft.verdict import Verdict
from gaugelink.daemon.messages.base import Message


class ReedRecord(Message, frozen=True, tag="reed"):
    """A reed on the rack."""

    name: str
    style: str
    batch: str
    state: str
    stage: str
    """The stage it stands at, by name; empty before the first."""
    added_at: str
    changed_at: str
    captures: int
    note: str = ""


class CaptureRecord(Message, frozen=True, tag="capture"):
    """A capture as the store keeps it."""

    capture: int
    reed: str
    style: str
    stage: str
    walk: int
    in_pass: int
    station: str
    zone: str
    hundredths: Decimal
    resolution: Decimal
    target: Decimal
    tolerance: Decimal
    verdict: Verdict
    gauge: str
    taken_at: str
    at: float
    superseded_by: int | None
    wet: Wetness = "unknown"
    """Whether the reed counted as wet."""


class History(Message, frozen=True, tag="reed-history"):
    """A reed with all its captures, oldest first."""

    reed: ReedRecord
    captures: list[CaptureRecord]


class StyleSummary(Message, frozen=True, tag="style-summary"):
    """A style in short."""

    name: str
    title: str
    scrape: str
    stages: list[str]
    note: str = ""


class GaugeCounts(msgspec.Struct, frozen=True):
    """How well a gauge is heard."""

    name: str
    port: str
    description: str
    link: str
    readings: int
    per_second: float
    last_heard: float | None
    """Seconds ago."""
    refused: dict[str, int]
    """Frames that became no reading, by reason."""
    last_refused: str
    """The newest of them, its bytes written out."""
    reopened: int
    """How often the link was opened anew."""
    battery: int | None = None
    """Its charge in percent, null when it tells of none."""
    proved_at: str = ""
    """UTC; empty when it was never proved."""
    proof_old: bool = False
    """Whether it was proved too long ago."""


class Diagnosis(Message, frozen=True, tag="diagnosis"):
    """What `gaugelink diagnose` shows."""

    version: str
    protocol: int
    up_for: float
    """Seconds."""
    store: str
    schema: int
    captures: int
    followers: int
    missed: int
    """Readings not delivered to followers that were too slow."""
    gauges: list[GaugeCounts]
