"""Scrape advice after a pass: what remains at every station, and in which order to take it.

Cane cannot be put back. The thickness of a place is known only as a normal distribution about its
reading, and what a scrape takes off is known only roughly too. So the amount advised is the most
whose chance of leaving the place under the lower limit of its target stays within the maker's risk,
and never more than the reading shows above the target.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from statistics import NormalDist
from typing import Literal

import msgspec

from gaugelink.craft.measured import CraftError, Measured, trusted
from gaugelink.craft.reed import Blade, Station
from gaugelink.craft.rules import Risk, Scraping
from gaugelink.craft.style import Stop
from gaugelink.craft.verdict import Verdict, verdict, zone_verdict

Word = Literal["take", "unsure", "leave", "over", "not measured"]
Side = Literal["left", "middle", "right"]
Patch = tuple[str, Blade, Side]
"""What is scraped in one go: a zone on one side of one blade."""

HINT = "It is advice: your ear and judgement decide."

SLACK = 1e-9
"""Hundredths: what binary floats may add to an amount."""


class StationAdvice(msgspec.Struct, frozen=True):
    """What remains at one station."""

    station: Station
    zone: str
    word: Word
    """`unsure` when it is too thick, but no whole hundredth can be taken within the risk."""
    excess: float | None
    """Hundredths above the target, negative below; None when not measured."""
    verdict: Verdict | None
    """What the reading alone says."""
    take: int
    """Whole hundredths to take, 0 for every word but `take`."""
    chance: float
    """The chance that it is under its lower limit once `take` is gone."""


class Step(msgspec.Struct, frozen=True):
    """One thing to do: scrape a zone on one side of one blade."""

    zone: str
    blade: Blade
    side: Side
    stations: tuple[StationAdvice, ...]
    """All of the patch, in the order of the walk."""
    take: int
    """The most that any of its stations needs; each has its own."""
    before: tuple[str, ...]
    """The zones above it to which the blade falls steeply: they wait for this one."""
    text: str


class ZoneAdvice(msgspec.Struct, frozen=True):
    """How a zone stands on both blades together."""

    zone: str
    verdict: Verdict | None
    """As `zone_verdict` has it; None while something is not measured."""
    take: int
    """The most that is advised at any of its stations."""
    measured: int
    stations: int


class Advice(msgspec.Struct, frozen=True):
    """What remains, whole."""

    steps: tuple[Step, ...]
    """In the order in which to do them."""
    stations: tuple[StationAdvice, ...]
    """In the order of the walk."""
    zones: tuple[ZoneAdvice, ...]
    """In the order of the stage."""

    @property
    def lines(self) -> tuple[str, ...]:
        """All of it in words, a step a line, and whose judgement counts last."""
        open_ones = sum(each.verdict is None for each in self.stations)
        said = [step.text for step in self.steps] or ["nothing to take"]
        if open_ones:
            said.append(f"not measured: {open_ones} of {len(self.stations)} places")
        return (*said, HINT)


def advise(
    stops: Sequence[Stop],
    taken: Mapping[str, Measured],
    uncertainty: float,
    risk: Risk,
    scraping: Scraping,
) -> Advice:
    """What remains at the stops of a stage, worst excess first.

    `taken` has the newest value by station key, `uncertainty` is the standard uncertainty of one
    in hundredths. A place whose blade falls steeply to the next one above it comes before that
    one: blending it moves the step, and what lies above would be measured anew. A place on target
    or under it is never asked to be thinned. Raises CraftError for an impossible uncertainty.
    """
    stations = tuple(_station(stop, taken, uncertainty, risk, scraping) for stop in stops)
    by_key = {each.station.key: each for each in stations}
    patches: dict[Patch, list[StationAdvice]] = {}
    for each in stations:
        patches.setdefault(_patch(each), []).append(each)
    todo = {
        patch: members
        for patch, members in patches.items()
        if any(each.word in ("take", "unsure") for each in members)
    }
    steep = _steep(stops, by_key, taken, scraping.steep)
    waits = {(low, high): fall for (low, high), fall in steep.items() if high in todo}
    steps = tuple(
        _step(
            patch,
            todo[patch],
            {high[0]: fall for (low, high), fall in waits.items() if low == patch},
        )
        for patch in _ordered(todo, set(waits))
    )
    return Advice(steps, stations, _zones(stations))


def safe_take(
    hundredths: float, lower: float, uncertainty: float, removal: float, risk: float
) -> float:
    """The most that may be taken from a place of `hundredths` so that it stays above `lower`.

    The thickness is normal about its reading x with the standard uncertainty u (JCGM 106:2012,
    clause 7), and what is removed is normal about the amount a with r·a, independently. What
    remains is normal about x - a with the variance u² + r²a² (JCGM 100:2008, 5.1.2), and it lies
    under L with a probability of `risk` when x - a - L = z √(u² + r²a²), z being the normal
    quantile of 1 - risk. With m = x - L the smaller root of that quadratic, written so that no
    difference cancels, is

        a = (m² - z²u²) / (m + z √(u² + r² (m² - z²u²)))

    All in hundredths; `removal` is r, a share. 0 when the place may be under already. Raises
    CraftError for a risk not above 0 and below 0.5, or numbers that are not finite.
    """
    if not 0 < risk < 0.5:
        raise CraftError(f"a risk of {risk} is no risk to work by; choose one between 0 and 0.5")
    if not all(map(math.isfinite, (hundredths, lower, uncertainty, removal))):
        raise CraftError("a thickness that is not finite cannot be scraped; measure again")
    z = NormalDist().inv_cdf(1 - risk)
    room = hundredths - lower
    if room <= z * uncertainty:
        return 0.0
    sure = (room - z * uncertainty) * (room + z * uncertainty)
    return sure / (room + z * math.sqrt(uncertainty**2 + removal**2 * sure))


def chance_under(
    hundredths: float, take: float, lower: float, uncertainty: float, removal: float
) -> float:
    """The chance that a place is under `lower` once `take` has been asked for; see `safe_take`."""
    left = hundredths - take
    spread = math.hypot(uncertainty, removal * take)
    if spread == 0:
        return 1.0 if left < lower else 0.0
    return NormalDist(left, spread).cdf(lower)


def whole_take(
    measured: Measured, floor: float, lower: float, uncertainty: float, removal: float, risk: float
) -> int:
    """Whole hundredths to take: never below `floor` by the reading, nor past `safe_take`."""
    value = float(measured.hundredths)
    spread = trusted(measured, uncertainty)
    most = min(value - floor, safe_take(value, lower, spread, removal, risk))
    return max(0, math.floor(most + SLACK))


def _station(
    stop: Stop, taken: Mapping[str, Measured], uncertainty: float, risk: Risk, scraping: Scraping
) -> StationAdvice:
    measured = taken.get(stop.station.key)
    if measured is None:
        return StationAdvice(stop.station, stop.zone, "not measured", None, None, 0, 0.0)
    said = verdict(measured.hundredths, stop.target, stop.tolerance, measured.resolution)
    lower = float(stop.target - stop.tolerance)
    word: Word = said.word
    take = 0
    if said.word == "take":
        take = whole_take(
            measured, float(stop.target), lower, uncertainty, scraping.removal, risk.under
        )
        word = "take" if take else "unsure"
    spread = trusted(measured, uncertainty)
    chance = chance_under(float(measured.hundredths), take, lower, spread, scraping.removal)
    excess = float(measured.hundredths - stop.target)
    return StationAdvice(stop.station, stop.zone, word, excess, said, take, chance)


def _patch(each: StationAdvice) -> Patch:
    return each.zone, each.station.blade, each.station.side


def _worst(members: Iterable[StationAdvice]) -> float:
    """The largest excess of what is to be thinned; what is only unsure comes after all others."""
    excess = [(each.excess or 0.0, each.word) for each in members]
    sure = [amount for amount, word in excess if word == "take"]
    unsure = [amount for amount, word in excess if word == "unsure"]
    return max(sure) if sure else max(unsure) - 1000.0


def _steep(
    stops: Sequence[Stop],
    by_key: Mapping[str, StationAdvice],
    taken: Mapping[str, Measured],
    steep: float,
) -> dict[tuple[Patch, Patch], float]:
    """The falls along a blade that are too steep: from a patch that is to be thinned to the next.

    In hundredths per millimetre. A fall no steeper than that of the targets is meant to be there.
    """
    found: dict[tuple[Patch, Patch], float] = {}
    known = [stop for stop in stops if stop.station.key in taken]
    for stop in known:
        advice, above = by_key[stop.station.key], _above(stop, known)
        if advice.word != "take" or above is None:
            continue
        length = above.station.height - stop.station.height
        values = [taken[each.station.key].hundredths for each in (stop, above)]
        fall = float(values[0] - values[1]) / length
        meant = float(stop.target - above.target) / length
        pair = (_patch(advice), _patch(by_key[above.station.key]))
        if fall > max(steep, meant) and pair[0] != pair[1]:
            found[pair] = max(fall, found.get(pair, 0.0))
    return found


def _above(stop: Stop, known: Sequence[Stop]) -> Stop | None:
    """The next place towards the tip on that side of that blade; never from side to middle."""
    here = stop.station
    higher = [
        each
        for each in known
        if each.station.height > here.height
        and (each.station.blade, each.station.side) == (here.blade, here.side)
    ]
    return min(
        higher,
        key=lambda each: (each.station.height, abs(each.station.across - here.across)),
        default=None,
    )


def _ordered(
    todo: Mapping[Patch, list[StationAdvice]], waits: set[tuple[Patch, Patch]]
) -> list[Patch]:
    """Worst first, but nothing before what it waits for; the order of the stage breaks ties.

    Zones that lie across one another could wait for each other: then the worst goes first.
    """
    left = list(todo)
    found: list[Patch] = []
    while left:
        free = [
            patch for patch in left if not any((other, patch) in waits for other in left)
        ] or left
        best = max(free, key=lambda patch: _worst(todo[patch]))
        found.append(best)
        left.remove(best)
    return found


def _step(patch: Patch, members: list[StationAdvice], steep: Mapping[str, float]) -> Step:
    zone, blade, side = patch
    parts = []
    names = _places(members)
    takes = [
        f"{each.take} at {name}"
        for each, name in zip(members, names, strict=True)
        if each.word == "take"
    ]
    if takes:
        parts.append("take " + ", ".join(takes))
    for word, said in (
        ("unsure", "a little thick, but no amount is safe: measure again at"),
        ("leave", "leave"),
        ("over", "already over, stay off"),
        ("not measured", "not measured yet:"),
    ):
        places = [name for each, name in zip(members, names, strict=True) if each.word == word]
        if places:
            parts.append(f"{said} {', '.join(places)}")
    for above, fall in steep.items():
        parts.append(f"before {above}: the blade falls {fall:.0f} a millimetre there")
    return Step(
        zone,
        blade,
        side,
        tuple(members),
        max(each.take for each in members),
        tuple(steep),
        f"{blade}, {side}, {zone}: {'; '.join(parts)}",
    )


def _places(members: Sequence[StationAdvice]) -> list[str]:
    """The heights, with the place across where that is needed to tell them apart."""
    if len({each.station.across for each in members}) == 1:
        return [f"{each.station.height:g}" for each in members]
    return [f"{each.station.height:g} ({each.station.across:+g})" for each in members]


def _zones(stations: Sequence[StationAdvice]) -> tuple[ZoneAdvice, ...]:
    members: dict[str, list[StationAdvice]] = {}
    for each in stations:
        members.setdefault(each.zone, []).append(each)
    return tuple(
        ZoneAdvice(
            zone,
            zone_verdict(each.verdict for each in inside),
            max(each.take for each in inside),
            sum(each.verdict is not None for each in inside),
            len(inside),
        )
        for zone, inside in members.items()
    )
