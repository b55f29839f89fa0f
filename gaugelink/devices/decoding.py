"""From a frame's bytes to a value and its unit, as a pure function of the frame alone.

What cannot be trusted is refused with a word that says why, and counted: a frame that does not
fit, a check that fails, a unit that was not declared, a value that is not finite or lies outside
the indicator's range. Nothing raises, whatever the bytes.
"""

from __future__ import annotations

import re
from decimal import Decimal
from functools import lru_cache
from typing import Any

import msgspec

from gaugelink.devices import checksums
from gaugelink.devices.description import MOST_PLACES, Description, Field
from gaugelink.reading import RawReading
from gaugelink.units import canonical, factor

MOST_DIGITS = 15
"""With more digits than this a product with a unit's factor might be rounded; none is sent."""


class Refusal(msgspec.Struct, frozen=True, gc=False):
    """Why a frame is no reading."""

    reason: str
    """One of: no match, checksum, unit, not a number, range, status, parity, too long, cut short,
    too many digits."""
    payload: bytes


class Decoded(msgspec.Struct, frozen=True, gc=False):
    """A raw reading, already carried to hundredths of a millimetre."""

    raw: RawReading
    hundredths: Decimal
    resolution: Decimal


class Decoder:
    """Decodes the frames of one description.

    An indicator says the same few hundred values over and over, and decoding depends on the
    frame's bytes alone, so the newest results are kept.
    """

    def __init__(self, description: Description) -> None:
        decoding = description.decoding
        self._checksum = description.checksum
        self._strip_check = description.checksum is not None and bool(decoding.pattern)
        self._match = (
            _pattern_reader(decoding.pattern)
            if decoding.pattern is not None
            else _layout_reader(decoding.layout)
        )
        self._decoding = decoding
        self._default_unit = canonical(description.unit)
        self._units = {sent: canonical(meant) for sent, meant in decoding.units.items()}
        low, high = description.range
        per_mm = factor("mm")
        self._low, self._high = low * per_mm, high * per_mm
        self.decode = lru_cache(maxsize=2048)(self._decode)

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
        groups = self._match(payload)
        if groups is None:
            return Refusal("no match", payload)
        status_sent = groups.get("status") or ""
        status = self._decoding.status.get(status_sent, status_sent.strip())
        if status and status in self._decoding.refuse:
            return Refusal("status", payload)
        sent_unit = groups.get("unit")
        unit = self._default_unit
        if sent_unit:
            unit = self._units.get(sent_unit) or self._units.get(sent_unit.strip(), "")
        if not unit:
            return Refusal("unit", payload)
        value = self._number(groups)
        if value is None:
            return Refusal("not a number", payload)
        exponent = value.as_tuple().exponent
        assert isinstance(exponent, int)
        if len(value.as_tuple().digits) > MOST_DIGITS or abs(exponent) > MOST_PLACES:
            return Refusal("too many digits", payload)
        by = factor(unit)
        hundredths = value * by
        if not self._low <= hundredths <= self._high:
            return Refusal("range", payload)
        step = Decimal((0, (1,), exponent))
        raw = RawReading(value, unit, _text(groups, value), step, status)
        return Decoded(raw, hundredths, step * by)

    def _number(self, groups: dict[str, Any]) -> Decimal | None:
        """The value with its sign, mark and exponent; None when it is not one."""
        sent = groups.get("value")
        if sent is None:
            return None
        if isinstance(sent, int):
            text = str(sent)
        else:
            text = sent.strip()
            if self._decoding.decimal_mark == ",":
                if "." in text:
                    return None
                text = text.replace(",", ".")
        if not _PLAIN.fullmatch(text):
            return None
        places: int | None = self._decoding.decimals
        power: int | None = 0
        if groups.get("decimals"):
            places = _whole(groups["decimals"])
        if groups.get("exponent"):
            power = _whole(groups["exponent"])
        if (
            places is None
            or power is None
            or abs(power) > MOST_PLACES
            or not 0 <= places <= MOST_PLACES
        ):
            return None
        sign = groups.get("sign") or ""
        meant = self._decoding.signs.get(sign, sign.strip())
        if meant not in ("", "+", "-") or (meant and text[0] in "+-"):
            return None
        value = Decimal(text.replace(" ", ""))
        shift = power - (places if "." not in text else 0)
        if shift:
            value = value.scaleb(shift)
        # A copied sign, not a minus: the context's own minus would turn -0 into 0.
        return value.copy_negate() if meant == "-" else value


_PLAIN = re.compile(r"([+-] *)?(\d+\.?\d*|\.\d+)", re.ASCII)
"""A space inside the digits is not one: it stands for a digit that was lost."""

_WHOLE = re.compile(r"[+-]?\d{1,9}", re.ASCII)


def _whole(text: str) -> int | None:
    text = text.strip()
    return int(text) if _WHOLE.fullmatch(text) else None


def _text(groups: dict[str, Any], value: Decimal) -> str:
    """The digits as sent, with the minus and the exponent that stood in groups of their own."""
    digits = str(groups["value"]).strip()
    minus = "-" if value.is_signed() and not digits.startswith("-") else ""
    power = groups.get("exponent")
    return f"{minus}{digits}E{power.strip()}" if power else f"{minus}{digits}"


def _pattern_reader(pattern: str) -> Any:
    matches = re.compile(pattern, re.ASCII).fullmatch

    def read(payload: bytes) -> dict[str, Any] | None:
        found = matches(payload.decode("latin-1"))
        return found.groupdict() if found else None

    return read


def _layout_reader(layout: list[Field]) -> Any:
    whole = max(field.at + field.length for field in layout)

    def read(payload: bytes) -> dict[str, Any] | None:
        if len(payload) < whole:
            return None
        return {field.name: _field(field, payload) for field in layout}

    return read


def _field(field: Field, payload: bytes) -> str | int:
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
    return number if field.name == "value" else str(number)
