"""The look that the pages beside the bench share, and what those have in common that follow the
hub; loaded with the first of them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from textual.screen import Screen

if TYPE_CHECKING:
    from gaugelink.daemon.messages import Event
    from tui.state import BenchState

PAGE = Path(__file__).with_suffix(".tcss")

Result = TypeVar("Result")


class LivePage(Screen[Result]):
    """A page that is told what the hub says for as long as it is open. See `tui.pages`."""

    def hear(self, event: Event) -> None:
        """The hub said something."""

    def show(self, state: BenchState) -> None:
        """The bench has changed."""
