"""Where device descriptions are found: shipped, the user's own, and those of other packages.

A later one with the same name replaces an earlier one, in that order: other packages add by the
entry point group `gaugelink.descriptions` (each names a folder of TOML files or a package holding
them), and the user's own folder has the last word.
"""

from __future__ import annotations

import tomllib
from importlib import resources
from importlib.metadata import entry_points
from importlib.resources.abc import Traversable
from pathlib import Path

import msgspec

from gaugelink.devices.description import Description, DescriptionError, check

ENTRY_POINTS = "gaugelink.descriptions"


def parse(text: str, source: str) -> Description:
    """A description from TOML text; DescriptionError says the file, the path and what was expected.

    `source` names the file in the error.
    """
    try:
        description = msgspec.convert(tomllib.loads(text), Description)
    except msgspec.ValidationError as error:
        raise DescriptionError(f"{source}: {error}") from error
    except (ValueError, RecursionError) as error:
        # More than TOMLDecodeError: a number of thousands of digits is a plain ValueError.
        raise DescriptionError(f"{source}: not valid TOML: {error}") from error
    check(description, source)
    return description


def load(path: Traversable) -> Description:
    """The description in a file; DescriptionError when it cannot be read or used."""
    try:
        # Some editors put a byte order mark first.
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise DescriptionError(f"{path}: cannot be read: {error}") from error
    return parse(text, str(path))


def _folders(own: Path | None) -> list[Traversable]:
    folders: list[Traversable] = [resources.files("gaugelink.devices") / "descriptions"]
    for entry in entry_points(group=ENTRY_POINTS):
        folders.append(resources.files(entry.module))
    if own is not None and own.is_dir():
        folders.append(own)
    return folders


def catalog(own: Path | None = None) -> dict[str, Description]:
    """Every description by name. `own` is the user's folder.

    Raises DescriptionError for the first file that cannot be used.
    """
    found: dict[str, Description] = {}
    for folder in _folders(own):
        for file in sorted(folder.iterdir(), key=lambda entry: entry.name):
            if file.name.endswith(".toml"):
                description = load(file)
                found[description.name] = description
    return found


def find(name: str, own: Path | None = None) -> Description:
    """The description called `name`, or the one in the file of that path.

    Raises DescriptionError that lists the known names.
    """
    if name.endswith(".toml"):
        return load(Path(name))
    known = catalog(own)
    if name not in known:
        raise DescriptionError(
            f"no description is called {name!r}; known are: {', '.join(sorted(known))}"
        )
    return known[name]
