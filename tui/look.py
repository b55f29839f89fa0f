"""Colours of the workbench, and how a verdict looks.

A verdict is a word first; its colour only repeats the word. The verdict colours are from the
palette of Okabe and Ito (2008), which people with colour-blindness can tell apart.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.theme import Theme

if TYPE_CHECKING:
    from gaugelink.craft.verdict import Verdict

ORANGE = "#E69F00"
SKY_BLUE = "#56B4E9"
YELLOW = "#F0E442"
VERMILLION = "#D55E00"
REDDISH_PURPLE = "#CC79A7"

GROUND = "#1c1814"
SHEET = "#26211b"
EDGE = "#4a4034"
INK = "#efe6d5"
FAINT = "#a3967f"
CANE = "#d3bf92"
SPINE = "#b9a273"
SCRATCH = "#6b542c"
THREAD = "#7d4b3a"
DARK = "#1c1509"

BY_WORD = {"take": ORANGE, "leave": SKY_BLUE, "over": REDDISH_PURPLE}

WORKBENCH = Theme(
    name="workbench",
    primary=CANE,
    secondary=SKY_BLUE,
    accent=ORANGE,
    warning=YELLOW,
    error=VERMILLION,
    foreground=INK,
    background=GROUND,
    surface=SHEET,
    panel=SHEET,
    variables={
        "ground": GROUND,
        "sheet": SHEET,
        "edge": EDGE,
        "ink": INK,
        "faint": FAINT,
        "cane": CANE,
        "dark": DARK,
        "told": VERMILLION,
        "sky": SKY_BLUE,
        "held": YELLOW,
    },
)


def chip(verdict: Verdict) -> str:
    """The style of a verdict written on its own colour."""
    return f"bold {DARK} on {BY_WORD[verdict.word]}"


def ink(verdict: Verdict) -> str:
    """The style of a verdict written on the dark ground."""
    return f"bold {BY_WORD[verdict.word]}"
