"""The bench: the working screen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.events import Resize
from textual.screen import Screen

from tui.keys import bindings
from tui.widgets.keybar import KeyBar, Notice
from tui.widgets.pane import Pane, has_much_room, has_room
from tui.widgets.readout import Readout
from tui.widgets.reed_view import ReedView
from tui.widgets.status import Banner, Header
from tui.widgets.zones import Progress, Taken, Zones

if TYPE_CHECKING:
    from tui.state import BenchState


class BenchScreen(Screen[None]):
    """Readout and zones on the left, the reed on the right, what was said below."""

    BINDINGS: ClassVar[list[BindingType]] = [*bindings(everywhere=False)]
    AUTO_FOCUS = None

    def __init__(self, keys: Mapping[str, Sequence[str]], practising: bool) -> None:
        super().__init__(id="bench")
        self._keys = keys
        self._practising = practising
        self._state: BenchState | None = None

    def compose(self) -> ComposeResult:
        yield Header()
        yield Banner(self._keys)
        with Horizontal(id="body"):
            with Vertical(id="side"):
                yield Readout()
                yield Progress()
                yield Zones()
                yield Taken()
            yield ReedView()
        yield Notice()
        yield KeyBar(self._keys, self._practising)

    def on_resize(self, event: Resize) -> None:
        """Use the room there is, and lay the lines out anew."""
        if event.size != self.app.size:
            # Out of date: the terminal has another size by now, and an event for that is coming.
            # Each layout posts a resize of its own: two sizes in flight would alternate for ever.
            event.prevent_default()
            return
        self.set_class(has_room(event.size), "-wide")
        self.set_class(has_much_room(event.size), "-large")
        self.call_after_refresh(self._again)

    def on_screen_resume(self) -> None:
        """Show what happened while a page lay over it."""
        self._again()

    def show(self, state: BenchState) -> None:
        """Show the state; parts that it does not change are left as they are.

        Below a page nothing is painted: it would be painted anew with every reading.
        """
        self._state = state
        if not self.is_mounted or self._covered:
            return
        self.query_one(Readout).show(state)
        self.query_one(ReedView).show(state)
        for kind in (Header, Banner, Progress, Zones, Taken, Notice):
            pane: Pane = self.query_one(kind)
            pane.show(state)

    @property
    def _covered(self) -> bool:
        """Whether a page lies over it through which nothing can be seen."""
        front = self.app.screen_stack[-1:]
        return bool(front) and front[0] is not self and not front[0].is_modal

    def _again(self) -> None:
        if self._state is not None:
            self.show(self._state)
