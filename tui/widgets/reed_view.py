"""The reed: two blades with their stations, the present one marked; a click goes to a station."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec
from rich.segment import Segment
from rich.style import Style
from textual.events import Click, Resize
from textual.message import Message
from textual.strip import Strip
from textual.widget import Widget

from gaugelink.craft.reed import Station, parse_key
from tui.drawing import Blade, Drawing, Mark, draw
from tui.look import BY_WORD, CANE, DARK, EDGE, FAINT, GROUND, INK, SCRATCH, SPINE, THREAD
from tui.words import first_places, number

if TYPE_CHECKING:
    from gaugelink.daemon.messages import StopView, WalkEvent
    from tui.state import BenchState

_Shown = tuple[tuple[Mark, ...], float | None, float | None]
"""The stations, and the heights of the line of the tip and of the blades' ends."""

MISSING = "○"
BRIEF = {"take": "t", "leave": "=", "over": "o"}


class ReedView(Widget):
    """The reed as far as it has been measured."""

    class Chosen(Message):
        """A station was clicked."""

        def __init__(self, station: str) -> None:
            super().__init__()
            self.station = station

    def __init__(self) -> None:
        super().__init__()
        self._shown: _Shown = ((), None, None)
        self._drawing: Drawing | None = None

    @property
    def drawing(self) -> Drawing:
        """The drawing for the present size."""
        if self._drawing is None:
            marks, tip_line, length = self._shown
            self._drawing = draw(marks, self.size.width, self.size.height, tip_line, length)
        return self._drawing

    def show(self, state: BenchState) -> None:
        """Show the state; painted anew only when a station has changed."""
        walk = state.walk
        shown = (
            (_marks(walk, first_places(state.first_step)), walk.tip_line, walk.length)
            if walk
            else ((), None, None)
        )
        if shown != self._shown:
            self._shown = shown
            self._drawing = None
            self.refresh()

    def on_resize(self, event: Resize) -> None:
        """The drawing depends on the size."""
        self._drawing = None

    def on_click(self, event: Click) -> None:
        """A click on a station goes there."""
        spot = self.drawing.spot_at(event.x, event.y)
        if spot is not None:
            self.post_message(self.Chosen(spot.mark.key))

    def render_line(self, y: int) -> Strip:
        """One row of cells."""
        cells = _Cells(self.size.width)
        for blade in self.drawing.blades:
            self._write_blade(cells, blade, y)
        self._write_gutter(cells, y)
        self._write_spots(cells, y)
        return cells.strip()

    def _write_blade(self, cells: _Cells, blade: Blade, y: int) -> None:
        if y == 0:
            name = f"{blade.name} side"
            style = Style.parse(f"bold {INK} on {GROUND}")
            cells.write(blade.middle - len(name) // 2, name, style)
        if not blade.rows:
            return
        line = self.drawing.line
        for row, left, right in blade.rows:
            if row != y:
                continue
            cells.write(left, " " * (right - left), Style.parse(f"on {CANE}"))
            cells.write(blade.middle, "┊", Style.parse(f"{SPINE} on {CANE}"))
            if line is not None and line.row == y:
                scratch = Style.parse(f"{SCRATCH} on {CANE}")
                cells.write(left, "─" * (right - left), scratch)
                if line.word:
                    cells.write(blade.middle - 2, f" {line.word} ", scratch)
        _, left, right = blade.rows[0] if y == 1 else blade.rows[-1]
        if y == 1:
            cells.write(left, "▄" * (right - left), Style.parse(f"{CANE} on {GROUND}"))
        elif y == self.drawing.height - 1:
            cells.write(left + 2, "▒" * (right - left - 4), Style.parse(f"{THREAD} on {EDGE}"))

    def _write_gutter(self, cells: _Cells, y: int) -> None:
        first, second = self.drawing.blades
        middle = (first.middle + second.middle + 1) // 2
        for row, text in self.drawing.heights:
            if row == y:
                cells.write(middle - len(text) // 2, text, Style.parse(f"{FAINT} on {GROUND}"))
        line = self.drawing.line
        if line is not None and line.row == y:
            style = Style.parse(f"{INK} on {GROUND}")
            cells.write(middle - len(line.label) // 2, line.label, style)

    def _write_spots(self, cells: _Cells, y: int) -> None:
        for spot in self.drawing.spots:
            if not spot.y <= y < spot.y + len(spot.lines):
                continue
            text = spot.lines[y - spot.y]
            mark = spot.mark
            ground = Style.parse(
                f"bold {INK} on {GROUND}" if mark.here or mark.first else f"{DARK} on {CANE}"
            )
            x = spot.x + (spot.width - len(text)) // 2
            if mark.here or mark.first:
                cells.write(spot.x, " " * spot.width, ground)
            if not (mark.here or mark.first) and mark.value != MISSING:
                ground += Style(bold=not mark.old, dim=mark.old)
            cells.write(x, text, ground)
            tail = mark.word if text.endswith(mark.word) else mark.brief
            word = mark.word.partition(" ")[0]
            if tail and word in BY_WORD and text.endswith(tail) and not mark.old:
                style = f"bold {DARK} on {BY_WORD[word]}"
                cells.write(x + len(text) - len(tail), tail, Style.parse(style))


class _Cells:
    """A row of cells that later text overwrites."""

    def __init__(self, width: int) -> None:
        self._text = [" "] * width
        self._style = [Style.parse(f"on {GROUND}")] * width

    def write(self, x: int, text: str, style: Style) -> None:
        for offset, letter in enumerate(text, x):
            if 0 <= offset < len(self._text):
                self._text[offset] = letter
                self._style[offset] = style

    def strip(self) -> Strip:
        pairs = zip(self._text, self._style, strict=True)
        return Strip([Segment(letter, style) for letter, style in pairs]).simplify()


def _marks(walk: WalkEvent, first: frozenset[str]) -> tuple[Mark, ...]:
    found = []
    for index, stop in enumerate(walk.stops):
        try:
            station = parse_key(stop.station)
        except ValueError:
            continue  # a key that names no place cannot be drawn; the walk goes on without it
        mark = _mark(stop, station, index == walk.at_stop, walk.in_pass)
        found.append(msgspec.structs.replace(mark, first=stop.station in first))
    return tuple(found)


def _mark(stop: StopView, station: Station, here: bool, in_pass: int) -> Mark:
    value = MISSING if stop.hundredths is None else number(stop.hundredths)
    word = brief = ""
    if stop.verdict is not None:
        word = str(stop.verdict)
        brief = BRIEF[stop.verdict.word] + (str(stop.verdict.amount) if stop.verdict.amount else "")
    elif here:
        word = "here"
    if stop.skipped and not here:
        word, brief = "skip", "k"
    old = stop.queued and stop.hundredths is not None and stop.in_pass < in_pass
    return Mark(stop.station, station, value, word, brief, here, old)
