"""The uncut surface of a blade: smooth, through the stations of a style's stages."""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Sequence

import msgspec

from gaugelink.craft.lessons import Start
from gaugelink.craft.reed import BLADES, Blade
from gaugelink.craft.style import Stop, Style
from simulators.cane import Cane

HALF_WIDTH = 3.5
"""Millimetres from the spine to an edge, to compare a distance across with one along."""

APART = 2.5
"""Millimetres; a zone of another stage shapes the surface no nearer than this to what is shaped."""

BARK = (8.0, 14.0)
"""Hundredths above its first target of a zone that no stage so far has worked on."""

SPINE = (3.0, 6.0)
"""Hundredths of the ridge that is left along the spine between two scraped sides."""

SPINE_WIDTH = 0.16
"""Where across, as a share of the half width, the ridge has fallen to a third."""

NEIGHBOURS = 4.0
"""Millimetres along a blade within which the next place on that side says how the blade falls."""

RUN_OUT = 2.0
"""Millimetres from a place at which half of its fall along the blade counts."""


class Point(msgspec.Struct, frozen=True):
    """A place on a blade whose thickness is known; hundredths above the spine's ridge."""

    height: float
    across: float
    thickness: float
    fall: float = 0.0
    """Hundredths per millimetre towards the tip; negative where it thins."""


class Blank:
    """The uncut surface of one blade.

    Through points of which each has its own fall along the blade, weighted by the inverse square of
    the distance (Shepard 1968, from memory): so a place in the blend, half a millimetre off, is
    thicker or thinner by what the blend falls there.
    """

    def __init__(
        self,
        points: Sequence[Point],
        cane: Cane,
        rng: random.Random,
        gouge: float = 0.0,
        aside: float = 0.0,
    ) -> None:
        """`gouge` is what the gouge changes by, in hundredths, from one end to the other, and
        `aside` how far across, as a share of the half width, the ridge lies."""
        self._ridge = rng.uniform(*SPINE)
        self._tilt = rng.uniform(-cane.tilt, cane.tilt)
        self._ripples = [(rng.uniform(0.5, 1.1), rng.uniform(0, math.tau)) for _ in range(2)]
        self._aside = aside
        self._uneven = cane.uneven
        heights = [point.height for point in points]
        self._top = max(heights)
        self._middle = (min(heights) + max(heights)) / 2
        self._gouge = gouge / max(1.0, max(heights) - min(heights))
        ridged = [
            msgspec.structs.replace(point, thickness=point.thickness - self._spine(point.across))
            for point in points
        ]
        self._points = [msgspec.structs.replace(each, fall=_fall(each, ridged)) for each in ridged]

    def at(self, height: float, across: float) -> float:
        """Hundredths there, before any scrape."""
        weighed = total = 0.0
        # Above the highest place the tip goes on as it is there.
        near = min(height, self._top)
        for point in self._points:
            distance = _distance(near, across, point.height, point.across)
            # So near that it is the point; also keeps the weight finite.
            weight = 1 / max(distance**2, 1e-9)
            fallen = point.fall * (near - point.height) * RUN_OUT / (RUN_OUT + distance)
            weighed += weight * (point.thickness + fallen)
            total += weight
        (along, start), (aside, begin) = self._ripples
        uneven = math.sin(along * height + start) + math.sin(4 * aside * across + begin)
        return (
            weighed / total
            + self._spine(across - self._aside)
            + self._uneven * uneven
            + self._tilt * across
            + self._gouge * (height - self._middle)
        )

    def _spine(self, across: float) -> float:
        return self._ridge * math.exp(-((across / SPINE_WIDTH) ** 2))


def blanks(
    style: Style, stage: str, cane: Cane, start: Start | None, seed: int
) -> dict[Blade, Blank]:
    """Both blades at the beginning of a stage.

    Its own stations are thicker than their targets, those of others shape what lies well away.
    Raises StyleError when the style has no such stage.
    """
    rng = random.Random(f"{seed}/cane")
    names = [each.name for each in style.stages]
    now = names.index(style.stage(stage).name)
    points: dict[Blade, list[Point]] = {blade: [] for blade in BLADES}
    _add(points, style, stage, cane.excess, rng, start)
    for earlier in reversed(names[:now]):
        _add(points, style, earlier, (0.0, 0.0), rng)
    for later in names[now + 1 :]:
        _add(points, style, later, BARK, rng)
    tied = random.Random(f"{seed}/tied")
    # Of one piece, that is folded at the tip: what grows on one blade goes on on the other.
    gouge = tied.uniform(-cane.gouge, cane.gouge)
    gouges: dict[Blade, float] = {"crossed": gouge, "uncrossed": -gouge}
    return {
        blade: Blank(
            points[blade],
            cane,
            rng,
            gouges[blade],
            tied.uniform(-cane.tying, cane.tying) / HALF_WIDTH,
        )
        for blade in BLADES
    }


def _add(
    points: dict[Blade, list[Point]],
    style: Style,
    stage: str,
    excess: tuple[float, float],
    rng: random.Random,
    start: Start | None = None,
) -> None:
    """Add a stage's stations at its targets and a seeded excess for each zone of each blade."""
    shaped = {blade: list(points[blade]) for blade in BLADES}
    more: dict[tuple[str, Blade], float] = {}
    for stop in style.stops(stage):
        station = stop.station
        zone = (stop.zone, station.blade)
        if zone not in more:
            more[zone] = rng.uniform(*excess)
        if not _near(station.height, station.across, shaped[station.blade]):
            thickness = float(stop.target) + (more[zone] if start is None else begun(stop, start))
            points[station.blade].append(Point(station.height, station.across, thickness))


def begun(stop: Stop, start: Start) -> float:
    """Hundredths above its target at which a stop begins in a lesson."""
    return start.excess + sum(off.hundredths for off in start.off if off.covers(stop))


def _near(height: float, across: float, points: Iterable[Point]) -> bool:
    return any(_distance(height, across, point.height, point.across) < APART for point in points)


def _fall(point: Point, points: Iterable[Point]) -> float:
    """How the blade falls at a point, from the next one below to the next one above on its side."""
    beside = [
        each
        for each in points
        if each.across * point.across > 0 or (abs(each.across) < 0.05 > abs(point.across))
    ]
    below = [each for each in beside if point.height - NEIGHBOURS <= each.height < point.height]
    above = [each for each in beside if point.height < each.height <= point.height + NEIGHBOURS]
    if not below or not above:
        return 0.0
    low = max(below, key=lambda each: each.height)
    high = min(above, key=lambda each: each.height)
    return (high.thickness - low.thickness) / (high.height - low.height)


def _distance(height: float, across: float, other_height: float, other_across: float) -> float:
    return math.hypot(height - other_height, HALF_WIDTH * (across - other_across))
