"""What the hub tells of the walks at its benches as it happens."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

import msgspec

from gaugelink.capture.walk import Trigger, Why
from gaugelink.craft.reed import Blade
from gaugelink.craft.soaking import Wetness
from gaugelink.craft.verdict import LEAVE, Verdict
from gaugelink.daemon.messages.base import Message


class AtBench(Message, frozen=True):
    """What concerns the walk at one bench."""

    bench: str


class StopView(msgspec.Struct, frozen=True):
    """A station of a walk, with what was captured there."""

    station: str
    """Its key, `blade/height/across`."""
    zone: str
    target: Decimal
    tolerance: Decimal
    hundredths: Decimal | None = None
    verdict: Verdict | None = None
    in_pass: int = 0
    """The pass of its newest capture, 0 when there is none."""
    queued: bool = True
    """Belongs to the present pass."""
    skipped: bool = False


class ZoneView(msgspec.Struct, frozen=True):
    """A zone of a walk: all its stations in one verdict, null while some are unmeasured."""

    name: str
    title: str
    verdict: Verdict | None


class Water(msgspec.Struct, frozen=True):
    """Where a reed is, as far as the maker said, and whether it counts as wet."""

    where: Literal["unknown", "in", "out"] = "unknown"
    """In the water, or out of it."""
    wet: Wetness = "unknown"
    """By its time in and out of the water and the style's times; dry when the maker says so."""
    minutes: int = 0
    """Whole minutes since it went in, or came out; 0 when nothing is known."""


class WalkEvent(AtBench, frozen=True, tag="walk"):
    """A walk, whole, sent whenever it changes."""

    gauge: str
    reed: str
    style: str
    stage: str
    title: str
    """The stage's title."""
    note: str
    """What the maker does at this stage."""
    trigger: Trigger
    stops: list[StopView]
    zones: list[ZoneView]
    at_stop: int | None
    """Index in `stops` of the station to measure now; null when the pass is done."""
    next_stop: int | None
    in_pass: int
    paused: bool
    done: int
    """Stations captured or skipped in this pass."""
    of: int
    """Stations in this pass."""
    to_go: int
    """Hundredths still to be taken off, over all stations measured."""
    complete: bool
    """Every station is measured and none has anything left to take."""
    dwell: float
    """Seconds of standing still that make a capture by dwell."""
    still_for: float = 0.0
    """Seconds of standing still after which a reading counts as settled."""
    length: float | None = None
    """The reed's length at this stage, in millimetres from the bottom of the tube, if the style
    says it."""
    tip_line: float | None = None
    """Where the line of the tip is scratched, likewise."""
    after: str = ""
    """The name of the stage that follows, empty after the last."""
    after_title: str = ""
    overnight: bool = False
    """The stage that follows belongs to another day: the reed rests first."""
    water: Water = Water()
    """Told anew with every whole minute."""
    watching: str = ""
    """The name of the zone that is watched meanwhile: nothing is captured. Empty when none is."""

    def stop(self, index: int | None) -> StopView | None:
        """The stop of that index; None for none, and for one that a foreign hub made up."""
        return self.stops[index] if index is not None and 0 <= index < len(self.stops) else None

    def zone_title(self, name: str) -> str:
        """The title of a zone; its name when the walk does not say it."""
        return next((zone.title for zone in self.zones if zone.name == name), name)


class Captured(AtBench, frozen=True, tag="captured"):
    """A capture that is on disk."""

    capture: int
    """Its number in the store."""
    gauge: str
    reed: str
    stage: str
    station: str
    zone: str
    hundredths: Decimal
    resolution: Decimal
    target: Decimal
    tolerance: Decimal
    verdict: Verdict
    in_pass: int
    supersedes: int | None
    """The capture that this one takes the place of, in the same pass."""
    taken_at: str
    """UTC, ISO 8601."""
    at: float
    wet: Wetness = "unknown"
    """Whether the reed counted as wet at that moment."""
    sure: str = ""
    """How far the verdict can be trusted, such as `sure` or `can't tell yet: measure twice more`;
    empty where the gauge was neither proved nor studied."""


class Refused(AtBench, frozen=True, tag="refused"):
    """A press that captured nothing, and why."""

    why: Why
    text: str


class ZoneAlert(AtBench, frozen=True, tag="zone"):
    """A zone has just come on target: every station of it is measured and is to be left.

    While it is watched, it comes on target by what is measured there again and again.
    """

    reed: str
    zone: str
    title: str
    verdict: Verdict = LEAVE
    """Over when a watched zone was below its target before anything was said."""


Tendency = Literal["unknown", "falling", "steady", "rising"]
"""How a watched zone changes: unknown while that cannot be told."""


class ZoneWatched(AtBench, frozen=True, tag="zone-watched"):
    """How a watched zone stands, sent when the watch begins and with every value after it."""

    reed: str
    zone: str
    title: str
    blade: Blade | None
    """Null when either is meant."""
    target: Decimal
    tolerance: Decimal
    measured: int
    """Values since the watch began."""
    values: list[Decimal]
    """The newest of them, in their order."""
    estimate: Decimal | None
    """The median of the newest three; null before the first."""
    spread: Decimal | None
    """How far those lie apart; null before the second."""
    remaining: Decimal | None
    """Hundredths above the target, negative below."""
    verdict: Verdict | None
    tendency: Tendency
    per_minute: float | None
    """Hundredths by which it changes, negative as it grows thinner; null for too few values."""
    per_minute_uncertainty: float | None
    """The standard uncertainty of that."""
    alert: str = ""
    """Said once, when it comes on target; else empty."""


class SoakReminder(AtBench, frozen=True, tag="soak-reminder"):
    """The reed in hand has been out of the water for the style's time: it has to be dipped again.

    Sent once for each time out of the water.
    """

    reed: str
    minutes: int
    """Whole minutes out of the water."""
