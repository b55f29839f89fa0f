"""The advice on the reed in hand: what to take and in which order, and how it is balanced."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Static

from gaugelink.daemon.advising import words
from gaugelink.daemon.messages import Advice
from tui.keys import bindings
from tui.look import FAINT, INK
from tui.screens.page import PAGE, LivePage, turn

if TYPE_CHECKING:
    from gaugelink.capture.pedals.mapping import ListAction
    from tui.state import BenchState


def trust(advice: Advice) -> str:
    """How far one value was trusted, and why so far."""
    return (
        f"Standard uncertainty of one value: {advice.uncertainty:.1f} hundredths, {advice.trusted}."
    )


class AdviceScreen(LivePage[None]):
    """All of an advice; the next one takes its place while the page is open."""

    CSS_PATH: ClassVar[str | PurePath | list[str | PurePath] | None] = [
        PAGE,
        PurePath(__file__).with_suffix(".tcss"),
    ]
    BINDINGS: ClassVar[list[BindingType]] = [
        *(each for each in bindings(everywhere=False) if each.id == "advice"),
        Binding("escape,space,enter", "dismiss", "back"),
    ]

    def __init__(self, advice: Advice) -> None:
        super().__init__(id="advice")
        self._advice = advice

    def compose(self) -> ComposeResult:
        with VerticalScroll(id="page"):
            yield from self._parts()

    def _parts(self) -> list[Static]:
        """A line each, so that what wraps stays under its beginning; a part's heading set off."""
        advice = self._advice
        _, *said, hint = words(advice)
        parts = [
            Static(Content(f"What remains: {advice.reed}, {advice.title}"), classes="title"),
            Static(Content.styled(trust(advice), FAINT)),
        ]
        for line in said:
            if line.startswith(" "):
                parts.append(Static(Content.styled(line.strip(), INK), classes="line"))
            else:
                parts.append(Static(Content(f"{line[:1].upper()}{line[1:]}"), classes="head"))
        return [*parts, Static(Content.styled(hint, f"bold {INK}"), classes="foot")]

    def show(self, state: BenchState) -> None:
        if state.advice is not None and state.advice != self._advice and self.is_mounted:
            self._advice = state.advice
            self.run_worker(self._again(), exclusive=True)

    async def _again(self) -> None:
        page = self.query_one("#page", VerticalScroll)
        async with self.batch():
            await page.remove_children()
            await page.mount_all(self._parts())

    def driven(self, action: ListAction) -> None:
        """A pedal turns the page, or leaves it."""
        turn(self, action)

    def on_click(self) -> None:
        """A click leaves the page, as a key does."""
        self.dismiss()
