"""Named things in TOML files: the shipped ones, and the user's own in a folder of theirs.

Styles and device descriptions are kept alike. A later file replaces an earlier one of its name, and
the user's folder comes last. A file that cannot be used is in the way of its own thing only.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Iterator
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Generic, Protocol, TypeVar

import msgspec

from gaugelink.reading import GaugelinkError


class Named(Protocol):
    """What is kept on a shelf."""

    @property
    def name(self) -> str:
        """What it is asked for by."""
        ...


T = TypeVar("T", bound=Named)


class Shelf(Generic[T]):
    """All things of one kind."""

    def __init__(
        self,
        noun: str,
        kind: type[T],
        error: type[GaugelinkError],
        check: Callable[[T, str], None],
        shipped: Callable[[], Iterable[Traversable]],
    ) -> None:
        """`check` refuses what the types alone cannot; `shipped` gives the folders to look in."""
        self._noun = noun
        self._kind = kind
        self._error = error
        self._check = check
        self._shipped = shipped

    def parse(self, text: str, source: str) -> T:
        """One from TOML text; the error says `source`, the path inside it and what was expected."""
        try:
            found = msgspec.convert(tomllib.loads(text), self._kind)
        except msgspec.ValidationError as error:
            raise self._error(f"{source}: {error}") from error
        except (ValueError, RecursionError) as error:
            # More than TOMLDecodeError: a number of thousands of digits is a plain ValueError.
            raise self._error(f"{source}: not valid TOML: {error}") from error
        self._check(found, source)
        return found

    def load(self, file: Traversable) -> T:
        """The one in a file; the error says why it cannot be read or used."""
        try:
            # Some editors put a byte order mark first.
            text = file.read_text(encoding="utf-8-sig")
        except (OSError, UnicodeDecodeError) as error:
            raise self._error(f"{file}: cannot be read: {error}") from error
        return self.parse(text, str(file))

    def all(self, own: Path | None = None) -> dict[str, T]:
        """Every one by name; raises the error of the first file that cannot be used."""
        return {found.name: found for found in map(self.load, self._files(own))}

    def usable(self, own: Path | None = None) -> tuple[dict[str, T], list[GaugelinkError]]:
        """Those that can be used, by name, and what is wrong with the files that cannot."""
        files, broken = self._sorted_out(own)
        return {name: found for name, (found, _) in files.items()}, list(broken.values())

    def find(self, name: str, own: Path | None = None) -> T:
        """The one of that name, or the one in the TOML file of that path.

        The error is that of a file that cannot be used when it names the one asked for, or when no
        other does; else it lists the known names.
        """
        return self.load(Path(name)) if name.endswith(".toml") else self._pick(name, own)[0]

    def locate(self, name: str, own: Path | None = None) -> str:
        """The path of the file that `find` reads it from; raises what `find` raises."""
        return name if name.endswith(".toml") else str(self._pick(name, own)[1])

    def _pick(self, name: str, own: Path | None) -> tuple[T, Traversable]:
        found, broken = self._sorted_out(own)
        for file, error in broken.items():
            # What was meant to take the place of a shipped one is not passed over for that.
            if name not in found or name in _text_of(file):
                raise error
        if name not in found:
            known = ", ".join(sorted(found))
            raise self._error(f"no {self._noun} is called {name!r}; known are: {known}")
        return found[name]

    def _sorted_out(
        self, own: Path | None
    ) -> tuple[dict[str, tuple[T, Traversable]], dict[Traversable, GaugelinkError]]:
        found: dict[str, tuple[T, Traversable]] = {}
        broken: dict[Traversable, GaugelinkError] = {}
        for file in self._files(own):
            try:
                thing = self.load(file)
            except self._error as error:
                broken[file] = error
            else:
                found[thing.name] = (thing, file)
        return found, broken

    def _files(self, own: Path | None) -> Iterator[Traversable]:
        for folder in [*self._shipped(), *([own] if own is not None and own.is_dir() else [])]:
            for file in sorted(folder.iterdir(), key=lambda entry: entry.name):
                if file.name.endswith(".toml"):
                    yield file


def _text_of(file: Traversable) -> str:
    try:
        return file.read_bytes().decode("utf-8", errors="replace")
    except OSError:
        return ""  # what cannot be read names nothing
