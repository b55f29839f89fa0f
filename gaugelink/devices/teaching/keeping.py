"""Keeping a taught description: its name, its text with the evidence, and its file."""

from __future__ import annotations

import contextlib
import itertools
import re
from pathlib import Path

import msgspec

from gaugelink.devices.bluetooth.recognise import name_of
from gaugelink.devices.description import ByTerminator, Description
from gaugelink.devices.teaching.finding import Finding
from gaugelink.devices.teaching.writing import written
from gaugelink.reading import GaugelinkError

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")


class KeepingError(GaugelinkError):
    """A description that cannot be kept so; the text says why and what to do."""


def check_name(name: str) -> str:
    """The name, when it can be a description's and its file's; KeepingError when it cannot.

    64 characters at most, so that any file system takes it.
    """
    if not _NAME.fullmatch(name):
        raise KeepingError(
            f"{name!r} cannot be a description's name; it takes letters, digits, dots and hyphens, "
            "and begins with a letter or a digit"
        )
    return name


def usual_name(description: Description) -> str:
    """A name that says what it is: line and bits, how frames end, and the unit."""
    presented = description.decoding.presentation
    if presented is not None:
        return name_of(presented)
    framing = description.framing
    end = {"\r": "cr", "\n": "lf", "\r\n": "crlf"}.get(
        framing.end if isinstance(framing, ByTerminator) else "",
        str(framing.__struct_config__.tag),
    )
    link = description.link
    line = "bluetooth" if link.characteristic else link.short.lower().replace(" ", "-")
    return f"taught-{line}-{end}-{description.unit}"


def unused(folder: Path, name: str) -> str:
    """The name, with a number after it when the folder has a description of that name already."""
    numbered = (f"{name}-{number}" for number in itertools.count(2))
    return next(
        each for each in itertools.chain([name], numbered) if not _file(folder, each).exists()
    )


def renamed(description: Description, name: str) -> Description:
    """The description under another name; KeepingError when that cannot be one."""
    return msgspec.structs.replace(description, name=check_name(name))


def text_of(finding: Finding, chosen: Description, answered: bool = False) -> str:
    """The file's text of a finding's description, or of the alternative that was chosen.

    A question that nobody has answered stands in it.
    """
    return written(chosen, reasons(finding, answered))


def reasons(finding: Finding, answered: bool = False) -> list[str]:
    """The evidence, with the question at its end when nobody has answered it."""
    if not finding.question or answered:
        return list(finding.evidence)
    return [
        *finding.evidence,
        f"not certain: {finding.question} The likeliest answer was taken",
    ]


def refuse_existing(folder: Path, name: str) -> None:
    """KeepingError when the folder has a description of that name already."""
    if _file(folder, name).exists():
        raise _taken(_file(folder, name))


def keep(folder: Path, name: str, text: str) -> Path:
    """Write a description's text into the folder, which is made when it is missing; its file.

    Raises KeepingError for a name that cannot be one, for a file that is there already, which is
    never written over, and when the file cannot be written, which then leaves nothing behind.
    """
    path = _file(folder, check_name(name))
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise _failed(folder, error) from error
    try:
        file = path.open("x", encoding="utf-8")
    except FileExistsError as error:
        raise _taken(path) from error
    except OSError as error:
        raise _failed(path, error) from error
    try:
        with file:
            file.write(text)
    except OSError as error:
        # Half a description would be in the way of every later one.
        with contextlib.suppress(OSError):
            path.unlink()
        raise _failed(path, error) from error
    return path


def _file(folder: Path, name: str) -> Path:
    return folder / f"{name}.toml"


def _taken(path: Path) -> KeepingError:
    return KeepingError(f"{path}: is there already; choose another name")


def _failed(path: Path, error: OSError) -> KeepingError:
    return KeepingError(f"{path}: cannot be written ({error.strerror}); nothing was kept")
