"""The bottom two lines: what was said last, and the keys, which can be clicked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from textual.content import Content
from textual.events import Click, Resize
from textual.widgets import Static

from tui.keys import ACTIONS, Action, command, shown
from tui.look import FAINT, INK
from tui.widgets.pane import Pane, has_room

if TYPE_CHECKING:
    from tui.state import BenchState

NARROW = ("capture", "back", "retake", "skip", "pause", "again", "help", "quit")
"""What a bar of 80 cells has room for; the rest is in the help and the palette."""
PRACTISING = ("capture", "back", "retake", "skip", "scrape", "lift", "help", "quit")


class Notice(Pane):
    """The last line that was said: a capture, or what was refused and why."""

    def show(self, state: BenchState) -> None:
        kind = state.notice.kind if state.notice else ""
        self.set_class(kind == "captured", "-captured")
        self.set_class(kind in ("refused", "trouble"), "-refused")
        super().show(state)

    def tell(self, state: BenchState) -> Content:
        if state.notice is None:
            return Content()
        lead = {"captured": "captured  ", "refused": "NOT TAKEN · "}.get(state.notice.kind, "")
        said = Content.assemble((lead, "bold"), state.notice.text)
        return said.truncate(max(20, self.size.width - 2), ellipsis=True)


class KeyBar(Static):
    """The keys that are used most and what they do; a click on one does it."""

    def __init__(self, keys: Mapping[str, Sequence[str]], practising: bool) -> None:
        super().__init__()
        self._keys = keys
        self._practising = practising

    def on_resize(self, event: Resize) -> None:
        """Offer as many as there is room for."""
        parts = [
            Content.assemble((key, f"bold {INK}"), (f" {action.title}", FAINT), "  ")
            for action, key in self._offered()
        ]
        self.update(Content("").join(parts), layout=False)

    async def on_click(self, event: Click) -> None:
        """Do what was clicked."""
        start = self.content_region.x - self.region.x
        for action, key in self._offered():
            end = start + len(key) + len(action.title) + 3
            if start <= event.x < end - 2:
                await self.app.run_action(command(action.id))
            start = end

    def place_of(self, name: str) -> int:
        """The cell at which an action's key stands; KeyError when it is not offered."""
        start = self.content_region.x - self.region.x
        for action, key in self._offered():
            if action.id == name:
                return start
            start += len(key) + len(action.title) + 3
        raise KeyError(name)

    def _offered(self) -> list[tuple[Action, str]]:
        few = PRACTISING if self._practising else NARROW
        return [
            (action, shown(self._keys[action.id][0]))
            for action in ACTIONS
            if action.id in few
            or (has_room(self.app.size) and (self._practising or not action.practice))
        ]
