"""The pedals of one bench: what they mean and where they are, as the maker's file says it.

[[input]]                      # a Linux input device, by its name or path
device = "Foot Switch"

[[line]]                       # a bare switch on a control line of a serial port
port = "/dev/ttyUSB1"
line = "cts"

[[pedals.pedal]]               # left out, whatever is pressed is one pedal
name = "right"
codes = ["pagedown", "cts"]
walk = { short = "capture" }
lists = { short = "next", double = "choose" }
"""

from __future__ import annotations

from typing import Any, Literal

import msgspec

from gaugelink.capture.pedals.control_line import Line
from gaugelink.capture.pedals.mapping import ONE_PEDAL, Mapping, PedalsError, parse
from gaugelink.capture.pedals.source import Source

TERMINAL = "keys"
"""The name of the source that the terminal is: `keys/pagedown` is that key there, and nowhere
else."""


class InputAt(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A Linux input device."""

    device: str
    """Its path, or the name that it gives itself."""
    name: str = ""
    """What it is called here; as above when empty."""


class LineAt(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A switch on a control line of a serial port."""

    port: str
    line: Line = "cts"
    name: str = ""
    """What it is called here; the port and the line when empty."""
    rest: Literal["high", "low"] | None = None
    """The line's level while the pedal is up; None to go by what it is at first."""


class PedalSetup(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What is mapped, and what is opened. The keys of the terminal are there in any case."""

    mapping: Mapping = ONE_PEDAL
    input: tuple[InputAt, ...] = ()
    line: tuple[LineAt, ...] = ()

    @property
    def names(self) -> list[str]:
        """What each source that is opened is called."""
        lines = [each.name or f"{each.port} {each.line}" for each in self.line]
        return [*(each.name or each.device for each in self.input), *lines]

    def sources(self) -> list[Source]:
        """The sources to be opened; nothing is opened yet, and no library is imported for it."""
        from gaugelink.capture.pedals.control_line import ControlLine
        from gaugelink.capture.pedals.input_device import InputDevice

        names = iter(self.names)
        found: list[Source] = [InputDevice(each.device, next(names)) for each in self.input]
        for each in self.line:
            rest = None if each.rest is None else each.rest == "high"
            found.append(ControlLine(each.port, each.line, next(names), rest))
        return found


class _Places(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What stands beside `[pedals]`."""

    input: tuple[InputAt, ...] = ()
    line: tuple[LineAt, ...] = ()


def setup(table: dict[str, Any], source: str) -> PedalSetup:
    """The pedals in the tables of a TOML file that `source` names.

    PedalsError says `source`, the path inside it, and what was expected.
    """
    places = {name: value for name, value in table.items() if name != "pedals"}
    mapping = parse(table["pedals"], source) if "pedals" in table else ONE_PEDAL
    try:
        at = msgspec.convert(places, _Places)
    except msgspec.ValidationError as error:
        said = str(error).replace("`$.", "`")
        lead = said if " - at " in said else f"{said}; expected input, line or pedals"
        raise PedalsError(f"{source}: {lead}") from error
    found = PedalSetup(mapping, at.input, at.line)
    for path, value in _written(at):
        if not value.strip():
            raise PedalsError(f"{source}: {path}: expected where it is, not {value!r}")
    for name in found.names:
        if name == TERMINAL or found.names.count(name) > 1:
            raise PedalsError(f"{source}: {name!r}: expected a name of its own for each device")
    return found


def _written(at: _Places) -> list[tuple[str, str]]:
    inputs = [(f"input[{index}].device", each.device) for index, each in enumerate(at.input)]
    return inputs + [(f"line[{index}].port", each.port) for index, each in enumerate(at.line)]
