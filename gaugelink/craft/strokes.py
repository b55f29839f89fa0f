"""Strokes: what one of them takes off, learned zone by zone, and how many are still needed.

A pass over a place takes off its strokes times a rate, and scatters about that. The rate is learned
by a regression through the origin (see `regression`), from a belief that the style states.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import msgspec

from gaugelink.craft.measured import CraftError
from gaugelink.craft.regression import Belief, StudentT, believed
from gaugelink.craft.rules import Scraping

MOST = 200
"""More strokes than this in one go are never advised: measure in between."""

FEWEST_LEARNED = 2
"""Passes over a zone before its rate counts as learned."""

NEWEST = 3
"""Passes that count as the newest when the knife is judged."""

FEWEST_EARLIER = 3
"""Passes that must have gone before them."""

SURE = 0.95
"""The probability at which the knife is said to take less than before."""

LIKELY = 0.05
"""The chance left out at either end of a stated span."""

KNIFE_SPREAD = 0.5
"""Standard deviation of how a knife may take more or less than it was learned to; 1 is no change.
An assumption, no source."""


class Pass(msgspec.Struct, frozen=True):
    """What came of some strokes over a zone, between two measurements of one place."""

    zone: str
    strokes: int
    removed: float
    """Hundredths; negative when the second value came out thicker, which scatter can do."""


class Rate(msgspec.Struct, frozen=True):
    """What a stroke takes off in a zone."""

    zone: str
    per_stroke: float
    """Hundredths, the middle of the belief."""
    uncertainty: float
    """Its standard deviation."""
    passes: int
    """From how many it was learned."""
    belief: Belief

    @property
    def learned(self) -> bool:
        """Whether it rests on the maker's own strokes."""
        return self.passes >= FEWEST_LEARNED

    @property
    def text(self) -> str:
        """In words."""
        how = f"from {self.passes} passes" if self.learned else "assumed, until strokes are counted"
        return f"{self.zone}: {self.per_stroke:.2f} ± {2 * self.uncertainty:.2f} a stroke, {how}"


class Strokes(msgspec.Struct, frozen=True):
    """How many strokes a place still needs."""

    likely: int
    """The most that are more likely than not to stay short of it, or to reach it just so."""
    safe: int
    """The most that stay within the maker's risk of going under; measure after these."""
    low: int
    """With fewer it is hardly reached, with a chance of 1 in 20."""
    high: int | None
    """With as many it is reached, but for a chance of 1 in 20; None beyond `MOST`."""

    @property
    def text(self) -> str:
        """In words."""
        if not self.safe:
            return "no stroke is safe: measure again, and trust your ear"
        most = f"{self.high}" if self.high is not None else "many"
        return f"about {self.likely} strokes ({self.low} to {most}); measure after {self.safe}"


class Knife(msgspec.Struct, frozen=True):
    """How the newest strokes compare with those before them."""

    chance: float
    """The probability that a stroke takes less than it did."""
    share: float
    """What it takes now, as a share of what it took; the middle of the belief."""

    @property
    def dull(self) -> bool:
        """Whether that is sure enough to say."""
        return self.chance >= SURE

    @property
    def text(self) -> str:
        """In words; empty when there is nothing to say."""
        if not self.dull:
            return ""
        share, sure = 100 * self.share, 100 * self.chance
        return (
            f"a stroke takes about {share:.0f} % of what it took ({sure:.0f} % sure): "
            "the knife may want sharpening"
        )


def assumed(zone: str, rule: Scraping) -> Rate:
    """The rate of a zone before any of its strokes were counted."""
    return _rate(
        zone, believed([rule.per_stroke], [rule.per_stroke_spread], rule.scatter, rule.worth), 0
    )


def learn(passes: Sequence[Pass], rule: Scraping) -> dict[str, Rate]:
    """The rate of every zone that was passed over, by name, from all passes at once.

    Raises CraftError for a pass without strokes or with a removal that is not finite.
    """
    zones: dict[str, list[Pass]] = {}
    for each in passes:
        _check(each)
        zones.setdefault(each.zone, []).append(each)
    return {
        zone: _rate(
            zone,
            assumed(zone, rule).belief.learned(
                [[each.strokes] for each in inside], [each.removed for each in inside]
            ),
            len(inside),
        )
        for zone, inside in zones.items()
    }


def strokes(rate: Rate, remaining: float, room: float, risk: float) -> Strokes:
    """How many strokes take off `remaining` hundredths, and how many are safe.

    `room` is the distance down to the lower limit, in hundredths, `risk` the chance of going past
    it that the maker is ready to take. What k strokes take off is predicted as a Student t
    distribution with the location k·m and the scale s √(1 + k²v), so the chance of reaching a
    depth only grows with k while m is positive. Raises CraftError when the rate is not.
    """
    if not rate.per_stroke > 0:
        raise CraftError(
            f"{rate.zone}: the passes show no removal; check the knife and count strokes anew"
        )
    if not (math.isfinite(remaining) and math.isfinite(room) and 0 < risk < 0.5):
        raise CraftError("strokes need a finite thickness to take and a risk between 0 and 0.5")
    if remaining <= 0:
        return Strokes(0, 0, 0, 0)
    low = _reaching(rate, remaining, LIKELY)
    likely = math.floor(remaining / rate.per_stroke)
    safe = _reaching(rate, room, risk)
    return Strokes(
        min(likely, MOST),
        min(MOST if safe is None else max(0, safe - 1), max(likely, 0), MOST),
        MOST if low is None else low,
        _reaching(rate, remaining, 1 - LIKELY),
    )


def removed_by(rate: Rate, count: int) -> StudentT:
    """What `count` strokes will take off, in hundredths."""
    return rate.belief.at([count], scatter=True)


def knife(
    passes: Sequence[Pass], rule: Scraping, known: Mapping[str, Rate] | None = None
) -> Knife | None:
    """Whether the newest passes of a session take less than those before; None while too few.

    Zones differ, the knife is one: so every pass is set against what its strokes should have
    taken, by the rates in `known` or else by those of the earlier passes. Of the shares that came
    off, one for the earlier passes and one for the newest, both with the same scatter, the
    difference has a Student t distribution. It is asked once for each new pass, so over a long
    session 1 in 20 is no longer the chance of ever being wrong: it is a hint, no proof.
    """
    earlier, newest = passes[:-NEWEST], passes[-NEWEST:]
    if len(earlier) < FEWEST_EARLIER:
        return None
    rates = learn(earlier, rule) | dict(known or {})
    rows, removed = [], []
    for group in (earlier, newest):
        for each in group:
            _check(each)
            rate = rates.get(each.zone) or assumed(each.zone, rule)
            # Where strokes seem to add cane there is no share to speak of.
            if rate.per_stroke <= 0:
                return None
            meant = each.strokes * rate.per_stroke
            rows.append([meant, 0.0] if group is earlier else [0.0, meant])
            removed.append(each.removed)
    prior = believed([1.0, 1.0], [KNIFE_SPREAD, KNIFE_SPREAD], rule.scatter, rule.worth)
    belief = prior.learned(rows, removed)
    before, now = belief.mean
    if before <= 0:
        return None
    return Knife(belief.at([-1.0, 1.0]).chance_below(0.0), max(0.0, now / before))


def _rate(zone: str, belief: Belief, passes: int) -> Rate:
    believed_now = belief.at([1.0])
    return Rate(zone, believed_now.location, believed_now.deviation, passes, belief)


def _reaching(rate: Rate, depth: float, chance: float) -> int | None:
    """The fewest strokes that reach `depth` with more than `chance`; None when `MOST` do not."""

    def reaches(count: int) -> bool:
        return 1 - removed_by(rate, count).chance_below(depth) > chance

    if not reaches(MOST):
        return None
    low, high = 0, MOST
    if reaches(0):
        return 0
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if reaches(middle) else (middle, high)
    return high


def _check(each: Pass) -> None:
    if each.strokes < 1 or not math.isfinite(each.removed):
        raise CraftError(f"{each.zone}: a pass needs a stroke at least and a finite removal")
