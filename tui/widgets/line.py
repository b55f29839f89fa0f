"""A line to write on, with what is asked for before it."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.content import Content
from textual.widgets import Input, Static


class Line(Horizontal):
    """Hidden until something is to be written."""

    def __init__(self) -> None:
        super().__init__()
        self._asks = Static(id="line-asks")
        self._input = Input(id="line-input", select_on_focus=False)
        self.about = ""
        """What it is about; empty while nothing is asked for."""

    def compose(self) -> ComposeResult:
        yield self._asks
        yield self._input

    def open(self, about: str, asks: str, value: str) -> None:
        """Ask for it, with a value to begin with."""
        self.about = about
        self.set_class(True, "-open")
        self._asks.update(Content(asks))
        self._input.value = value
        self._input.cursor_position = len(value)
        self._input.focus()

    def close(self) -> None:
        """Nothing more is asked for."""
        if self.about:
            self.about = ""
            self.set_class(False, "-open")
            self.screen.set_focus(None)

    @property
    def value(self) -> str:
        """What is written."""
        return self._input.value
