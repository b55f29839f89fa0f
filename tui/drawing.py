"""The reed as a drawing in character cells: two blades side by side, tip up, seen from the bark.

Pure: it takes the stations and a size, and returns where every piece of text goes. Heights keep
their order and roughly their distances; stations that would cover each other are moved apart.
How a height is written depends on the longest words that it may come to have, not on those that
it has now, so that a capture never moves what stands around it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

import msgspec

from gaugelink.craft.reed import BLADES, Station
from tui.words import FIRST

Form = Literal["line", "stack", "short", "bare"]
"""How a station is written: value and verdict in a line, one over the other, short, value only."""

FORMS: tuple[Form, ...] = ("line", "stack", "short", "bare")
GUTTER = 4
"""Cells between the blades, for the heights."""
WIDE_GUTTER = 10
"""The same with room for words, such as `70.5 tip`."""
WIDE_FROM = 60
"""Cells across the drawing from which the gutter is wide."""
TAPERED_FROM = 26
"""Cells across a blade from which it is drawn with its taper; a narrower one has none to spare."""
HEAD = 2
"""Rows above the first station: the blade's name and the edge of the tip."""
FOOT = 1
"""Rows below the last: the thread."""
LONGEST_WORD = len("take 12")
LONGEST_BRIEF = len("t12")


class Mark(msgspec.Struct, frozen=True):
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
    first: bool = False
    """To be scraped first, by the advice on the pass that is done."""

    def lines(self, form: Form) -> tuple[str, ...]:
        """Its text, in that form."""
        lead = "▸" if self.here else FIRST if self.first else ""
        value = f"{lead}{self.value}"
        match form:
            case "line":
                return (f"{value} {self.word}".rstrip(),)
            case "stack":
                return (value, self.word)
            case "short":
                return (f"{value}{self.brief}",)
            case "bare":
                return (value,)

    def room(self, form: Form) -> int:
        """Cells across that it may come to need in that form."""
        value = 1 + max(2, len(self.value))
        match form:
            case "line":
                return value + 1 + max(LONGEST_WORD, len(self.word))
            case "stack":
                return max(value, LONGEST_WORD, len(self.word))
            case "short":
                return value + max(LONGEST_BRIEF, len(self.brief))
            case "bare":
                return value


class Spot(msgspec.Struct, frozen=True):
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


class Blade(msgspec.Struct, frozen=True):
    """One blade: its name, and for each row the cells from `left` up to `right`."""

    name: str
    middle: int
    rows: tuple[tuple[int, int, int], ...]
    """Row, first cell, and the cell after the last, from the tip down."""

    @property
    def narrowest(self) -> int:
        """Cells across where it is narrowest."""
        return min((right - left for _, left, right in self.rows), default=0)


class Line(msgspec.Struct, frozen=True):
    """The line of the tip, scratched across both blades."""

    row: int
    label: str
    """For the gutter: `66 tip`, or `66` where there is no room for the word."""
    word: str
    """`tip`, to be written on the line itself, when the label had to do without it."""


class Drawing(msgspec.Struct, frozen=True):
    """The whole reed."""

    width: int
    height: int
    forms: Mapping[float, Form]
    """How the stations of each height are written."""
    blades: tuple[Blade, ...]
    spots: tuple[Spot, ...]
    heights: tuple[tuple[int, str], ...]
    """Row and text of each height in the gutter."""
    line: Line | None
    """None when there is none, or no row to spare for it."""

    def spot_at(self, x: int, y: int) -> Spot | None:
        """The station at a cell, the nearest when two share it."""
        near = [spot for spot in self.spots if spot.covers(x, y)]
        return min(near, key=lambda spot: abs(spot.x + spot.width / 2 - x), default=None)


def draw(
    marks: Sequence[Mark],
    width: int,
    height: int,
    tip_line: float | None = None,
    length: float | None = None,
) -> Drawing:
    """The reed in that many cells, each height in the fullest form in which no stations touch.

    `tip_line` and `length` are heights in millimetres: where the line of the tip goes, and where
    the blades end; None leaves the line out, and lets the blades end at the highest station.
    """
    gutter = WIDE_GUTTER if width >= WIDE_FROM else GUTTER
    blades = _blades(width, height, gutter)
    room = max(0, height - FOOT - HEAD)
    forms = _forms(marks, blades, room)
    rows = _rows(forms, tip_line, length, room)
    line = None if tip_line is None else _line(tip_line, rows, forms, gutter)
    heights = tuple((rows[at], f"{at:g}") for at in forms if line is None or rows[at] != line.row)
    spots = _spots(marks, blades, rows, forms)
    return Drawing(width, height, forms, blades, tuple(spots), heights, line)


def _blades(width: int, height: int, gutter: int) -> tuple[Blade, ...]:
    full = max(1, (width - gutter) // 2)
    found = []
    for index, name in enumerate(BLADES):
        left = index * (full + gutter)
        last = max(HEAD, height - FOOT) - HEAD
        tapered = full >= TAPERED_FROM
        rows = []
        for row in range(HEAD, height - FOOT):
            # A blade is widest at the tip and narrows towards the thread.
            narrower = round((row - HEAD) / max(1, last) * full * 0.08) if tapered else 0
            rows.append((row, left + narrower, left + full - narrower))
        found.append(Blade(name, left + full // 2, tuple(rows)))
    return tuple(found)


def _forms(marks: Sequence[Mark], blades: Sequence[Blade], room: int) -> dict[float, Form]:
    """The form of each height, the highest first."""
    heights = sorted({mark.station.height for mark in marks}, reverse=True)
    found = {at: _form(at, marks, blades) for at in heights}
    if sum(map(_needs, found.values())) <= room:
        return found
    # Not enough rows to put anything over anything: shorter words then, side by side.
    return {at: "short" if form == "stack" else form for at, form in found.items()}


def _form(height: float, marks: Sequence[Mark], blades: Sequence[Blade]) -> Form:
    def fits(form: Form, blade: Blade) -> bool:
        here = [
            mark.room(form)
            for mark in marks
            if mark.station.blade == blade.name and mark.station.height == height
        ]
        return sum(here) + len(here) - 1 <= blade.narrowest

    fitting = (form for form in FORMS if all(fits(form, blade) for blade in blades))
    return next(fitting, FORMS[-1])


def _needs(form: Form) -> int:
    """Rows that a station takes."""
    return 2 if form == "stack" else 1


def _rows(
    forms: Mapping[float, Form], tip_line: float | None, length: float | None, room: int
) -> dict[float, int]:
    """The row of each height: to scale, but far enough apart while there is room."""
    needs = {at: _needs(form) for at, form in forms.items()}
    if tip_line is not None and sum(needs.values()) < room:
        needs.setdefault(tip_line, 1)
    order = sorted(needs, reverse=True)
    if not order:
        return {}
    lowest = order[-1]
    highest = max(order[0], length or order[0])
    most = max(0, room - needs[lowest])
    span = highest - lowest
    found = [round((highest - at) / span * most) if span else most // 2 for at in order]
    # Push apart downwards, then back up from the bottom where that ran out of the drawing.
    for index in range(1, len(order)):
        found[index] = max(found[index], found[index - 1] + needs[order[index - 1]])
    limit = most
    for index in range(len(order) - 1, -1, -1):
        found[index] = max(0, min(found[index], limit))
        limit = found[index] - (needs[order[index - 1]] if index else 0)
    return {at: HEAD + row for at, row in zip(order, found, strict=True)}


def _line(
    tip_line: float, rows: Mapping[float, int], forms: Mapping[float, Form], gutter: int
) -> Line | None:
    if tip_line not in rows:
        return None
    number, word = f"{tip_line:g}", "tip"
    if len(number) + 1 + len(word) <= gutter:
        return Line(rows[tip_line], f"{number} {word}", "")
    # A station on the line leaves no room for a word there.
    return Line(rows[tip_line], number, "" if tip_line in forms else word)


def _spots(
    marks: Sequence[Mark],
    blades: Sequence[Blade],
    rows: Mapping[float, int],
    forms: Mapping[float, Form],
) -> list[Spot]:
    found: list[Spot] = []
    for blade in blades:
        edges = {row: (left, right) for row, left, right in blade.rows}
        for at, form in forms.items():
            here = [m for m in marks if m.station.blade == blade.name and m.station.height == at]
            here.sort(key=lambda mark: mark.station.across)
            beside = (blade.middle, blade.middle + 1)
            left, right = edges.get(rows[at] + _needs(form) - 1, beside)
            found += _spread(here, rows[at], left, right, form)
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
