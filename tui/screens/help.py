"""Help on one key: every action with its keys, and the words on safety."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import PurePath
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Static

from tui.keys import ACTIONS, shown
from tui.look import FAINT, INK
from tui.screens.page import PAGE, Sheet
from tui.words import SAFETY


def key_table(keys: Mapping[str, Sequence[str]], practising: bool) -> Content:
    """A line for each action: its keys, and what it does."""
    lines = []
    for action in ACTIONS:
        if action.practice and not practising:
            continue
        names = "  ".join(shown(key) for key in keys[action.id])
        lines.append(Content.assemble((f"{names:<24}", f"bold {INK}"), (action.help, INK)))
    return Content("\n").join(lines)


def pedal_table(lines: Sequence[str]) -> Content:
    """A line for each press that means something, and for each pedal that is away."""
    head = Content.styled("Pedals", f"bold {INK}")
    return Content("\n").join([head, *(Content.styled(line, INK) for line in lines)])


def safety() -> Content:
    """The words on safety."""
    lines = [Content.assemble((f"{head}  ", f"bold {INK}"), (text, FAINT)) for head, text in SAFETY]
    return Content("\n").join(lines)


class HelpScreen(Sheet):
    """What can be done at the bench, and with which key."""

    CSS_PATH: ClassVar[str | PurePath | list[str | PurePath] | None] = PAGE
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape,space,enter", "dismiss", "back")]

    def __init__(
        self, keys: Mapping[str, Sequence[str]], practising: bool, pedals: Sequence[str] = ()
    ) -> None:
        super().__init__(id="help")
        self._keys = keys
        self._practising = practising
        self._pedals = pedals

    def compose(self) -> ComposeResult:
        with VerticalScroll(id="page"):
            yield Static("At the bench", classes="title")
            yield Static(key_table(self._keys, self._practising), id="keys")
            yield Static(
                Content.styled("A click on a station goes there; a click on a key does it.", FAINT)
            )
            if self._pedals:
                yield Static(pedal_table(self._pedals), classes="foot", id="pedals")
            yield Static(safety(), classes="foot", id="safety-words")

    def on_click(self) -> None:
        """A click leaves the page, as a key does."""
        self.dismiss()
