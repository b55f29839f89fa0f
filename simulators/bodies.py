"""The body of a frame with another number in it: by a pattern's groups or a layout's fields."""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation
from typing import Literal

import msgspec

from gaugelink.devices.description import Decoding, Description, Field
from gaugelink.reading import GaugelinkError
from gaugelink.units import canonical, factor

MOST_PLACES = 9
"""Decimal places beyond which no finer step is looked for."""


class EncodingError(GaugelinkError):
    """A length that a description cannot say, or a description that cannot be simulated."""


def _rounded(value: Decimal, step: Decimal) -> Decimal:
    try:
        return value.quantize(step)
    except InvalidOperation as error:
        raise EncodingError(f"{value} has more digits than can be sent") from error


class Digits(msgspec.Struct, frozen=True):
    """How an example writes its number, and so how another is written."""

    width: int
    """Characters that the number takes at least."""
    places: int
    """Decimal places, sent or implied."""
    marked: bool
    """Whether a decimal mark is sent."""
    mark: str
    zeros: bool
    """Filled with zeros up to the width; otherwise with spaces."""
    plus: bool
    """A plus is written out before the digits, when there is no other place for a sign."""

    @property
    def step(self) -> Decimal:
        """The weight of the last digit."""
        return Decimal(1).scaleb(-self.places)

    def rounded(self, value: Decimal) -> Decimal:
        """The nearest number that can be written; EncodingError when it has too many digits."""
        return _rounded(value, self.step)

    def write(self, value: Decimal, sign: str = "") -> str:
        """The text of a rounded number; `sign` goes before its digits."""
        size = abs(value)
        if self.marked:
            text = f"{size:.{self.places}f}".replace(".", self.mark)
        else:
            text = str(int(size.scaleb(self.places)))
        if self.zeros:
            return sign + text.zfill(self.width - len(sign))
        return (sign + text).rjust(self.width)


def _read_digits(text: str, decoding: Decoding, padding: int, places: int | None) -> Digits:
    """How `text`, an example's number, is written.

    `padding` counts the spaces before it that belong to its column; `places` is what the example
    says of its implied decimals, None when it says nothing.
    """
    number = text.lstrip(" ")
    padding += len(text) - len(number)
    number = number.rstrip(" ")
    plus = number.startswith("+")
    _, mark, decimals = number.lstrip("+-").partition(decoding.decimal_mark)
    return Digits(
        width=padding + len(number),
        places=len(decimals) if mark else decoding.decimals if places is None else places,
        marked=bool(mark),
        mark=decoding.decimal_mark,
        # A column without a space in the example has zeros to fill it, or fits its number.
        zeros=not padding,
        plus=plus,
    )


class _Unit(msgspec.Struct, frozen=True):
    """The unit that is sent, and what stands for it."""

    name: str
    sent: str | None
    """None: the example's own stays."""


def _choose_unit(description: Description, shown: str, wanted: str | None) -> tuple[_Unit, str]:
    """The unit to send, and the one of the example, where `shown` stands for it."""
    units = description.decoding.units
    own = canonical(units.get(shown.strip(), description.unit) if shown else description.unit)
    if wanted is None or canonical(wanted) == own:
        return _Unit(own, None), own
    codes = [sent for sent, meant in units.items() if canonical(meant) == canonical(wanted)]
    if not shown or not codes:
        known = ", ".join(dict.fromkeys([own, *map(canonical, units.values())])) if shown else own
        raise EncodingError(f"{description.name}: cannot send {wanted}; it can send {known}")
    return _Unit(canonical(wanted), codes[0]), own


def _as_fine(digits: Digits, own: str, unit: str) -> Digits:
    """The digits for another unit: as many places as give a step no coarser than before."""
    finest = digits.step * factor(own)
    fewest = 1 if digits.marked else 0
    places = next(
        (n for n in range(fewest, MOST_PLACES) if factor(unit).scaleb(-n) <= finest), MOST_PLACES
    )
    return msgspec.structs.replace(digits, places=places)


def _sign_candidates(decoding: Decoding, shown: str, negative: bool) -> list[str]:
    """What may stand for a sign, the example's own way first."""
    want = "-" if negative else "+"
    described = [sent for sent, meant in decoding.signs.items() if meant == want]
    own = decoding.signs.get(shown, shown.strip() or "+")
    plain = [want] if negative else [want, " ", ""]
    return [*([shown] if own == want else []), *described, *plain]


class PatternBody:
    """A body described by a pattern: the groups' spans in the example are replaced."""

    def __init__(self, description: Description, body: bytes, unit: str | None) -> None:
        decoding = description.decoding
        assert decoding.pattern is not None
        self._name = description.name
        self._pattern = re.compile(decoding.pattern, re.ASCII)
        self._text = body.decode("latin-1")
        found = self._pattern.fullmatch(self._text)
        if found is None or not found["value"]:
            raise EncodingError(f"{self._name}: example: does not match its own pattern")
        # A group that is empty in the example has no place of its own to be written to.
        self._spans = {name: found.span(name) for name, text in found.groupdict().items() if text}
        shown = {name: found[name] for name in self._spans}
        begin, end = self._spans["value"]
        column = begin
        while column and self._text[column - 1] == " " and not self._taken(column - 1):
            column -= 1
        self._spans["value"] = (column, end)
        places = int(shown["decimals"]) if "decimals" in shown else None
        self._digits = _read_digits(shown["value"], decoding, begin - column, places)
        self._exponent = shown.get("exponent", "")
        self._lead = len(shown["value"].strip(" +-").partition(decoding.decimal_mark)[0])
        chosen, own = _choose_unit(description, shown.get("unit", ""), unit)
        self.unit = chosen.name
        self._fixed: dict[str, str] = {}
        if chosen.sent is not None:
            self._fixed["unit"] = chosen.sent
            if self._digits.marked or "decimals" in shown:
                self._digits = _as_fine(self._digits, own, chosen.name)
            if "decimals" in shown:
                self._fixed["decimals"] = str(self._digits.places)
        self._signs = {
            negative: self._find_sign(decoding, shown.get("sign", ""), negative)
            for negative in (False, True)
        }

    def _taken(self, index: int) -> bool:
        return any(begin <= index < end for begin, end in self._spans.values())

    @property
    def step(self) -> Decimal:
        """The weight of the last digit in the example, in the unit that is sent."""
        return self._digits.step.scaleb(int(self._exponent or 0))

    def write(self, value: Decimal) -> bytes:
        """The body that says `value`, in the unit that is sent."""
        mantissa, power = self._split(value) if self._exponent else (self._digits.rounded(value), 0)
        sign = self._signs[mantissa < 0]
        if sign is None:
            raise EncodingError(f"{self._name}: has no way to send the sign of {value}")
        text = self._rendered(mantissa, power, sign)
        if self._pattern.fullmatch(text) is None:
            raise EncodingError(f"{self._name}: {value} cannot be written as its pattern says")
        return text.encode("latin-1")

    def _split(self, value: Decimal) -> tuple[Decimal, int]:
        """Mantissa and power of ten, with as many digits before the mark as the example."""
        digits, before = self._digits, self._lead - 1
        # An indicator has one finest step, whatever its exponent could say. Rounded once only.
        coarse = digits.step.scaleb(value.adjusted() - before)
        nearest = _rounded(value, max(self.step, coarse))
        if not nearest:
            return Decimal(0), 0
        power = nearest.adjusted() - before
        return digits.rounded(nearest.scaleb(-power)), power

    def _rendered(self, mantissa: Decimal, power: int, sign: str) -> str:
        texts = dict(self._fixed)
        if "sign" in self._spans:
            texts["sign"] = sign
            texts["value"] = self._digits.write(mantissa)
        else:
            texts["value"] = self._digits.write(mantissa, sign)
        if self._exponent:
            signed = "+" if self._exponent[0] in "+-" else ""
            texts["exponent"] = f"{power:{signed}0{len(self._exponent)}d}"
        whole = self._text
        for name, (begin, end) in sorted(self._spans.items(), key=lambda item: -item[1][0]):
            whole = whole[:begin] + texts.get(name, whole[begin:end]) + whole[end:]
        return whole

    def _find_sign(self, decoding: Decoding, shown: str, negative: bool) -> str | None:
        """What to write for a sign, None when the pattern has no way to say it."""
        candidates = _sign_candidates(decoding, shown, negative)
        if "sign" not in self._spans and not negative:
            candidates = ["+"] if self._digits.plus else [""]
        for sign in candidates:
            if self._pattern.fullmatch(self._rendered(self._digits.rounded(Decimal(0)), 0, sign)):
                return sign
        return None


class LayoutBody:
    """A body of fixed layout: the fields' bytes in the example are replaced."""

    def __init__(self, description: Description, body: bytes, unit: str | None) -> None:
        decoding = description.decoding
        self._name = description.name
        self._decoding = decoding
        self._example = body
        self._fields: dict[str, Field] = {field.name: field for field in decoding.layout}
        if len(body) < max(field.at + field.length for field in decoding.layout):
            raise EncodingError(f"{self._name}: example: is shorter than its own layout")
        shown = {name: _get(field, body) for name, field in self._fields.items()}
        self._power = int(shown.get("exponent", "0"))
        places = int(shown["decimals"]) if "decimals" in shown else None
        self._digits = _read_digits(shown["value"], decoding, 0, places)
        self._sign_shown = shown.get("sign", "")
        chosen, own = _choose_unit(description, shown.get("unit", ""), unit)
        self.unit = chosen.name
        self._fixed: dict[str, str] = {}
        if chosen.sent is not None:
            self._fixed["unit"] = chosen.sent
            if self._digits.marked or "decimals" in shown:
                self._digits = _as_fine(self._digits, own, chosen.name)
            if "decimals" in shown:
                self._fixed["decimals"] = str(self._digits.places)

    @property
    def step(self) -> Decimal:
        """The weight of the last digit, in the unit that is sent."""
        return self._digits.step.scaleb(self._power)

    def write(self, value: Decimal) -> bytes:
        """The body that says `value`, in the unit that is sent."""
        number = self._digits.rounded(value.scaleb(-self._power))
        body = bytearray(self._example)
        texts = dict(self._fixed)
        field = self._fields["value"]
        size = number
        if "sign" in self._fields:
            texts["sign"] = self._sign(number < 0)
            size = abs(number)
        if field.kind == "text":
            glued = "-" if size < 0 else "+" if self._digits.plus else ""
            texts["value"] = self._digits.write(size, glued)
        else:
            texts["value"] = str(int(size.scaleb(self._digits.places)))
        for name, text in texts.items():
            place = self._fields[name]
            body[place.at : place.at + place.length] = self._put(place, text)
        return bytes(body)

    def _sign(self, negative: bool) -> str:
        length = self._fields["sign"].length
        binary = self._fields["sign"].kind != "text"
        for sign in _sign_candidates(self._decoding, self._sign_shown, negative):
            if sign.isdecimal() if binary else len(sign) == length:
                return sign
        raise EncodingError(f"{self._name}: has no way to send a {'minus' if negative else 'plus'}")

    def _put(self, field: Field, text: str) -> bytes:
        """The bytes of a field that says `text`."""
        fault = EncodingError(f"{self._name}: {text} has no room in the field {field.name}")
        if field.kind == "text":
            if len(text) > field.length:
                raise fault
            return text.rjust(field.length).encode("latin-1")
        try:
            signed = field.kind.startswith("int")
            return int(text).to_bytes(field.length, _order(field), signed=signed)
        except OverflowError as error:
            raise fault from error


def _get(field: Field, body: bytes) -> str:
    """What a field of the example says, as text."""
    part = body[field.at : field.at + field.length]
    if field.kind == "text":
        return part.decode("latin-1")
    return str(int.from_bytes(part, _order(field), signed=field.kind.startswith("int")))


def _order(field: Field) -> Literal["little", "big"]:
    return "little" if field.kind.endswith("le") else "big"
