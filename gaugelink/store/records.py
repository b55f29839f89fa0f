"""What the store takes and gives back, as plain values.

Lengths are hundredths of a millimetre. Times are UTC, ISO 8601 with microseconds and a closing Z;
`at` and `monotonic` are seconds on the monotonic clock of the session that wrote them.
"""

from __future__ import annotations

from decimal import Decimal

import msgspec

from gaugelink.craft.soaking import Wetness
from gaugelink.craft.verdict import Verdict

STATES: tuple[str, ...] = (
    "blank",
    "first day",
    "resting",
    "second day",
    "finished",
    "handed over",
    "set aside",
)
"""The states of a reed, in the order in which it goes through them."""

OFF_THE_RACK: tuple[str, ...] = ("handed over", "set aside")
"""The states of a reed that nobody works on any more."""


class ReedRecord(msgspec.Struct, frozen=True):
    """A reed."""

    name: str
    style: str
    batch: str
    state: str
    """One of `STATES`."""
    stage: str
    """The stage it stands at, by name; empty before the first."""
    added_at: str
    changed_at: str
    """When its state, stage or note was last changed."""
    captures: int
    """How many captures there are of it, superseded ones too."""
    note: str = ""


class ReedChange(msgspec.Struct, frozen=True):
    """How a reed stood after something about it had changed."""

    state: str
    stage: str
    note: str
    at: str
    """UTC, unlike the `at` of a capture."""


class WalkRecord(msgspec.Struct, frozen=True):
    """A walk as it was last saved."""

    walk: int
    bench: str
    reed: str
    style: str
    stage: str
    gauge: str
    """The gauge it was begun or last resumed with; each capture has its own."""
    trigger: str
    started_at: str
    changed_at: str
    ended_at: str | None
    state: bytes
    """Where the walk stands: JSON that the store does not look into."""


class NewCapture(msgspec.Struct, frozen=True):
    """A capture to be made durable. Its reed, style and stage are those of its walk."""

    walk: int
    in_pass: int
    station: str
    """The station's key."""
    zone: str
    hundredths: Decimal
    resolution: Decimal
    target: Decimal
    tolerance: Decimal
    verdict: Verdict
    gauge: str
    unit: str
    value: str
    """The digits as sent, in `unit`."""
    contact: int
    at: float
    wet: Wetness = "unknown"
    """Whether the reed counted as wet at that moment."""


class CaptureRecord(msgspec.Struct, frozen=True):
    """A capture as it is kept. Nothing of it ever changes but `superseded_by`."""

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
    unit: str
    value: str
    contact: int
    session: int
    taken_at: str
    at: float
    supersedes: int | None
    """The capture of the same walk, station and pass that this one takes the place of."""
    superseded_by: int | None
    wet: Wetness = "unknown"
    """Whether the reed counted as wet; unknown also of all captures of before schema 3."""


class GaugeRecord(msgspec.Struct, frozen=True):
    """A gauge that has been used, so that it can be connected again by its name."""

    name: str
    port: str
    description: str
    last_used: str
    identity: str = ""
    """What the system tells the device by, wherever it is plugged in; empty when by nothing."""


class SessionRecord(msgspec.Struct, frozen=True):
    """A run of the program that wrote: `at - monotonic` seconds after `started_at` was `at`.

    That holds as long as the machine did not sleep: on some systems the monotonic clock does. So
    each capture has its own UTC time besides.
    """

    session: int
    started_at: str
    monotonic: float
    version: str


class Counts(msgspec.Struct, frozen=True):
    """How much is kept."""

    reeds: int
    walks: int
    captures: int
