"""What all parts of the bench have in common."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.content import Content
from textual.geometry import Size
from textual.widgets import Static

if TYPE_CHECKING:
    from tui.state import BenchState


def has_room(size: Size) -> bool:
    """Whether a screen of that size can show more than the essential."""
    return size.width >= 100 and size.height >= 30


def has_much_room(size: Size) -> bool:
    """Whether a screen of that size can show the readout as large as from across the bench."""
    return size.width >= 120 and size.height >= 40


class Pane(Static):
    """A piece of text that follows the state, and is painted again only when it differs."""

    said: Content = Content()
    """What it shows."""

    def show(self, state: BenchState) -> None:
        """Show the state."""
        said = self.tell(state)
        if said != self.said or said.spans != self.said.spans:
            self.said = said
            self.update(said, layout=False)

    def tell(self, state: BenchState) -> Content:
        """The text for a state."""
        raise NotImplementedError

    @property
    def wide(self) -> bool:
        """Whether the screen has room for more than the essential."""
        return has_room(self.app.size)
