"""A Bluetooth characteristic's value by its presentation: format, exponent and unit.

The Characteristic Presentation Format descriptor says how a characteristic is to be read, so that
a device that carries it needs no description of its own. Pure: bytes in, an exact number out, or
the reason why there is none.
"""

from __future__ import annotations

import contextlib
import math
import struct
from collections.abc import Callable
from decimal import Decimal
from functools import partial
from typing import Literal, NamedTuple, get_args

import msgspec

from gaugelink.devices.bluetooth.assigned import FORMATS, LENGTHS
from gaugelink.reading import GaugelinkError

# fmt: off
Format = Literal[
    "uint2", "uint4", "uint8", "uint12", "uint16", "uint24", "uint32", "uint48", "uint64",
    "uint128", "sint8", "sint12", "sint16", "sint24", "sint32", "sint48", "sint64", "sint128",
    "float32", "float64", "medfloat16", "medfloat32",
]
# fmt: on
"""The format types that are one number, by their assigned names. Little-endian."""

NUMBERS: tuple[Format, ...] = get_args(Format)

MOST_PLACES = 12
"""Powers of ten, either way. A thickness has no use for more; a garbled exponent might."""

NOT_A_NUMBER = "not a number"
NOT_AT_THIS_RESOLUTION = "not at this resolution"
ABOVE = "above range"
BELOW = "below range"
RESERVED = "reserved value"
WRONG_SIZE = "wrong size"


class PresentationError(GaugelinkError):
    """A descriptor that does not present a length; the text says what it presents instead."""


class Presentation(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """How a value is presented: value = number · 10^exponent, in `unit`."""

    format: Format
    exponent: int = 0
    """Of an integer format; a float has one of its own."""
    unit: str = "m"


class Descriptor(NamedTuple):
    """The seven bytes of a Characteristic Presentation Format descriptor."""

    format: int
    exponent: int
    unit: int
    namespace: int
    description: int


_LAYOUT = struct.Struct("<BbHBH")


def parse(data: bytes) -> Descriptor:
    """The fields of a descriptor; PresentationError when it has not seven bytes."""
    if len(data) != _LAYOUT.size:
        raise PresentationError(
            f"the presentation descriptor has {len(data)} bytes instead of {_LAYOUT.size}"
        )
    return Descriptor(*_LAYOUT.unpack(data))


def presentation(descriptor: Descriptor) -> Presentation:
    """What the descriptor presents; PresentationError when that is not a length."""
    number, exponent, unit, _, _ = descriptor
    name = FORMATS[number - 1] if 1 <= number <= len(FORMATS) else f"format {number}"
    if name not in NUMBERS:
        raise PresentationError(f"it presents {name}, which is not a number")
    length = LENGTHS.get(unit)
    if length is None:
        raise PresentationError(f"it presents {name} in unit 0x{unit:04X}, which is not a length")
    if not length.unit:
        raise PresentationError(f"a {length.name} has no exact decimal in millimetres")
    if is_float(name):
        # The exponent belongs to the integer formats alone.
        exponent = 0
    if abs(exponent) > MOST_PLACES:
        raise PresentationError(f"its exponent is {exponent}, which no thickness needs")
    return Presentation(name, exponent, length.unit)


def is_float(name: str) -> bool:
    """Whether a format has an exponent of its own."""
    return "float" in name


class Number(NamedTuple):
    """A value as it was presented, exact."""

    text: str
    value: Decimal
    last: int
    """The power of ten of the last digit that counts."""


Reader = Callable[[bytes], Number | str]
"""Reads a value; the reason, in words, when it holds no number."""


def reader(presented: Presentation) -> Reader:
    """Reads values that are presented so. It never raises, whatever the bytes."""
    name = presented.format
    match name:
        case "float32" | "float64":
            return partial(_ieee_754, _IEEE_754[name])
        case "medfloat16" | "medfloat32":
            return partial(_ieee_11073, _IEEE_11073[name])
    bits = int(name.removeprefix("sint").removeprefix("uint"))
    return partial(_integer, bits, name.startswith("sint"), presented.exponent)


def _integer(bits: int, signed: bool, exponent: int, payload: bytes) -> Number | str:
    if len(payload) != (bits + 7) // 8:
        return WRONG_SIZE
    # Bits above a number of no whole bytes are reserved, and ignored.
    number = int.from_bytes(payload, "little") & (1 << bits) - 1
    if signed and number >> bits - 1:
        number -= 1 << bits
    text = f"{number}E{exponent}" if exponent else str(number)
    # From text, since arithmetic would round a number of 128 bits to the context's 28 digits.
    return Number(text, Decimal(text), exponent)


class _Ieee754(NamedTuple):
    layout: struct.Struct
    sure: int
    """Decimal digits that the format keeps whatever they are."""


_IEEE_754 = {
    "float32": _Ieee754(struct.Struct("<f"), 6),
    "float64": _Ieee754(struct.Struct("<d"), 15),
}


def _ieee_754(kind: _Ieee754, payload: bytes) -> Number | str:
    """The decimal with the fewest digits that reads back as the same float.

    A float does not say which of its digits was the instrument's last: 0.0004 may well be 0.00040.
    To take its last digit for a step would call a coarse reading right, so all the digits that the
    format keeps count.
    """
    if len(payload) != kind.layout.size:
        return WRONG_SIZE
    (value,) = kind.layout.unpack(payload)
    if math.isnan(value):
        return NOT_A_NUMBER
    if math.isinf(value):
        return ABOVE if value > 0 else BELOW
    if kind.layout.size == 4:
        value = _as_short_as_float32(value)
    number = Decimal(repr(value))
    if int(number.as_tuple().exponent) < -MOST_PLACES:
        number = number.quantize(Decimal((0, (1,), -MOST_PLACES)))
    if not number:
        return Number(format(number, "f"), number, -MOST_PLACES)
    last = min(int(number.as_tuple().exponent), number.adjusted() - kind.sure + 1)
    return Number(format(number, "f"), number, max(last, -MOST_PLACES))


def _as_short_as_float32(value: float) -> float:
    """The number of fewest decimal digits that, as a 32-bit float, is `value`; nine will do."""
    meant = struct.pack("<f", value)
    for digits in range(1, 9):
        short = float(f"{value:.{digits}g}")
        # Rounded up, the greatest floats have no room in 32 bits.
        with contextlib.suppress(OverflowError):
            if struct.pack("<f", short) == meant:
                return short
    return float(f"{value:.9g}")


class _Ieee11073(NamedTuple):
    size: int
    bits: int
    """Of the mantissa; the exponent has the rest."""
    special: dict[int, str]
    """Patterns that stand for no number, and what they mean."""


def _special(bits: int) -> dict[int, str]:
    greatest = (1 << bits - 1) - 1
    return {
        greatest: NOT_A_NUMBER,
        greatest + 1: NOT_AT_THIS_RESOLUTION,
        greatest - 1: ABOVE,
        greatest + 3: BELOW,
        greatest + 2: RESERVED,
    }


_IEEE_11073 = {
    "medfloat16": _Ieee11073(2, 12, _special(12)),
    "medfloat32": _Ieee11073(4, 24, _special(24)),
}


def _ieee_11073(kind: _Ieee11073, payload: bytes) -> Number | str:
    """SFLOAT and FLOAT of IEEE 11073: a mantissa and, above it, a power of ten.

    The power of ten is the weight of the last digit: these floats do say how fine they are. But
    for a nought without one, which tells nothing.
    """
    if len(payload) != kind.size:
        return WRONG_SIZE
    raw = int.from_bytes(payload, "little")
    if raw in kind.special:
        return kind.special[raw]
    mantissa = _signed(raw & (1 << kind.bits) - 1, kind.bits)
    exponent = _signed(raw >> kind.bits, kind.size * 8 - kind.bits)
    text = f"{mantissa}E{exponent}" if exponent else str(mantissa)
    last = exponent if mantissa or exponent < 0 else -MOST_PLACES
    return Number(text, Decimal(text), last)


def _signed(number: int, bits: int) -> int:
    return number - (1 << bits) if number >> bits - 1 else number
