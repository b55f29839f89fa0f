"""What a simulator can be told, and what it answers: one JSON object a line, both ways.

Every command gets one answer at once, in the order of the commands. A `press` comes by itself,
when the simulated maker presses the pedal.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from gaugelink.reading import GaugelinkError
from simulators.cane import USUAL_FORCE
from simulators.knife import HEAVIEST, LIGHTEST

Count = Annotated[int, Meta(ge=1, le=1024)]
Strokes = Annotated[int, Meta(ge=1, le=200)]
Seconds = Annotated[float, Meta(ge=0, le=3600)]
Newtons = Annotated[float, Meta(gt=0, le=5)]
Pressure = Annotated[float, Meta(ge=LIGHTEST, le=HEAVIEST)]
Clippable = Annotated[float, Meta(gt=0, le=5)]


class CommandError(GaugelinkError):
    """A command that cannot be done."""


class Told(msgspec.Struct, frozen=True, tag_field="do", forbid_unknown_fields=True):
    """A command."""


class Place(Told, frozen=True, tag="place"):
    """Bring the spindle down on a place, such as `crossed/53/-0.5`, and stay."""

    station: str
    force: Newtons = USUAL_FORCE


class Lift(Told, frozen=True, tag="lift"):
    """Lift the spindle."""


class Visit(Told, frozen=True, tag="visit"):
    """Let the maker go there in their own time, and press when it seems to stand still."""

    station: str


class PressAgain(Told, frozen=True, tag="press-again"):
    """The press was refused: let the maker press once more, a human reaction time later."""


class Scrape(Told, frozen=True, tag="scrape"):
    """Take strokes off at a station, along its whole zone (only just there if none is named)."""

    station: str
    strokes: Strokes = 1
    zone: str = ""
    pressure: Pressure = 1.0
    """As a multiple of the usual one."""


class Sharpen(Told, frozen=True, tag="sharpen"):
    """Sharpen the knife."""


class Soak(Told, frozen=True, tag="soak"):
    """Into the water for a time."""

    seconds: Seconds


class Dry(Told, frozen=True, tag="dry"):
    """Out of the water for a time."""

    seconds: Seconds


class Rest(Told, frozen=True, tag="rest"):
    """Let a night go by; the reed is dry then."""


class Clip(Told, frozen=True, tag="clip"):
    """Clip the end by so many millimetres."""

    mm: Clippable


class Crow(Told, frozen=True, tag="crow"):
    """Crow the reed."""


class Thickness(Told, frozen=True, tag="thickness"):
    """Say the truth about a place."""

    station: str


class Button(Told, frozen=True, tag="button"):
    """Press the button of an indicator that sends when it is pressed."""


class Unplug(Told, frozen=True, tag="unplug"):
    """Pull the cable."""


class Replug(Told, frozen=True, tag="replug"):
    """Put the cable back: a new port."""


class Cut(Told, frozen=True, tag="cut"):
    """Pull the cable in the middle of a frame."""


class Noise(Told, frozen=True, tag="noise"):
    """Put bytes of noise on the line."""

    count: Count


class Stuck(Told, frozen=True, tag="stuck"):
    """Let the spindle stick: the same value for a time, whatever the hand does."""

    seconds: Seconds


class Sleep(Told, frozen=True, tag="sleep"):
    """Send nothing for a time."""

    seconds: Seconds


class Quit(Told, frozen=True, tag="quit"):
    """End."""


Command = (
    Place
    | Lift
    | Visit
    | PressAgain
    | Scrape
    | Sharpen
    | Soak
    | Dry
    | Rest
    | Clip
    | Crow
    | Thickness
    | Button
    | Unplug
    | Replug
    | Cut
    | Noise
    | Stuck
    | Sleep
    | Quit
)


class Said(msgspec.Struct, frozen=True, tag_field="is"):
    """A line of the simulator's."""


class Done(Said, frozen=True, tag="done"):
    """The command is done, or begun."""

    do: str


class Scraped(Said, frozen=True, tag="scraped"):
    """What a scrape took off at its station, hundredths."""

    station: str
    removed: float


class IsThick(Said, frozen=True, tag="thickness"):
    """The true thickness at a place, hundredths."""

    station: str
    hundredths: float


class Clipped(Said, frozen=True, tag="clipped"):
    """The length that is left, millimetres from the bottom of the tube."""

    length: float


class Crowed(Said, frozen=True, tag="crowed"):
    """What it crowed: cents from the style's goal, and the length it has."""

    cents: float
    length: float


class Plugged(Said, frozen=True, tag="plugged"):
    """The port is there again, at this path."""

    path: str


class Press(Said, frozen=True, tag="press"):
    """The maker has pressed the pedal, meaning this station."""

    station: str


class Failed(Said, frozen=True, tag="error"):
    """The command was not done; why."""

    text: str


class Timed(msgspec.Struct, frozen=True):
    """A command of a script."""

    at: float
    """Seconds from the start."""
    line: int
    command: Command


def parse(line: bytes | str) -> Command:
    """The command in one JSON line; CommandError says what is wrong with it."""
    try:
        command: Command = msgspec.json.decode(line, type=Command)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise CommandError(f"not a command: {error}") from error
    return command


def line_of(said: Said) -> str:
    """The JSON line that says it, without its end."""
    return msgspec.json.encode(said).decode()


def read_script(path: Path, check: Callable[[Command], None]) -> list[Timed]:
    """The commands in a file, one JSON line each with `at` in seconds from the start.

    `check` refuses a command that could not be done whenever it came, with a GaugelinkError.
    Raises CommandError with the number of the line that cannot be used. Empty lines do not count.
    """
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise CommandError(f"{path}: cannot be read: {error}") from error
    script: list[Timed] = []
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        try:
            timed = _timed(line, number)
            check(timed.command)
            if script and timed.at < script[-1].at:
                raise CommandError("`at` is earlier than that of the line before")
        except GaugelinkError as error:
            raise CommandError(f"{path}: line {number}: {error}") from error
        script.append(timed)
    return script


def _timed(line: str, number: int) -> Timed:
    try:
        fields: dict[str, Any] = msgspec.json.decode(line, type=dict[str, Any])
    except msgspec.DecodeError as error:
        raise CommandError(f"not a command: {error}") from error
    try:
        at = msgspec.convert(fields.pop("at", None), Seconds)
    except msgspec.ValidationError as error:
        raise CommandError(f"`at` must be seconds from the start: {error}") from error
    try:
        return Timed(at, number, msgspec.convert(fields, Command))
    except msgspec.ValidationError as error:
        raise CommandError(f"not a command: {error}") from error
