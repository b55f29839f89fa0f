"""The parts of made-up formats: the thickness as it may be written, and live fields around it."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Literal

import msgspec

from gaugelink.units import factor

Sign = Literal["always", "minus", "space", "apart", "behind", "none"]


class Value(msgspec.Struct, frozen=True):
    """How the thickness is written."""

    unit: str
    places: int
    word: str = ""
    """What is sent for the unit, empty for none."""
    sign: Sign = "minus"
    before: int = 1
    """Digits before the mark at least, filled up with zeros, or with spaces if `spaces`."""
    spaces: bool = False
    mark: str = "."
    """The decimal mark; empty for implied places."""
    power: bool = False
    """In scientific notation."""

    def write(self, hundredths: Decimal) -> str:
        """The text for a length, rounded to the places that are sent."""
        value = hundredths / factor(self.unit)
        if self.power:
            mantissa, exponent = f"{value:+.3E}".split("E")
            return f"{mantissa}E{int(exponent):+03d}"
        rounded = value.quantize(Decimal(1).scaleb(-self.places))
        below = rounded < 0 and self.sign != "none"
        text = f"{abs(rounded):.{self.places}f}"
        whole, _, part = text.partition(".")
        fill = " " if self.spaces else "0"
        size = whole.rjust(self.before, fill)
        digits = f"{size}{self.mark}{part}" if part else size
        match self.sign:
            case "always":
                return ("-" if below else "+") + digits
            case "space":
                return ("-" if below else " ") + digits
            case "apart":
                return ("- " if below else "+ ") + digits
            case "behind":
                return digits + ("-" if below else "+")
        return ("-" if below else "") + digits

    @property
    def pattern(self) -> str:
        """What reads it."""
        if self.power:
            return r"(?P<sign>[+-])(?P<value>\d+\.\d+)E(?P<exponent>[+-]\d+)"
        point = {"": "", ".": r"\.", ",": ","}[self.mark]
        digits = rf"\d+{point}\d+" if self.places and self.mark else r"\d+"
        if self.sign == "behind":
            return rf" *(?P<value>{digits})(?P<sign>[+-])"
        return rf" *(?P<sign>[+-]?) *(?P<value>{digits})"


def extra(part: str, index: int, rate: float, seed: int) -> str:
    """A live field, or the part itself when it is plain text."""
    seconds = index / rate
    match part:
        case "counter":
            return f"{(seed * 7 + index) % 100_000:05d}"
        case "clock":
            now = int(36_000 + seed % 7200 + seconds)
            return f"{now // 3600 % 24:02d}:{now // 60 % 60:02d}:{now % 60:02d}"
        case "ticks":
            return str(10_000 + seed + int(seconds * 1000))
        case "battery":
            return f"{87 - index // 200}"
        case "temperature":
            return f"{21.4 + 0.2 * math.sin(index / 37) + 0.1 * (index * 7919 % 3 - 1):.1f}"
        case "status":
            return "NNNNNNNNNNNL"[index // 5 % 12]
        case "date":
            return "2031-04-17"
        case "identity":
            return f"G{seed % 97:02d}"
    return part


EXTRA_PATTERN = {
    "counter": r"\d{5}",
    "clock": r"\d\d:\d\d:\d\d",
    "ticks": r"\d+",
    "battery": r"\d+",
    "temperature": r"-?\d+\.\d",
    "status": "[A-Z]",
    "date": r"\d{4}-\d\d-\d\d",
    "identity": r"G\d\d",
}
"""What reads each of them."""
