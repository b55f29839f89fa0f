"""The bottom two lines: what was said last, and the keys, which can be clicked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.content import Content
from textual.widgets import Static

from tui.keys import ACTIONS, Action, command, shown
from tui.look import FAINT, INK
from tui.widgets.pane import Pane

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


class Hint(Static):
    """A key and what it does; a click does it."""

    def __init__(self, action: Action, keys: Sequence[str]) -> None:
        self.does = action
        words = Content.assemble((shown(keys[0]), f"bold {INK}"), (f" {action.title}", FAINT))
        super().__init__(words, id=f"hint-{action.id.replace('_', '-')}")
        self.tooltip = action.help

    async def on_click(self) -> None:
        """Do it."""
        await self.app.run_action(command(self.does.id))


class KeyBar(Horizontal):
    """The keys that are used most."""

    def __init__(self, keys: Mapping[str, Sequence[str]], practising: bool) -> None:
        super().__init__()
        self._keys = keys
        self._practising = practising

    def compose(self) -> ComposeResult:
        few = PRACTISING if self._practising else NARROW
        for action in ACTIONS:
            if self._practising or not action.practice:
                hint = Hint(action, self._keys[action.id])
                hint.set_class(action.id not in few, "-spare")
                yield hint
