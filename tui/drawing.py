"""The reed as a drawing in character cells: two blades side by side, tip up, seen from the bark.

Pure: it takes the stations and a size, and returns where every piece of text goes. Heights keep
their order and roughly their distances; stations that would cover each other are moved apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from gaugelink.craft.reed import BLADES, Station

Form = Literal["line", "stack", "short", "bare"]
"""How a station is written: value and verdict in a line, one over the other, short, value only."""

FORMS: tuple[Form, ...] = ("line", "stack", "short", "bare")
GUTTER = 4
"""Cells between the blades, for the heights."""
TAPERED_FROM = 26
"""Cells across a blade from which it is drawn with its taper; a narrower one has none to spare."""
HEAD = 2
"""Rows above the first station: the blade's name and the edge of the tip."""
FOOT = 1
"""Rows below the last: the thread."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A station as it is to be written."""

    key: str
    station: Station
    value: str
    """`43`, or a ring when nothing was captured."""
    word: str
    """`take 3`, `here`, `skipped`, or empty."""
    brief: str
    """The word in one or two characters: `t3`, `=`, `o2`."""
    here: bool
    old: bool
    """Captured in an earlier pass, and to be measured again."""

    def lines(self, form: Form) -> tuple[str, ...]:
        """Its text, in that form."""
        value = f"▸{self.value}" if self.here else self.value
        match form:
            case "line":
                return (f"{value} {self.word}".rstrip(),)
            case "stack":
                return (value, self.word)
            case "short":
                return (f"{value}{self.brief}",)
            case "bare":
                return (value,)


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a station stands in the drawing, in cells."""

    mark: Mark
    x: int
    y: int
    lines: tuple[str, ...]

    @property
    def width(self) -> int:
        """Cells that its longest line takes."""
        return max(len(line) for line in self.lines)

    def covers(self, x: int, y: int) -> bool:
        """Whether a click at that cell means this station; the rim of one cell counts too."""
        return self.y <= y < self.y + len(self.lines) and self.x - 1 <= x <= self.x + self.width


@dataclass(frozen=True, slots=True)
class Blade:
    """One blade: its name, and for each row the cells from `left` up to `right`."""

    name: str
    middle: int
    rows: tuple[tuple[int, int, int], ...]
    """Row, first cell, and the cell after the last, from the tip down."""


@dataclass(frozen=True, slots=True)
class Drawing:
    """The whole reed."""

    width: int
    height: int
    form: Form
    blades: tuple[Blade, ...]
    spots: tuple[Spot, ...]
    heights: tuple[tuple[int, str], ...]
    """Row and text of each height in the gutter."""

    def spot_at(self, x: int, y: int) -> Spot | None:
        """The station at a cell, the nearest when two share it."""
        near = [spot for spot in self.spots if spot.covers(x, y)]
        return min(near, key=lambda spot: abs(spot.x + spot.width / 2 - x), default=None)


def draw(marks: Sequence[Mark], width: int, height: int) -> Drawing:
    """The reed in that many cells, in the fullest form in which no two stations touch."""
    blades = _blades(width, height)
    for form in FORMS:
        spots = _spots(marks, blades, height, form)
        if form == FORMS[-1] or _fits(spots, blades, height):
            break
    per = 2 if form == "stack" else 1
    rows = _rows({mark.station.height for mark in marks}, HEAD, height - FOOT, per)
    heights = tuple((row, f"{at:g}") for at, row in rows.items())
    return Drawing(width, height, form, blades, tuple(spots), heights)


def _blades(width: int, height: int) -> tuple[Blade, ...]:
    full = max(1, (width - GUTTER) // 2)
    found = []
    for index, name in enumerate(BLADES):
        left = index * (full + GUTTER)
        last = max(HEAD, height - FOOT) - HEAD
        tapered = full >= TAPERED_FROM
        rows = []
        for row in range(HEAD, height - FOOT):
            # A blade is widest at the tip and narrows towards the thread.
            narrower = round((row - HEAD) / max(1, last) * full * 0.08) if tapered else 0
            rows.append((row, left + narrower, left + full - narrower))
        found.append(Blade(name, left + full // 2, tuple(rows)))
    return tuple(found)


def _rows(heights: set[float], first: int, end: int, per: int) -> dict[float, int]:
    """The row of each height: to scale, but at least `per` rows apart while there is room."""
    order = sorted(heights, reverse=True)
    if not order:
        return {}
    room = max(0, end - first - per)
    span = order[0] - order[-1]
    ideal = [round((order[0] - at) / span * room) if span else room // 2 for at in order]
    # Push apart downwards, then back up from the bottom where that ran out of the drawing.
    for index in range(1, len(ideal)):
        ideal[index] = max(ideal[index], ideal[index - 1] + per)
    limit = room
    for index in range(len(ideal) - 1, -1, -1):
        ideal[index] = max(0, min(ideal[index], limit))
        limit = ideal[index] - per
    return {at: first + row for at, row in zip(order, ideal, strict=True)}


def _spots(marks: Sequence[Mark], blades: Sequence[Blade], height: int, form: Form) -> list[Spot]:
    per = 2 if form == "stack" else 1
    rows = _rows({mark.station.height for mark in marks}, HEAD, height - FOOT, per)
    found: list[Spot] = []
    for blade in blades:
        edges = {row: (left, right) for row, left, right in blade.rows}
        for at, row in rows.items():
            here = [m for m in marks if m.station.blade == blade.name and m.station.height == at]
            here.sort(key=lambda mark: mark.station.across)
            left, right = edges.get(row + per - 1, (blade.middle, blade.middle + 1))
            found += _spread(here, row, left, right, form)
    return found


def _spread(marks: list[Mark], row: int, left: int, right: int, form: Form) -> list[Spot]:
    """Stations of one height, each near its place across, with a cell between them."""
    texts = [mark.lines(form) for mark in marks]
    widths = [max(len(line) for line in lines) for lines in texts]
    middle, half = (left + right) / 2, (right - left) / 2
    xs = [
        round(middle + mark.station.across * half - width / 2)
        for mark, width in zip(marks, widths, strict=True)
    ]
    edge = left
    for index, width in enumerate(widths):
        xs[index] = max(xs[index], edge)
        edge = xs[index] + width + 1
    edge = right
    for index in range(len(xs) - 1, -1, -1):
        xs[index] = min(xs[index], edge - widths[index])
        edge = xs[index] - 1
    return [Spot(mark, x, row, text) for mark, x, text in zip(marks, xs, texts, strict=True)]


def _fits(spots: Sequence[Spot], blades: Sequence[Blade], height: int) -> bool:
    """Whether every station lies on its blade and none touches another."""
    edges = {
        (blade.name, row): (left, right) for blade in blades for row, left, right in blade.rows
    }
    cells: dict[tuple[str, int], list[tuple[int, int]]] = {}
    for spot in spots:
        for row in range(spot.y, spot.y + len(spot.lines)):
            place = (spot.mark.station.blade, row)
            left, right = edges.get(place, (0, 0))
            if spot.x < left or spot.x + spot.width > right:
                return False
            cells.setdefault(place, []).append((spot.x, spot.x + spot.width))
    return all(
        first[1] < second[0]
        for taken in cells.values()
        for first, second in pairwise(sorted(taken))
    )
