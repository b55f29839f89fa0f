"""Where device descriptions are found: shipped, the user's own, and those of other packages.

A later one with the same name replaces an earlier one, in that order: other packages add by the
entry point group `gaugelink.descriptions` (each names a folder of TOML files or a package holding
them), and the user's own folder has the last word.
"""

from __future__ import annotations

from importlib import resources
from importlib.metadata import entry_points
from importlib.resources.abc import Traversable

from gaugelink.devices.description import Description, DescriptionError, check
from gaugelink.shelf import Shelf

ENTRY_POINTS = "gaugelink.descriptions"


def _shipped() -> list[Traversable]:
    others = entry_points(group=ENTRY_POINTS)
    return [
        resources.files("gaugelink.devices") / "descriptions",
        *(resources.files(entry.module) for entry in others),
    ]


SHELF = Shelf("description", Description, DescriptionError, check, _shipped)
"""The described formats."""

parse = SHELF.parse
load = SHELF.load
catalog = SHELF.all
usable = SHELF.usable
find = SHELF.find
