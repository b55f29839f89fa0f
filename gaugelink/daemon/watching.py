"""A zone that is watched at a bench while it is scraped, outside the walk.

Each time that the spindle is set down on cane counts once, by the first value that settles; what
already stood when the watch began does not, nor does a spindle that slipped off and back.
"""

from __future__ import annotations

from decimal import Decimal

from gaugelink.capture.settling import Settled
from gaugelink.craft.measured import COVERAGE
from gaugelink.craft.reed import Blade
from gaugelink.craft.style import Style, StyleError, Target
from gaugelink.craft.watching import NEWEST, Trend, Watched, ZoneWatch
from gaugelink.daemon.messages import Tendency, ZoneWatched

REPEATS = 1.0
"""Hundredths: the standard uncertainty of a value that a hand takes again and again at one place,
for repeats differ by about 2 (from memory)."""

STEADY = 1.0
"""Hundredths a minute: where a change as small as this would be told and none is, all is steady."""

SHOWN = 6
"""Newest values that followers are told, at most."""


class Watch:
    """Watches one zone of a stage, on one blade or on either.

    `contact` is the newest of the gauge when the watch begins. StyleError when the stage does not
    measure that zone, or the zone has nothing on that blade.
    """

    def __init__(
        self, style: Style, stage: str, zone: str, blade: Blade | None, contact: int
    ) -> None:
        self._target = _target(style, stage, zone)
        found = style.zone(zone)
        if blade is not None and blade not in found.blades:
            raise StyleError(f"zone {zone} has no station on the {blade} side: watch the other")
        self._title = found.title
        self._blade = blade
        self._walking = style.walking
        self._seen = contact
        self._watch: ZoneWatch | None = None
        self._values: list[Decimal] = []
        self._newest: Watched | None = None

    @property
    def zone(self) -> str:
        """The zone's name."""
        return self._target.zone

    def sees(self, live: Settled) -> bool:
        """Take in what the gauge says now; whether it was one more value of the zone."""
        value = live.value
        if live.standing != "settled" or value is None:
            return False
        if live.contact - live.unlifted <= self._seen:
            return False
        if not self._walking.thinnest <= value <= self._walking.thickest:
            return False
        self._seen = live.contact
        value = _plain(value)
        if self._watch is None:
            target, tolerance = self._target.target, self._target.tolerance
            self._watch = ZoneWatch(self._title, target, tolerance, live.resolution, REPEATS)
        self._values = [*self._values, value][-SHOWN:]
        self._newest = self._watch.feed(live.at, value)
        return True

    def event(self, bench: str, reed: str) -> ZoneWatched:
        """How the zone stands, as followers are told of it."""
        newest = self._newest
        told = self._values[-NEWEST:]
        change = newest.trend if newest else None
        return ZoneWatched(
            bench=bench,
            reed=reed,
            zone=self.zone,
            title=self._title,
            blade=self._blade,
            target=self._target.target,
            tolerance=self._target.tolerance,
            measured=newest.count if newest else 0,
            values=self._values,
            estimate=newest.estimate if newest else None,
            spread=max(told) - min(told) if len(told) > 1 else None,
            remaining=newest.remaining if newest else None,
            verdict=newest.verdict if newest else None,
            tendency=tendency(change),
            per_minute=round(change.per_minute, 2) if change else None,
            per_minute_uncertainty=round(change.uncertainty, 2) if change else None,
            alert=newest.alert if newest else "",
        )


def tendency(trend: Trend | None) -> Tendency:
    """The word for a trend: steady only when a change of note would have been told."""
    if trend is None:
        return "unknown"
    if trend.told:
        return "falling" if trend.per_minute < 0 else "rising"
    return "steady" if COVERAGE * trend.uncertainty <= STEADY else "unknown"


def _target(style: Style, stage: str, zone: str) -> Target:
    targets = style.stage(stage).targets
    for target in targets:
        if target.zone == zone:
            return target
    known = ", ".join(target.zone for target in targets)
    raise StyleError(f"stage {stage} measures no zone {zone!r}; it measures {known}")


def _plain(value: Decimal) -> Decimal:
    """The same thickness without zeros that say nothing: it is read out to people."""
    whole = value.to_integral_value()
    return whole if value == whole else value.normalize()
