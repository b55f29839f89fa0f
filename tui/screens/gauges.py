"""The gauges: how each fares, what it sends byte by byte, its name, and teaching."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping, Sequence
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.events import Resize
from textual.widgets import Input, Static

from gaugelink.daemon.client import HubError
from gaugelink.daemon.messages import (
    Diagnose,
    Follow,
    GaugeCounts,
    GaugeEvent,
    GaugeGone,
    Gauges,
    RawEvent,
    RenameGauge,
)
from tui.keys import command, shown
from tui.look import FAINT, INK
from tui.screens.page import PAGE, LivePage
from tui.widgets.gauge_list import GaugeCard, GaugeList, GaugeView
from tui.widgets.keybar import Bar, Entry
from tui.widgets.line import Line
from tui.widgets.pane import has_room
from tui.widgets.raw_view import RawView
from tui.widgets.said import Said

if TYPE_CHECKING:
    from gaugelink.daemon.messages import Event
    from tui.pages import Pages
    from tui.state import BenchState

HERE = Path(__file__).parent
WIDGETS = HERE.parent / "widgets"


class GaugesScreen(LivePage[None]):
    """Every gauge of the hub, looked at again and again while the page is open."""

    CSS_PATH: ClassVar[str | PurePath | list[str | PurePath] | None] = [
        PAGE,
        HERE / "gauges.tcss",
        WIDGETS / "gauge_list.tcss",
        WIDGETS / "raw_view.tcss",
    ]
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "back"),
        Binding("up", "select(-1)", "the gauge above"),
        Binding("down", "select(1)", "the gauge below"),
        Binding("enter", "use", "measure with it"),
        Binding("r", "rename", "rename"),
        Binding("t", "teach", "teach"),
        Binding("b", "bytes", "bytes"),
        Binding("p,space", "pause", "pause the bytes"),
        Binding("pageup", "page(1)", "earlier bytes"),
        Binding("pagedown", "page(-1)", "later bytes"),
    ]
    AUTO_FOCUS = ""

    def __init__(self, pages: Pages, keys: Mapping[str, Sequence[str]]) -> None:
        super().__init__(id="gauges")
        self._pages = pages
        self._help = shown(keys["help"][0])
        self._counts: dict[str, GaugeCounts] = {}
        self._selected = ""
        self._raw = False
        self._title = Static(id="gauges-title")
        self._list = GaugeList()
        self._bytes = RawView(pages.frame)
        self._line = Line()
        self._said = Said()
        self._bar = Bar()

    def compose(self) -> ComposeResult:
        yield self._title
        yield self._list
        yield self._bytes
        yield self._line
        yield self._said
        yield self._bar

    def on_mount(self) -> None:
        """Look at the gauges, from now on."""
        self._show()
        self.run_worker(self._look_again_and_again())

    def on_resize(self, event: Resize) -> None:
        """Use the room there is."""
        self.set_class(has_room(event.size), "-wide")

    def keeps(self, key: str) -> bool:
        """Looking through bytes, the page keys leaf through them; else they may be pedals."""
        return self._raw and key in ("pageup", "pagedown")

    # What is known -----------------------------------------------------------------------------

    async def _look_again_and_again(self) -> None:
        while True:
            await self._look()
            if not self._pages.look_every:
                return
            await asyncio.sleep(self._pages.look_every)

    async def _look(self) -> None:
        if self._state is None or self._state.hub != "here":
            self._show()
            return
        try:
            found = await self._pages.ask(Diagnose())
            self._counts = {counts.name: counts for counts in found.gauges}
            if self._counts.keys() - self._gauges.keys():
                for event in await self._pages.ask(Gauges()):
                    self._pages.told(event)
            if self._selected not in self._gauges:
                self._select(self._first())
        except HubError as error:
            if str(error) != self._said.text:
                self._trouble(str(error))
        self._show()

    def show(self, state: BenchState) -> None:
        self._show()

    @property
    def _state(self) -> BenchState | None:
        return self._pages.state

    def hear(self, event: Event) -> None:
        match event:
            case RawEvent(gauge=gauge) if gauge == self._selected and self._raw:
                self._bytes.feed(bytes.fromhex(event.hex), event.at, event.missed)
            case GaugeGone(name=name, renamed=renamed):
                self._gone(name, renamed)

    def _gone(self, name: str, renamed: str) -> None:
        counts = self._counts.pop(name, None)
        if renamed and counts is not None:
            self._counts[renamed] = counts
        if self._line.about == name and not renamed:
            self._line.close()
        elif self._line.about == name:
            self._line.open(renamed, _new_name(renamed), self._line.value)
        if name == self._selected and renamed:
            self._selected = renamed
            self._bytes.renamed(renamed)
            if self._raw:
                self._follow()
        elif name == self._selected:
            self._select(self._first())
        self._show()

    def _show(self) -> None:
        if not self.is_mounted:
            return
        gauges = self._gauges
        if not self._selected:
            self._select(self._first())
        views = [
            GaugeView(event, self._counts.get(name), self._pages.since_told(name), self._use(name))
            for name, event in gauges.items()
        ]
        self._list.show(views, self._selected)
        if (head := self._head()) != self._title.content:
            self._title.update(head, layout=False)
        self._bar.offer(self._entries())

    @property
    def _gauges(self) -> dict[str, GaugeEvent]:
        return self._state.gauges if self._state is not None else {}

    def _first(self) -> str:
        """The gauge to begin with: this bench's own, if it is there."""
        own = self._state.in_use if self._state else ""
        return own if own in self._gauges else next(iter(self._gauges), "")

    def _use(self, name: str) -> str:
        state = self._state
        if state is None:
            return ""
        if name == state.in_use:
            return "this bench's gauge"
        return "from the next walk on" if name == state.gauge else ""

    def _head(self) -> Content:
        head = Content.styled("The gauges", f"bold {INK}")
        state = self._state
        if state is None or state.hub == "waiting":
            return Content.assemble(head, ("  waiting for the hub", FAINT))
        if state.hub == "gone":
            again = f"  the hub went away: {state.hub_reason} Trying again every second."
            return Content.assemble(head, (again, f"bold {INK}"))
        return head

    def _entries(self) -> list[Entry]:
        if self._line.about:
            return [
                Entry("keep", "Enter", "call it so", "screen.keep"),
                Entry("leave", "Esc", "leave its name", "screen.leave"),
            ]
        entries = []
        if self._gauges:
            entries = [
                Entry("use", "Enter", "measure with it", "screen.use"),
                Entry("rename", "r", "rename", "screen.rename"),
                Entry("teach", "t", "teach", "screen.teach"),
                Entry("bytes", "b", "no bytes" if self._raw else "bytes", "screen.bytes"),
            ]
        if self._raw:
            on = self._bytes.paused
            entries.append(Entry("pause", "p", "go on" if on else "pause", "screen.pause"))
        return [
            *entries,
            Entry("leave", "Esc", "back", "screen.leave"),
            Entry("help", self._help, "help", command("help")),
        ]

    # What the maker does -----------------------------------------------------------------------

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """While a name is being written, only that."""
        writing = bool(self._line.about)
        if writing and action in ("select", "use", "rename", "teach", "bytes", "pause", "page"):
            return False
        return super().check_action(action, parameters)

    def action_leave(self) -> None:
        """Leave the name as it is; else back to the bench."""
        if self._line.about:
            self._line.close()
            self._say("")
            self._show()
            return
        if self._raw:
            self._raw = False
            self._follow()
        self.dismiss(None)

    def action_select(self, step: int) -> None:
        """Go to the gauge above or below."""
        names = list(self._gauges)
        if names:
            at = names.index(self._selected) if self._selected in names else 0
            self._select(names[max(0, min(len(names) - 1, at + step))])
            self._show()

    def on_gauge_card_clicked(self, message: GaugeCard.Clicked) -> None:
        """Go to the gauge that was clicked."""
        if not self._line.about:
            self._select(message.gauge)
            self._show()

    def _select(self, name: str) -> None:
        if name != self._selected:
            self._selected = name
            self._bytes.of(name)
            if self._raw:
                self._follow()

    def action_use(self) -> None:
        """Measure with the selected gauge."""
        name, state = self._selected, self._state
        if not name or state is None:
            return
        self._pages.use(name)
        walk = state.walk
        if walk is not None and walk.gauge != name:
            self._say(
                f"the walk of {walk.reed} goes on with {walk.gauge}; what is started from now on "
                f"is measured with {name}"
            )
        else:
            self._say(f"{name} is this bench's gauge from now on")

    def action_bytes(self) -> None:
        """Show what the selected gauge sends, or no longer."""
        if self._selected or self._raw:
            self._raw = not self._raw
            self.set_class(self._raw, "-raw")
            self._bytes.of(self._selected)
            self._follow()
            self._show()

    def action_pause(self) -> None:
        """Have the bytes stand still, or go on."""
        if self._raw:
            self._bytes.pause()
            self._show()

    def action_page(self, pages: int) -> None:
        """Look at earlier bytes, or at later ones again; without bytes, at other gauges."""
        if self._raw:
            self._bytes.page(pages)
            self._show()
        elif pages > 0:
            self._list.scroll_page_up(animate=False)
        else:
            self._list.scroll_page_down(animate=False)

    def _follow(self) -> None:
        """Have the hub send the bytes that are shown, and the bench's own readings as ever."""
        wanted = Follow()
        if self._raw and self._selected:
            own = self._state.in_use if self._state is not None else ""
            gauges = sorted({self._selected, own} - {""})
            wanted = Follow(gauges=gauges, raw=True)
        self._pages.send(wanted)

    # Renaming ----------------------------------------------------------------------------------

    def action_rename(self) -> None:
        """Ask for another name."""
        if self._selected:
            self._say("")
            self._line.open(self._selected, _new_name(self._selected), self._selected)
            self._show()

    def action_keep(self) -> None:
        """Call the gauge by the name that was written."""
        if self._line.about:
            self.run_worker(
                self._rename(self._line.about, self._line.value.strip()), group="rename"
            )

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Enter was pressed on the self._line."""
        event.stop()
        self.action_keep()

    async def _rename(self, name: str, to: str) -> None:
        if not to:
            self._trouble("a gauge needs a name: write one, or leave its name with Esc")
            return
        if to != name:
            try:
                await self._pages.ask(RenameGauge(name=name, to=to))
            except HubError as error:
                self._trouble(str(error))
                return
            self._say(f"{name} is called {to} from now on")
        self._line.close()
        self._show()

    # Teaching ----------------------------------------------------------------------------------

    def action_teach(self) -> None:
        """Let gaugelink work out what the selected gauge sends."""
        from tui.screens.teach import TeachScreen

        if self._selected:
            self._say("")
            event = self._gauges[self._selected]
            self._pages.open(TeachScreen(self._pages, event), self._taught)

    def _taught(self, said: str | None) -> None:
        if said:
            self._say(said)

    def _say(self, text: str) -> None:
        self._said.say(text)

    def _trouble(self, text: str) -> None:
        self.app.bell()
        self._said.say(text, trouble=True)


def _new_name(gauge: str) -> str:
    return f"new name of {gauge}"
