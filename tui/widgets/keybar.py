"""The bottom two lines: what was said last, and the keys, which can be clicked."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

import msgspec
from textual.content import Content
from textual.events import Click, Resize
from textual.widgets import Static

from tui.keys import ACTIONS, Action, command, shown
from tui.look import FAINT, INK
from tui.widgets.pane import Pane

if TYPE_CHECKING:
    from tui.state import BenchState

FIRST = (
    *("quit", "help", "capture", "back", "retake", "scrape", "skip", "lift", "pause", "again"),
    *("next", "scrape_more", "choose", "palette"),
)
"""Which actions get a place when there is not room for all; the help has the others too."""

GAP = 2
"""Cells between two entries."""


class Notice(Pane):
    """The last line that was said: a capture, or what was refused and why."""

    def show(self, state: BenchState) -> None:
        kind = state.notice.kind if state.notice else ""
        self.set_class(kind == "captured", "-captured")
        self.set_class(kind in ("refused", "trouble"), "-refused")
        super().show(state)

    def tell(self, state: BenchState) -> Content:
        notice = state.notice
        if notice is None:
            return Content()
        lead = "captured  " if notice.kind == "captured" else ""
        aside = f" · {notice.aside}" if notice.text and notice.aside else notice.aside
        said = Content.assemble((lead, "bold"), notice.text)
        room = max(20, self.size.width - len(aside))
        return Content.assemble(said.truncate(room, ellipsis=True), (aside, FAINT))


class KeyBar(Static):
    """The keys that are used most and what they do; a click on one does it."""

    def __init__(self, keys: Mapping[str, Sequence[str]], practising: bool) -> None:
        super().__init__()
        self._entries = [
            Entry(action, shown(keys[action.id][0]))
            for action in ACTIONS
            if practising or not action.practice
        ]
        self._offered: list[Entry] = []

    def on_resize(self, event: Resize) -> None:
        """Offer as many as there is room for."""
        self._offered = fitting(self._entries, self.content_size.width)
        parts = [
            Content.assemble((entry.key, f"bold {INK}"), (f" {entry.action.title}", FAINT))
            for entry in self._offered
        ]
        self.update(Content(" " * GAP).join(parts), layout=False)

    async def on_click(self, event: Click) -> None:
        """Do what was clicked."""
        for start, entry in self._places():
            if start <= event.x < start + entry.width:
                await self.app.run_action(command(entry.action.id))

    def place_of(self, name: str) -> int:
        """The cell at which an action's key stands; KeyError when it is not offered."""
        return {entry.action.id: start for start, entry in self._places()}[name]

    def _places(self) -> Iterator[tuple[int, Entry]]:
        start = self.content_region.x - self.region.x
        for entry in self._offered:
            yield start, entry
            start += entry.width + GAP


class Entry(msgspec.Struct, frozen=True):
    """An action in the bar."""

    action: Action
    key: str
    """As it stands on the keyboard."""

    @property
    def width(self) -> int:
        """Cells that it takes."""
        return len(self.key) + 1 + len(self.action.title)


def fitting(entries: Sequence[Entry], width: int) -> list[Entry]:
    """Those that fit whole into so many cells, the most needed first, in their own order."""
    kept: set[str] = set()
    left = width + GAP
    for entry in sorted(entries, key=lambda each: FIRST.index(each.action.id)):
        if entry.width + GAP <= left:
            kept.add(entry.action.id)
            left -= entry.width + GAP
    return [entry for entry in entries if entry.action.id in kept]
