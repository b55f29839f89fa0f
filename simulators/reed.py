"""A reed of soft wet cane that can be measured anywhere and scraped, but never thickened.

Each blade is a smooth surface (see `surface`), thicker than its targets by what the maker has still
to take off. Each scrape is a smooth cut below it. Water swells it, nights let it grow, a clip takes
its thinnest part, and at any time it crows.
"""

from __future__ import annotations

import math
import random

import msgspec

from gaugelink.craft.lessons import Start
from gaugelink.craft.reed import BLADES, Blade, Station, parse_key
from gaugelink.craft.style import Style
from gaugelink.reading import GaugelinkError
from simulators.cane import GROWTH, RESTING, SORTED, USUAL_FORCE, Cane, Water, pressed
from simulators.crowing import crow, draw_voice
from simulators.knife import Edge, Knife
from simulators.surface import blanks

FALL_ALONG = 0.7
"""Millimetres beyond the scraped heights at which a cut has run out."""

REACH_ACROSS = 0.3
"""How far across, as a share of the half width, a cut reaches to either side."""

LESSON_UNEVEN = 0.1
"""Hundredths of ripple on the reed of a lesson: its state is what the lesson says."""


class PlaceError(GaugelinkError):
    """A place that is not on the cane, or not where it was said to be."""


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
        if beyond >= FALL_ALONG or aside >= self.reach:
            return 0.0
        flat = self.reach / 3
        along = _fall(beyond / FALL_ALONG)
        return self.depth * along * _fall((aside - flat) / (self.reach - flat))


def _fall(share: float) -> float:
    """1 up to a share of 0, falling smoothly to 0 at 1."""
    if share <= 0:
        return 1.0
    return 0.0 if share >= 1 else (1 + math.cos(math.pi * share)) / 2


class Reed:
    """One reed at the beginning of a stage. The same seed gives the same cane and the same knife.

    Raises StyleError when the style has no such stage.
    """

    def __init__(
        self,
        style: Style,
        stage: str,
        seed: int,
        *,
        cane: Cane = SORTED,
        edge: Edge | None = None,
        start: Start | None = None,
    ) -> None:
        """Soaked through, with a sharp knife; `start` is the state of a lesson, if it is one."""
        self._style = style
        if start is not None:
            cane = Cane((start.excess, start.excess), LESSON_UNEVEN, tilt=0.0)
        self._blanks = blanks(style, stage, cane, start, seed)
        self._seed = seed
        self._cuts: list[Cut] = []
        self._known: dict[Station, float] = {}
        self._nights = 0
        self._grown = dict.fromkeys(BLADES, 1.0)
        self._moved: dict[tuple[Blade, str], float] = {}
        self._crows = random.Random(f"{seed}/crow")
        self.knife = Knife(seed, edge)
        self.water = Water()
        self.length = _length(style, stage, start)
        """Millimetres from the bottom of the tube."""
        self._voice = draw_voice(seed)
        if start is not None and start.crow is not None and style.cane is None:
            own = self._voice.own + start.crow - self.crow_truth()
            self._voice = msgspec.structs.replace(self._voice, own=own)

    def place(self, key: str) -> Station:
        """The station that a key names, anywhere on the cane; PlaceError when it is not there."""
        try:
            station = parse_key(key)
        except ValueError as error:
            raise PlaceError(f"{key!r} is not a place such as crossed/53/-0.5") from error
        lengths = self._style.lengths
        if not (lengths.tube < station.height <= self.length and -1 <= station.across <= 1):
            raise PlaceError(
                f"{key} is not on the cane: heights go from {lengths.tube:g} to "
                f"{self.length:g} mm, places across from -1 to 1"
            )
        return station

    def thickness(self, station: Station) -> float:
        """The true thickness at a station as it is now, hundredths; never below 0."""
        if station not in self._known:
            blank = self._blanks[station.blade]
            self._known[station] = blank.at(station.height, station.across)
        taken = sum(cut.at(station) for cut in self._cuts)
        left = self._known[station] + self._moved.get((station.blade, station.side), 0.0) - taken
        return max(0.0, left) * self._grown[station.blade] * self.water.swelling

    def reads(self, station: Station, force: float = USUAL_FORCE) -> float:
        """What a calm spindle of `force` newtons shows there, hundredths; see `cane.pressed`."""
        return pressed(self.thickness(station), force, self.water.moisture)

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

    def scrape(
        self, station: Station, heights: tuple[float, float], strokes: int, pressure: float = 1.0
    ) -> float:
        """Take `strokes` off between two heights, around the station's place across.

        The cut stays on that blade and on that side of the spine. Returns the hundredths that
        are gone at the station itself. Too much is too much: it does not come back.
        """
        before = self.thickness(station)
        aside = abs(station.across)
        reach = REACH_ACROSS if station.side == "middle" else min(REACH_ACROSS, aside)
        depth = self.knife.strokes(strokes, pressure)
        low, high = heights
        self._cuts.append(Cut(station.blade, low, high, station.across, reach, depth))
        return before - self.thickness(station)

    def soak(self, seconds: float) -> None:
        """Into the water for that long."""
        self.water = self.water.soaked(seconds)

    def dry(self, seconds: float) -> None:
        """Out of the water for that long."""
        self.water = self.water.dried(seconds)

    def rest(self) -> None:
        """A night: it dries, grows thicker for good, and each quadrant moves a little."""
        rng = random.Random(f"{self._seed}/night/{self._nights}")
        share = 0.5**self._nights
        self._nights += 1
        for blade in BLADES:
            self._grown[blade] *= 1 + share * rng.uniform(*GROWTH)
            for side in ("left", "right"):
                moved = share * rng.uniform(-RESTING, RESTING)
                self._moved[blade, side] = self._moved.get((blade, side), 0.0) + moved
        self.water = Water(0.0)

    def clip(self, millimetres: float) -> float:
        """Take that much off the end, and with it the thinnest part; the length that is left.

        Raises PlaceError when nothing would be left of the tip.
        """
        left = self.length - millimetres
        if not (millimetres > 0 and left > self._style.lengths.tip_line):
            line = self._style.lengths.tip_line
            raise PlaceError(f"a clip of {millimetres:g} mm leaves no tip above {line:g} mm")
        self.length = left
        return left

    def crow_truth(self) -> float:
        """The cents from the style's goal at which it crows now, without the scatter.

        Raises PlaceError for gouged cane, which does not crow.
        """
        if self._style.cane is not None:
            raise PlaceError("gouged cane does not crow; tie it first")
        return crow(self._style, self.length, self.thickness, self.water.moisture, self._voice)

    def crow(self) -> float:
        """One crow: cents from the style's goal, with the scatter of a crow."""
        return self.crow_truth() + self._crows.gauss(0, self._voice.scatter)


def _length(style: Style, stage: str, start: Start | None) -> float:
    """The reed's length at the beginning of a stage: no shorter than its stations need."""
    chosen = style.stage(stage)
    length = chosen.length or style.lengths.blank
    if start is not None and start.length is not None:
        length = start.length
    return max(length, *(stop.station.height for stop in style.stops(stage)))
