"""A reed of soft wet cane that can be measured anywhere and scraped, but never thickened.

Each blade is a smooth surface through control points: a stage's stations, thicker than their
targets by what the maker has still to take off. Each scrape is a smooth cut below it.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Sequence

import msgspec

from gaugelink.craft.reed import BLADES, Blade, Station, parse_key
from gaugelink.craft.style import Style
from gaugelink.reading import GaugelinkError

HALF_WIDTH = 3.5
"""Millimetres from the spine to an edge, to compare a distance across with one along."""

APART = 2.5
"""Millimetres; a zone of another stage shapes the surface no nearer than this to what is shaped."""

EXCESS = (3.5, 7.5)
"""Hundredths above the target at which a stage's zone begins; unevenness and tilt come on top."""

BARK = (8.0, 14.0)
"""Hundredths above its first target of a zone that no stage so far has worked on."""

UNEVEN = 0.4
"""Hundredths: the height of each of two ripples along and across a blade."""

TILT = 0.7
"""Hundredths that one edge may be thicker than the spine, and the other thinner."""

SPINE = (3.0, 6.0)
"""Hundredths of the ridge that is left along the spine between two scraped sides."""

SPINE_WIDTH = 0.16
"""Where across, as a share of the half width, the ridge has fallen to a third."""

PER_STROKE = 0.6
"""Hundredths that a stroke of a sharp knife takes off; each takes a third more or less."""

FALL_ALONG = 0.7
"""Millimetres beyond the scraped heights at which a cut has run out."""

REACH_ACROSS = 0.3
"""How far across, as a share of the half width, a cut reaches to either side."""


class PlaceError(GaugelinkError):
    """A place that is not on the cane, or not where it was said to be."""


class Point(msgspec.Struct, frozen=True):
    """A place on a blade whose thickness is known; hundredths above the spine's ridge."""

    height: float
    across: float
    thickness: float


class Cut(msgspec.Struct, frozen=True):
    """What one scrape took off a blade, around one place across."""

    blade: Blade
    low: float
    high: float
    across: float
    reach: float
    depth: float
    """Hundredths where the cut is deepest."""

    def at(self, station: Station) -> float:
        """Hundredths taken off there."""
        if station.blade != self.blade:
            return 0.0
        beyond = max(self.low - station.height, station.height - self.high, 0.0)
        aside = abs(station.across - self.across)
        flat = self.reach / 3
        along = _fall(beyond / FALL_ALONG)
        return self.depth * along * _fall((aside - flat) / (self.reach - flat))


def _fall(share: float) -> float:
    """1 up to a share of 0, falling smoothly to 0 at 1."""
    if share <= 0:
        return 1.0
    return 0.0 if share >= 1 else (1 + math.cos(math.pi * share)) / 2


class Blank:
    """The uncut surface of one blade."""

    def __init__(self, points: Sequence[Point], ridge: float, rng: random.Random) -> None:
        self._ridge = ridge
        self._tilt = rng.uniform(-TILT, TILT)
        self._ripples = [(rng.uniform(0.5, 1.1), rng.uniform(0, math.tau)) for _ in range(2)]
        self._points = [
            msgspec.structs.replace(point, thickness=point.thickness - self._spine(point.across))
            for point in points
        ]

    def at(self, height: float, across: float) -> float:
        """Hundredths there, before any scrape."""
        weighed = total = 0.0
        for point in self._points:
            distance = _distance(height, across, point.height, point.across)
            # So near that it is the point; also keeps the weight finite.
            weight = 1 / max(distance**2, 1e-9)
            weighed += weight * point.thickness
            total += weight
        (along, start), (aside, begin) = self._ripples
        uneven = math.sin(along * height + start) + math.sin(4 * aside * across + begin)
        return weighed / total + self._spine(across) + UNEVEN * uneven + self._tilt * across

    def _spine(self, across: float) -> float:
        return self._ridge * math.exp(-((across / SPINE_WIDTH) ** 2))


def _distance(height: float, across: float, other_height: float, other_across: float) -> float:
    return math.hypot(height - other_height, HALF_WIDTH * (across - other_across))


class Reed:
    """One reed at the beginning of a stage. The same seed gives the same cane and the same knife.

    Raises StyleError when the style has no such stage.
    """

    def __init__(self, style: Style, stage: str, seed: int) -> None:
        self._style = style
        rng = random.Random(f"{seed}/cane")
        points = _control_points(style, stage, rng)
        self._blanks = {blade: Blank(points[blade], rng.uniform(*SPINE), rng) for blade in BLADES}
        self._knife = random.Random(f"{seed}/knife")
        self._cuts: list[Cut] = []

    def place(self, key: str) -> Station:
        """The station that a key names, anywhere on the cane; PlaceError when it is not there."""
        try:
            station = parse_key(key)
        except ValueError as error:
            raise PlaceError(f"{key!r} is not a place such as crossed/53/-0.5") from error
        lengths = self._style.lengths
        if not (lengths.tube < station.height <= lengths.blank and -1 <= station.across <= 1):
            raise PlaceError(
                f"{key} is not on the cane: heights go from {lengths.tube:g} to "
                f"{lengths.blank:g} mm, places across from -1 to 1"
            )
        return station

    def thickness(self, station: Station) -> float:
        """The true thickness at a station, hundredths; never below 0."""
        taken = sum(cut.at(station) for cut in self._cuts)
        blank = self._blanks[station.blade].at(station.height, station.across)
        return max(0.0, blank - taken)

    def heights(self, station: Station, zone: str) -> tuple[float, float]:
        """The lowest and highest station of the zone that `station` lies in, millimetres.

        The station's own height for an empty zone. Raises StyleError for a zone that the style
        does not have, PlaceError when the station lies above or below it.
        """
        if not zone:
            return station.height, station.height
        heights = self._style.zone(zone).heights
        low, high = min(heights), max(heights)
        if not low <= station.height <= high:
            raise PlaceError(
                f"{station.key} does not lie in {zone}, which goes from {low:g} to {high:g} mm"
            )
        return low, high

    def scrape(self, station: Station, heights: tuple[float, float], strokes: int) -> float:
        """Take `strokes` off between two heights, around the station's place across.

        The cut stays on that blade and on that side of the spine. Returns the hundredths that
        are gone at the station itself. Too much is too much: it does not come back.
        """
        before = self.thickness(station)
        aside = abs(station.across)
        reach = REACH_ACROSS if station.side == "middle" else min(REACH_ACROSS, aside)
        depth = sum(PER_STROKE * self._knife.uniform(2 / 3, 4 / 3) for _ in range(strokes))
        low, high = heights
        self._cuts.append(Cut(station.blade, low, high, station.across, reach, depth))
        return before - self.thickness(station)


def _control_points(style: Style, stage: str, rng: random.Random) -> dict[Blade, list[Point]]:
    """What shapes each blade: this stage's stations, then those of others well away from them."""
    names = [each.name for each in style.stages]
    now = names.index(style.stage(stage).name)
    points: dict[Blade, list[Point]] = {blade: [] for blade in BLADES}
    _add(points, style, stage, EXCESS, rng)
    for earlier in reversed(names[:now]):
        _add(points, style, earlier, (0.0, 0.0), rng)
    for later in names[now + 1 :]:
        _add(points, style, later, BARK, rng)
    return points


def _add(
    points: dict[Blade, list[Point]],
    style: Style,
    stage: str,
    excess: tuple[float, float],
    rng: random.Random,
) -> None:
    """Add a stage's stations at its targets and a seeded excess for each zone of each blade."""
    shaped = {blade: list(points[blade]) for blade in BLADES}
    more: dict[tuple[str, Blade], float] = {}
    for stop in style.stops(stage):
        station = stop.station
        zone = (stop.zone, station.blade)
        if zone not in more:
            more[zone] = rng.uniform(*excess)
        if not _near(station, shaped[station.blade]):
            thickness = float(stop.target) + more[zone]
            points[station.blade].append(Point(station.height, station.across, thickness))


def _near(station: Station, points: Iterable[Point]) -> bool:
    return any(
        _distance(station.height, station.across, point.height, point.across) < APART
        for point in points
    )
