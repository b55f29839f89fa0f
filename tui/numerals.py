"""Numbers five rows high, to be read from where the maker stands: digits, minus and point."""

from __future__ import annotations

ROWS = 5

# A cell is about twice as high as it is wide: strokes are two cells wide and one high.
_SHAPES = {
    "0": ("██████", "██  ██", "██  ██", "██  ██", "██████"),
    "1": ("  ██  ", "████  ", "  ██  ", "  ██  ", "██████"),
    "2": ("██████", "    ██", "██████", "██    ", "██████"),
    "3": ("██████", "    ██", " █████", "    ██", "██████"),
    "4": ("██  ██", "██  ██", "██████", "    ██", "    ██"),
    "5": ("██████", "██    ", "██████", "    ██", "██████"),
    "6": ("██████", "██    ", "██████", "██  ██", "██████"),
    "7": ("██████", "    ██", "   ██ ", "  ██  ", "  ██  "),
    "8": ("██████", "██  ██", "██████", "██  ██", "██████"),
    "9": ("██████", "██  ██", "██████", "    ██", "██████"),
    "-": ("    ", "    ", "████", "    ", "    "),
    ".": ("  ", "  ", "  ", "  ", "██"),
}


def rows(text: str) -> tuple[str, ...]:
    """The five rows of a number, a cell between its signs; KeyError for any other sign."""
    shapes = [_SHAPES[sign] for sign in text]
    return tuple(" ".join(shape[row] for shape in shapes) for row in range(ROWS))
