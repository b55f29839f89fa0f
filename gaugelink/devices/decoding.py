"""From a frame's bytes to a value and its unit, as a pure function of the frame alone.

What cannot be trusted is refused with a word that says why, and counted: a frame that does not
fit, a check that fails, a unit that was not declared, a value that is not finite or lies outside
the indicator's range. Nothing raises, whatever the bytes.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal
from functools import cache, lru_cache, partial
from operator import itemgetter

import msgspec

from gaugelink.devices import checksums
from gaugelink.devices.bluetooth import presentation
from gaugelink.devices.description import MOST_PLACES, Description, Field
from gaugelink.reading import RawReading
from gaugelink.units import canonical, factor

MOST_DIGITS = 15
"""With more digits than this a product with a unit's factor might be rounded; none is sent."""


KEPT = 16_384
"""Decoded frames kept: every value of a 12.7 mm travel at 0.001 mm, in about 8 MB."""


class Refusal(msgspec.Struct, frozen=True, gc=False):
    """Why a frame is no reading."""

    reason: str
    """One of: no match, checksum, unit, not a number, range, status, parity, too long, cut short,
    too many digits; of a presented value also: not at this resolution, above range, below range,
    reserved value, wrong size."""
    payload: bytes


class Decoded(msgspec.Struct, frozen=True, gc=False):
    """A raw reading, already carried to hundredths of a millimetre."""

    raw: RawReading
    hundredths: Decimal
    resolution: Decimal


class Parts(msgspec.Struct, frozen=True, gc=False):
    """What a frame's groups or fields hold, as text; empty where it has none."""

    value: str
    sign: str = ""
    exponent: str = ""
    decimals: str = ""
    unit: str = ""
    status: str = ""


Reader = Callable[[bytes], Parts | None]
"""Finds the parts of a frame, None when it does not fit."""


class Decoder:
    """Decodes the frames of one description.

    An indicator says the same few hundred values over and over, and decoding depends on the
    frame's bytes alone, so the newest results are kept.
    """

    def __init__(self, description: Description) -> None:
        decoding = description.decoding
        self._checksum = description.checksum
        self._strip_check = description.checksum is not None and bool(decoding.pattern)
        presented = decoding.presentation
        decode = self._decode
        if presented is not None:
            decode = partial(self._decode_presented, presentation.reader(presented))
        elif decoding.pattern is not None:
            self._read = _pattern_reader(decoding.pattern)
        else:
            self._read = _layout_reader(decoding.layout)
        self._comma = decoding.decimal_mark == ","
        self._decimals = decoding.decimals
        self._signs = decoding.signs
        self._status = decoding.status
        self._refuse = frozenset(decoding.refuse)
        self._default_unit = canonical(presented.unit if presented else description.unit)
        self._units = {sent: canonical(meant) for sent, meant in decoding.units.items()}
        low, high = description.range
        per_mm = factor("mm")
        self._low, self._high = low * per_mm, high * per_mm
        self.decode = lru_cache(maxsize=KEPT)(decode)

    def warm(self) -> None:
        """Derive the factors of all declared units now, not at the first reading in each.

        The first that needs pint takes about a second, so this belongs in a thread.
        """
        for unit in {self._default_unit, *self._units.values()}:
            factor(unit)

    def sound(self, payload: bytes) -> bool:
        """Whether the frame's check holds (always, when none is described)."""
        return self._checksum is None or checksums.holds(self._checksum, payload)

    def _decode(self, payload: bytes) -> Decoded | Refusal:
        if self._checksum is not None:
            if not checksums.holds(self._checksum, payload):
                return Refusal("checksum", payload)
            if self._strip_check:
                payload = checksums.split(self._checksum, payload)[2]
        parts = self._read(payload)
        if parts is None:
            return Refusal("no match", payload)
        status = parts.status
        if status:
            status = self._status.get(status, status.strip())
            if status in self._refuse:
                return Refusal("status", payload)
        unit = self._default_unit
        if parts.unit:
            unit = self._units.get(parts.unit) or self._units.get(parts.unit.strip(), "")
        if not unit:
            return Refusal("unit", payload)
        number = self._number(parts)
        if number is None:
            return Refusal("not a number", payload)
        value, exponent = number
        return self._in_hundredths(_text(parts, value), value, exponent, unit, status, payload)

    def _decode_presented(self, read: presentation.Reader, payload: bytes) -> Decoded | Refusal:
        found = read(payload)
        if isinstance(found, str):
            return Refusal(found, payload)
        text, value, last = found
        return self._in_hundredths(text, value, last, self._default_unit, "", payload)

    def _in_hundredths(
        self, text: str, value: Decimal, exponent: int, unit: str, status: str, payload: bytes
    ) -> Decoded | Refusal:
        """The reading that a value is, `exponent` the power of ten of its last digit."""
        # as_tuple would say how many digits there are, at the cost of all the rest.
        digits = value.adjusted() - exponent + 1
        if digits > MOST_DIGITS or abs(exponent) > MOST_PLACES:
            return Refusal("too many digits", payload)
        hundredths = value * factor(unit)
        if not self._low <= hundredths <= self._high:
            return Refusal("range", payload)
        step, resolution = _resolution(unit, exponent)
        return Decoded(RawReading(value, unit, text, step, status), hundredths, resolution)

    def _number(self, parts: Parts) -> tuple[Decimal, int] | None:
        """The value with its sign, mark and exponent, and the power of ten of its last digit.

        None when it is not a number.
        """
        text = parts.value.strip()
        if self._comma:
            if "." in text:
                return None
            text = text.replace(",", ".")
        if not (text.replace(".", "", 1).isdecimal() and text.isascii()):
            if not _PLAIN.fullmatch(text):
                return None
            text = text.replace(" ", "")
        places: int | None = self._decimals
        power: int | None = 0
        if parts.decimals:
            places = _whole(parts.decimals)
        if parts.exponent:
            power = _whole(parts.exponent)
        if (
            places is None
            or power is None
            or abs(power) > MOST_PLACES
            or not 0 <= places <= MOST_PLACES
        ):
            return None
        sign = parts.sign
        meant = self._signs.get(sign, sign.strip())
        if meant not in ("", "+", "-") or (meant and text[0] in "+-"):
            return None
        value = Decimal(text)
        mark = text.find(".")
        shift = power - (places if mark < 0 else 0)
        if shift:
            value = value.scaleb(shift)
        # A copied sign, not a minus: the context's own minus would turn -0 into 0.
        if meant == "-":
            value = value.copy_negate()
        return value, shift if mark < 0 else shift - (len(text) - mark - 1)


_PLAIN = re.compile(r"([+-] *)?(\d+\.?\d*|\.\d+)", re.ASCII)
"""A space inside the digits is not one: it stands for a digit that was lost."""

_WHOLE = re.compile(r"[+-]?\d{1,9}", re.ASCII)


def _whole(text: str) -> int | None:
    text = text.strip()
    return int(text) if _WHOLE.fullmatch(text) else None


def _text(parts: Parts, value: Decimal) -> str:
    """The digits as sent, with the minus and the exponent that stood in groups of their own."""
    digits = parts.value.strip()
    if parts.exponent:
        digits = f"{digits}E{parts.exponent.strip()}"
    return f"-{digits}" if value.is_signed() and not digits.startswith("-") else digits


@cache
def _resolution(unit: str, exponent: int) -> tuple[Decimal, Decimal]:
    """What a last digit of that power of ten is worth, in the unit and in hundredths of a mm."""
    step = Decimal((0, (1,), exponent))
    return step, step * factor(unit)


def _pattern_reader(pattern: str) -> Reader:
    compiled = re.compile(pattern, re.ASCII)
    matches = compiled.fullmatch
    # One more, empty, stands for the groups that the pattern does not have.
    pick = itemgetter(*[compiled.groupindex.get(name, 0) - 1 for name in Parts.__struct_fields__])

    def read(payload: bytes) -> Parts | None:
        found = matches(payload.decode("latin-1"))
        return Parts(*pick((*found.groups(""), ""))) if found else None

    return read


def _layout_reader(layout: list[Field]) -> Reader:
    whole = max(field.at + field.length for field in layout)

    def read(payload: bytes) -> Parts | None:
        if len(payload) < whole:
            return None
        return Parts(**{field.name: _field(field, payload) for field in layout})

    return read


def _field(field: Field, payload: bytes) -> str:
    part = payload[field.at : field.at + field.length]
    match field.kind:
        case "text":
            return part.decode("latin-1")
        case "int-le":
            number = int.from_bytes(part, "little", signed=True)
        case "uint-le":
            number = int.from_bytes(part, "little")
        case "int-be":
            number = int.from_bytes(part, "big", signed=True)
        case "uint-be":
            number = int.from_bytes(part, "big")
    # Codes for units, signs and status are looked up by their decimal text.
    return str(number)
