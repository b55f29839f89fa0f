"""Watching one zone while it is scraped: measured again and again, without a walk.

Fed with settled values one by one, it says how thick the zone is by the newest of them, how that
changes, and once, when the zone comes on target. One value that is far off, a bare tongue or a
spindle that sat askew, moves nothing: the estimate is a median of three.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal
from statistics import median, median_high

import msgspec

from gaugelink.craft.measured import COVERAGE, CraftError
from gaugelink.craft.verdict import Verdict, verdict

NEWEST = 3
"""Values of which the estimate is the median."""

KEPT = 12
"""Values that the trend is read from, at most."""

FEWEST = 4
"""Values that a trend needs."""

LONGEST = 300.0
"""Seconds: older values no longer belong to the same scraping."""

CLEAR = 3.0
"""How many standard uncertainties above the upper limit it must rise before it can come on target
anew, and a hundredth at least: noise about the limit stays within."""


class Trend(msgspec.Struct, frozen=True):
    """How a zone changes."""

    per_minute: float
    """Hundredths; negative as it grows thinner."""
    uncertainty: float
    """Its standard uncertainty."""
    told: bool
    """Whether it is more than its uncertainty explains."""


class Watched(msgspec.Struct, frozen=True):
    """How a zone stands after its newest value."""

    at: float
    """Seconds, monotonic."""
    estimate: Decimal
    """Hundredths."""
    remaining: Decimal
    """Hundredths above the target, negative below."""
    verdict: Verdict
    count: int
    """The values so far."""
    trend: Trend | None
    """None while there are too few values."""
    alert: str
    """Said once, when it comes on target; else empty."""


class ZoneWatch:
    """Watches one zone against its target; all lengths in hundredths of a millimetre."""

    def __init__(
        self,
        zone: str,
        target: Decimal,
        tolerance: Decimal,
        resolution: Decimal,
        uncertainty: float,
    ) -> None:
        """`uncertainty` is the standard uncertainty of one value.

        Raises CraftError when one of the numbers is no amount.
        """
        if not (math.isfinite(uncertainty) and uncertainty >= 0):
            raise CraftError(f"an uncertainty of {uncertainty} hundredths is none; give 0 or more")
        if not (target.is_finite() and tolerance.is_finite() and tolerance >= 0):
            raise CraftError(f"{target} ± {tolerance} is no target; give hundredths")
        if not (resolution.is_finite() and resolution > 0):
            raise CraftError(f"{resolution} is no resolution; give hundredths a digit")
        self._zone = zone
        self._target = target
        self._tolerance = tolerance
        self._resolution = resolution
        self._uncertainty = max(uncertainty, float(resolution) / math.sqrt(12))
        self._values: list[tuple[float, Decimal]] = []
        self._count = 0
        self._armed = True

    @property
    def clear(self) -> Decimal:
        """Hundredths: an estimate above this has clearly left the target."""
        # What `verdict` still leaves: within the tolerance, or less than a whole hundredth.
        left = max(self._tolerance, self._resolution / 2, Decimal(1))
        return self._target + left + Decimal(str(max(1.0, CLEAR * self._uncertainty)))

    def feed(self, at: float, hundredths: Decimal) -> Watched:
        """How the zone stands with one more settled value, taken at `at` seconds.

        Time that steps back begins the trend anew. Raises CraftError for what is not finite.
        """
        if not (math.isfinite(at) and hundredths.is_finite()):
            raise CraftError("a value that is not finite cannot be watched; measure again")
        if self._values and at < self._values[-1][0]:
            self._values.clear()
        self._values.append((at, hundredths))
        self._values = [each for each in self._values[-KEPT:] if at - each[0] <= LONGEST]
        self._count += 1
        newest = [value for _, value in self._values[-NEWEST:]]
        # Of two the thicker: an alert must not rest on one value.
        estimate = median_high(newest)
        said = verdict(estimate, self._target, self._tolerance, self._resolution)
        return Watched(
            at,
            estimate,
            estimate - self._target,
            said,
            self._count,
            trend(self._values, self._uncertainty),
            self._alert(estimate, len(newest), said),
        )

    def _alert(self, estimate: Decimal, known: int, said: Verdict) -> str:
        if estimate > self.clear:
            self._armed = True
        if not self._armed or said.word == "take" or known < 2:
            return ""
        self._armed = False
        if said.word == "over":
            return f"{self._zone}: {said}, put the knife down"
        return f"{self._zone}: on target, {estimate:f}; stop and listen"


def trend(values: Sequence[tuple[float, Decimal]], uncertainty: float) -> Trend | None:
    """The slope of values in hundredths over seconds, or None for too few, or all at one moment.

    The median of the slopes of all pairs (Theil 1950, Sen 1968), which one value far off does not
    tilt. Its uncertainty is that of the least-squares slope, u / √Σ(t - mean t)², times √(π/3), for
    of normal scatter the median of slopes uses 3/π as much (both from memory). u is `uncertainty`,
    or the spread of the values about the line, when that is larger: 1.4826 times the median
    absolute deviation.
    """
    if len(values) < FEWEST:
        return None
    points = [(at, float(value)) for at, value in values]
    slopes = [
        (second[1] - first[1]) / (second[0] - first[0])
        for index, first in enumerate(points)
        for second in points[index + 1 :]
        if second[0] > first[0]
    ]
    middle = math.fsum(at for at, _ in points) / len(points)
    across = math.fsum((at - middle) ** 2 for at, _ in points)
    if not slopes or across == 0:
        return None
    slope = median(slopes)
    off = [value - slope * at for at, value in points]
    level = median(off)
    spread = max(uncertainty, 1.4826 * median(abs(each - level) for each in off))
    error = spread / math.sqrt(across) * math.sqrt(math.pi / 3)
    return Trend(60 * slope, 60 * error, abs(slope) > COVERAGE * error)
