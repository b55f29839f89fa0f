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


def usable(
    own: Path | None = None,
) -> tuple[dict[str, Description], dict[Traversable, DescriptionError]]:
    """The descriptions that can be used, by name, and what is wrong with each file that cannot."""
    found: dict[str, Description] = {}
    broken: dict[Traversable, DescriptionError] = {}
    for folder in _folders(own):
        for file in sorted(folder.iterdir(), key=lambda entry: entry.name):
            if file.name.endswith(".toml"):
                try:
                    description = load(file)
                except DescriptionError as error:
                    broken[file] = error
                else:
                    found[description.name] = description
    return found, broken


def catalog(own: Path | None = None) -> dict[str, Description]:
    """Every description by name. `own` is the user's folder.

    Raises DescriptionError for the first file that cannot be used.
    """
    found, broken = usable(own)
    for error in broken.values():
        raise error
    return found


def find(name: str, own: Path | None = None) -> Description:
    """The description called `name`, or the one in the file of that path.

    A file of the user's that cannot be used is in the way of its own description only. Raises
    DescriptionError that says what is wrong with it, or lists the known names.
    """
    if name.endswith(".toml"):
        return load(Path(name))
    found, broken = usable(own)
    for file, error in broken.items():
        if name not in found or name in _text_of(file):
            raise error
    if name not in found:
        raise DescriptionError(
            f"no description is called {name!r}; known are: {', '.join(sorted(found))}"
        )
    return found[name]


def _text_of(file: Traversable) -> str:
    try:
        return file.read_bytes().decode("utf-8", errors="replace")
    except OSError:
        return ""  # what cannot be read names nothing
