"""The bottom two lines: what was said last, and the keys, which can be clicked."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

import msgspec
from textual.content import Content
from textual.events import Click, Resize
from textual.widgets import Static

from tui.keys import ACTIONS, command, shown
from tui.look import FAINT, INK
from tui.widgets.pane import Pane

if TYPE_CHECKING:
    from tui.state import BenchState

FIRST = (
    *("quit", "help", "capture", "back", "retake", "scrape", "skip", "lift", "pause", "again"),
    *("next", "scrape_more", "choose", "gauges", "palette", "mute"),
    *("watch", "water", "dry", "advice"),
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


class Entry(msgspec.Struct, frozen=True):
    """A key in a bar, and what it does."""

    id: str
    key: str
    """As it stands on the keyboard."""
    title: str
    run: str
    """The action that a click runs; empty when there is nothing to click."""

    @property
    def width(self) -> int:
        """Cells that it takes."""
        return len(self.key) + 1 + len(self.title)


class Bar(Static):
    """Keys and what they do; a click on one does it."""

    def __init__(self, entries: Sequence[Entry] = (), first: Sequence[str] = ()) -> None:
        super().__init__()
        self._entries = entries
        self._first = first
        self._offered: list[Entry] = []

    def offer(self, entries: Sequence[Entry]) -> None:
        """Show other keys."""
        if entries != self._entries:
            self._entries = entries
            self._lay_out()

    def on_resize(self, event: Resize) -> None:
        """Offer as many as there is room for."""
        self._lay_out()

    def _lay_out(self) -> None:
        self._offered = fitting(self._entries, self.content_size.width, self._first)
        parts = [
            Content.assemble((entry.key, f"bold {INK}"), (f" {entry.title}", FAINT))
            for entry in self._offered
        ]
        self.update(Content(" " * GAP).join(parts), layout=False)

    async def on_click(self, event: Click) -> None:
        """Do what was clicked."""
        event.stop()
        for start, entry in self._places():
            if start <= event.x < start + entry.width and entry.run:
                await self.app.run_action(entry.run)

    def place_of(self, name: str) -> int:
        """The cell at which an entry's key stands; KeyError when it is not offered."""
        return {entry.id: start for start, entry in self._places()}[name]

    def _places(self) -> Iterator[tuple[int, Entry]]:
        start = self.content_region.x - self.region.x
        for entry in self._offered:
            yield start, entry
            start += entry.width + GAP


class KeyBar(Bar):
    """The keys that are used most at the bench."""

    def __init__(self, keys: Mapping[str, Sequence[str]], practising: bool) -> None:
        entries = [
            Entry(action.id, shown(keys[action.id][0]), action.title, command(action.id))
            for action in ACTIONS
            if practising or not action.practice
        ]
        super().__init__(entries, FIRST)


def fitting(entries: Sequence[Entry], width: int, first: Sequence[str] = ()) -> list[Entry]:
    """Those that fit whole into so many cells, the most needed first, in their own order.

    `first` has the names of all, the most needed first; without it they are needed in their order.
    """
    kept: set[str] = set()
    left = width + GAP
    needed = sorted(entries, key=lambda each: first.index(each.id)) if first else entries
    for entry in needed:
        if entry.width + GAP <= left:
            kept.add(entry.id)
            left -= entry.width + GAP
    return [entry for entry in entries if entry.id in kept]
