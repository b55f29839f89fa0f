"""What a gauge sends, byte by byte, as it comes."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.content import Content
from textual.events import Resize
from textual.widgets import Static

from tui.look import FAINT, INK
from tui.pace import Pace
from tui.raw import LONGEST, Line, Lines, Row, Shown, measures, newest
from tui.words import count

NOTHING = (
    "Bytes come while the link is up. One that sends by its button sends when it is pressed, and "
    "one that is not recognised yet has to be taught first."
)

TIME = len("1234.567  ")
"""Cells for the seconds since the first byte."""


class RawView(Vertical):
    """The newest lines of one gauge. A flood is painted once a frame, and what was never on the
    screen is counted. `frame` is seconds, as for `Pace`."""

    def __init__(self, frame: float) -> None:
        super().__init__()
        self._pace = Pace(self, frame, self._paint)
        self._top = Static(id="raw-head")
        self._room = Static(id="raw-rows")
        self.of("")

    def compose(self) -> ComposeResult:
        yield self._top
        yield self._room

    def of(self, gauge: str) -> None:
        """Begin anew, with that gauge."""
        self.gauge = gauge
        self._lines = Lines()
        self._shown = Shown()
        self._held: list[Line] | None = None
        self._held_at = 0
        self._back = 0
        if self.is_mounted:
            self._pace.touch()

    def renamed(self, gauge: str) -> None:
        """The gauge goes by another name."""
        self.gauge = gauge
        self._pace.touch()

    @property
    def paused(self) -> bool:
        """Whether it stands still."""
        return self._held is not None

    def feed(self, data: bytes, at: float, missed: int) -> None:
        """Bytes came at a time, after so many that never came here."""
        self._lines.feed(data, at, missed)
        self._pace.touch()

    def pause(self) -> None:
        """Stand still, or go on."""
        self._held = None if self.paused else list(self._lines)
        self._held_at, self._back = self._lines.came, 0
        self._pace.touch()

    def page(self, pages: int) -> None:
        """Stand still, and look at what came so many screens earlier, or later when negative."""
        if not self.paused:
            self.pause()
        height = self._room.size.height
        self._back = max(0, self._back + pages * max(1, height - 1))
        self._pace.touch()

    def on_resize(self, event: Resize) -> None:
        """The rows depend on the size."""
        self._pace.touch()

    def _paint(self) -> None:
        if not self.is_mounted:
            return
        across, cells = measures(self._room.size.width - TIME)
        height = self._room.size.height
        found = self._rows(height, across, cells)
        if found and not self.paused:
            self._shown.show(found[0].begins, self._lines.came)
        lines = [self._row(row, cells) for row in found]
        if not self._lines.came:
            lines = Content.styled(NOTHING, FAINT).wrap(max(8, self._room.size.width))
        self._room.update(Content("\n").join(lines), layout=False)
        self._top.update(self._head(), layout=False)

    def _rows(self, height: int, across: int, cells: int) -> list[Row]:
        if self._held is None:
            return newest(reversed(self._lines), height, across, cells)
        found = newest(reversed(self._held), height, across, cells, self._back)
        if len(found) < height:
            # Back as far as it goes, and no further.
            every = newest(reversed(self._held), len(self._held) * LONGEST, across, cells)
            self._back = max(0, len(every) - height)
            found = every[:height]
        return found

    def _row(self, row: Row, cells: int) -> Content:
        offset = "" if row.at is None else f"{row.at - self._lines.since:.3f}"
        return Content.assemble(
            (f"{offset:>{TIME - 2}}  ", FAINT), (f"{row.text:<{cells}}  ", INK), (row.hex, FAINT)
        )

    def _head(self) -> Content:
        lines = self._lines
        parts = [f"what {self.gauge} sends"]
        if self.paused:
            parts += ["PAUSED", f"{count(lines.came - self._held_at, 'byte')} came since"]
        elif not lines.came:
            parts.append("nothing came yet")
        else:
            parts.append(count(lines.came + lines.missed, "byte"))
        if hidden := lines.missed + self._shown.skipped:
            parts.append(f"{hidden} not shown")
        return Content.styled(" · ".join(parts), f"bold {INK}")
