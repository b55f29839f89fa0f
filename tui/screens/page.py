"""The look that the pages beside the bench share, and what those have in common that follow the
hub; loaded with the first of them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from textual.containers import VerticalScroll
from textual.screen import Screen

if TYPE_CHECKING:
    from gaugelink.capture.pedals.mapping import ListAction
    from gaugelink.daemon.messages import Event
    from tui.state import BenchState

PAGE = Path(__file__).with_suffix(".tcss")

Result = TypeVar("Result")


def turn(screen: Screen[None], action: ListAction) -> None:
    """Turn the page of a screen that is only read; at its end, leave it."""
    page = screen.query_one("#page", VerticalScroll)
    if action == "previous":
        page.scroll_page_up(animate=False)
    elif action == "next" and page.scroll_offset.y < page.max_scroll_y:
        page.scroll_page_down(animate=False)
    else:
        screen.dismiss()


class Sheet(Screen[None]):
    """A page that is only read. A pedal turns it on, and leaves it at its end."""

    def driven(self, action: ListAction) -> None:
        """A pedal turns the page, or leaves it."""
        turn(self, action)


class LivePage(Screen[Result]):
    """A page that is told what the hub says for as long as it is open. See `tui.pages`."""

    def hear(self, event: Event) -> None:
        """The hub said something."""

    def show(self, state: BenchState) -> None:
        """The bench has changed."""
