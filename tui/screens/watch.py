"""A zone watched while it is scraped: the walk waits, and nothing is captured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.events import Resize
from textual.widgets import Static

from gaugelink.daemon.messages import StopWatching
from tui.keys import ACTIONS, bindings, command, shown
from tui.screens.page import LivePage
from tui.widgets.keybar import Bar, Entry, Notice
from tui.widgets.pane import Pane, has_room
from tui.widgets.status import Banner, Header
from tui.widgets.watched import HOW, About, Estimate, Now, Remains, Values

if TYPE_CHECKING:
    from gaugelink.capture.pedals.mapping import ListAction
    from tui.pages import Pages
    from tui.state import BenchState

DOES = ("watch", "capture", "water", "dry", "mute", "scrape", "scrape_more", "lift")
"""What can be done here as at the bench; a capture goes back to the walk, and takes nothing."""

OFFERED = ("watch", "water", "dry", "scrape", "scrape_more", "lift", "mute", "help")


class WatchScreen(LivePage[None]):
    """Open for as long as the hub says that a zone is watched at this bench."""

    CSS_PATH: ClassVar[str | PurePath | list[str | PurePath] | None] = Path(__file__).with_suffix(
        ".tcss"
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        *(each for each in bindings(everywhere=False) if each.id in DOES),
        Binding("escape", "leave", "back to the walk"),
    ]
    AUTO_FOCUS = ""

    def __init__(self, pages: Pages, keys: Mapping[str, Sequence[str]]) -> None:
        super().__init__(id="watch")
        self._pages = pages
        self._keys = keys
        self._left = False
        self._bar = Bar()

    def compose(self) -> ComposeResult:
        yield Header()
        yield Banner(self._keys)
        with Vertical(id="watch-body"):
            yield About()
            with Horizontal(id="watch-live"):
                yield Estimate()
                yield Remains()
            yield Values()
            yield Now()
            yield Static(Content(HOW), id="watch-how")
        yield Notice()
        yield self._bar

    def on_mount(self) -> None:
        """Show how it stands, and the keys that mean something here."""
        actions = {each.id: each for each in ACTIONS}
        offered = [each for each in OFFERED if self.app.check_action("do", (each,))]
        titles = {each: actions[each].title for each in offered} | {"watch": "to the walk"}
        self._bar.offer(
            [
                Entry(each, shown(self._keys[each][0]), titles[each], command(each))
                for each in offered
            ]
        )
        self._again()

    def on_resize(self, event: Resize) -> None:
        """Use the room there is."""
        self.set_class(has_room(event.size), "-wide")
        self.call_after_refresh(self._again)

    def on_screen_resume(self) -> None:
        """Show what happened while another page lay over it."""
        self._again()

    def _again(self) -> None:
        if self._pages.state is not None:
            self.show(self._pages.state)

    def show(self, state: BenchState) -> None:
        if not self.is_mounted or self.app.screen is not self or self._left:
            return
        if not state.watching:
            # Left by a press, here or elsewhere: the hub has the last word.
            self._left = True
            self.dismiss()
            return
        for pane in self.query(Pane):
            pane.show(state)

    def driven(self, action: ListAction) -> None:
        """Whatever a pedal means elsewhere, here it goes back to the walk."""
        self.action_leave()

    def action_leave(self) -> None:
        """Back to the walk."""
        if self._pages.state is not None:
            self._pages.send(StopWatching(bench=self._pages.state.bench))
