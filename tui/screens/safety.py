"""The words on safety, shown once, at the first run."""

from __future__ import annotations

from pathlib import PurePath
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Static

from tui.look import INK
from tui.screens.page import PAGE, Sheet
from tui.words import SAFETY


class SafetyScreen(Sheet):
    """Before the first reed."""

    CSS_PATH: ClassVar[str | PurePath | list[str | PurePath] | None] = PAGE
    BINDINGS: ClassVar[list[BindingType]] = [Binding("enter,space,escape", "dismiss", "go on")]

    def compose(self) -> ComposeResult:
        with VerticalScroll(id="page"):
            yield Static("Before you begin", classes="title")
            for head, text in SAFETY:
                yield Static(Content.assemble((head, f"bold {INK}"), f"\n{text}\n"))
            yield Static(
                "Enter, space, a pedal or a click goes on. The help shows this again.",
                classes="foot",
            )

    def on_click(self) -> None:
        """A click goes on, as a key does."""
        self.dismiss()
