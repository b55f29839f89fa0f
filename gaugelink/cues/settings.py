"""What is to be heard, how loud and in which words: the maker's own choice, as a TOML table."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from pathlib import Path
from string import Formatter
from typing import Any

import msgspec

from gaugelink.cues.cue import EXAMPLES, KINDS, CueError
from gaugelink.cues.phrases import Words, fields

SLOWEST, FASTEST = 80, 450
"""Words per minute that espeak-ng can speak (`espeakRATE` in its `speak_lib.h`)."""


class CueSettings(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The outputs, what each may say, and how."""

    bell: bool = True
    """The terminal's own; it needs nothing."""
    tones: bool = False
    """Needs the extra `sound`."""
    voice: bool = False
    """Needs the extra `voice`."""
    volume: float = 0.6
    """Of tones and voice, from 0 to 1; the bell has the terminal's."""
    speech_rate: int = 190
    """Words per minute, 80 to 450: brisk, for the next capture comes after some three seconds."""
    which: tuple[str, ...] = KINDS
    """The kinds of cue that are heard at all."""
    rings: tuple[str, ...] = ("over", "refused", "zone", "lost")
    """Of these, the kinds that the bell rings for: it has one sound, so it is kept for what the
    maker has to look up for."""
    words: Words = Words()


def parse(table: Mapping[str, Any], source: str) -> CueSettings:
    """The settings in a TOML table; CueError says `source`, the path inside and what is wanted."""
    try:
        found = msgspec.convert(table, CueSettings)
    except msgspec.ValidationError as error:
        raise CueError(f"{source}: {error}") from error
    check(found, source)
    return found


def load(file: Path) -> CueSettings:
    """The settings in a file, the default ones when there is none; raises what `parse` raises."""
    try:
        text = file.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        return CueSettings()
    except (OSError, UnicodeDecodeError) as error:
        raise CueError(f"{file}: cannot be read: {error}") from error
    try:
        table = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        # More than TOMLDecodeError: a number of thousands of digits is a plain ValueError.
        raise CueError(f"{file}: not valid TOML: {error}") from error
    return parse(table, str(file))


def check(settings: CueSettings, source: str) -> None:
    """Refuse what the types alone cannot: CueError names the path and what is expected there."""
    if not (math.isfinite(settings.volume) and 0 <= settings.volume <= 1):
        raise CueError(f"{source}: volume: {settings.volume} must lie from 0 to 1")
    if not SLOWEST <= settings.speech_rate <= FASTEST:
        raise CueError(
            f"{source}: speech_rate: {settings.speech_rate} must lie from {SLOWEST} to {FASTEST} "
            "words per minute"
        )
    for name, kinds in (("which", settings.which), ("rings", settings.rings)):
        for index, kind in enumerate(kinds):
            if kind not in KINDS:
                raise CueError(
                    f"{source}: {name}[{index}]: no cue is called {kind!r}; "
                    f"known are: {', '.join(KINDS)}"
                )
    for kind in KINDS:
        _check_wording(getattr(settings.words, kind), fields(EXAMPLES[kind]), kind, source)


def _check_wording(wording: str, known: Mapping[str, str], kind: str, source: str) -> None:
    path = f"{source}: words.{kind}"
    offered = ", ".join(f"{{{name}}}" for name in known)
    if not wording.strip():
        raise CueError(f"{path}: says nothing; to keep it silent leave {kind!r} out of which")
    try:
        parts = list(Formatter().parse(wording))
    except ValueError as error:
        raise CueError(
            f"{path}: {error}; write a field as one of {offered}, a brace itself twice"
        ) from error
    for _, name, form, conversion in parts:
        if name is None:
            continue
        if name not in known:
            raise CueError(f"{path}: no field is called {name!r}; known are: {offered}")
        if form or conversion:
            raise CueError(f"{path}: write {{{name}}} alone, without a format or conversion")
