"""The line of a page that says how it went."""

from __future__ import annotations

from textual.content import Content
from textual.widgets import Static


class Said(Static):
    """What was said last; a trouble has the colour that it has at the bench."""

    text = ""

    def say(self, text: str, trouble: bool = False) -> None:
        """Say this; an empty text clears the line."""
        self.text = text
        self.set_class(trouble, "-trouble")
        self.update(Content(text))
