"""Formats that no one has described: made up by the hundred, each with the truth about it.

A format is a description and a template with live fields around the value: a counter, a clock, a
battery, a temperature, a status letter. The same seed makes the same formats and the same frames.
Nothing here is a real indicator's; the parts are those that open conventions and common sense know.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from decimal import Decimal
from typing import Literal

import msgspec

from gaugelink.devices import checksums
from gaugelink.devices.description import (
    Ask,
    ByGap,
    ByLength,
    ByMarks,
    ByTerminator,
    Checksum,
    Decoding,
    Description,
    Field,
    Framing,
    LinkSettings,
)
from gaugelink.units import factor
from simulators.encoding import wrapped
from simulators.format_parts import EXTRA_PATTERN, Sign, Value, extra
from simulators.line import with_parity

SPEEDS = (300, 600, 1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200)


class Format(msgspec.Struct, frozen=True):
    """A format with its truth."""

    name: str
    description: Description
    seed: int
    rate: float
    """Frames per second."""
    value: Value
    parts: tuple[str, ...]
    """The frame's parts in order: `value`, `unit`, `check`, an extra field, or text as it is."""
    binary: tuple[str, ...] = ()
    """Parts of a binary frame: `sync`, `value`, `counter`, `status`, `zero`, `check`."""

    @property
    def says_unit(self) -> bool:
        """Whether the unit and the decimal places are sent, so that nothing is left to guess."""
        marked = bool(self.value.mark) or not self.value.places
        return not self.binary and bool(self.value.word) and marked

    def hundredths(self, index: int) -> Decimal:
        """Where the spindle is at a frame: moved slowly up and down by hand, with a tremor."""
        chance = random.Random(f"{self.seed}/hand")
        centre, swing = chance.uniform(150, 500), chance.uniform(140, 480)
        pace, phase = chance.uniform(0.12, 0.4), chance.uniform(0, math.tau)
        seconds = index / self.rate
        at = centre + swing * math.sin(math.tau * pace * seconds + phase)
        at += 1.5 * math.sin(math.tau * 7.3 * seconds)
        if self.value.sign == "none" or (self.binary and self.description.unit == "hundredths"):
            at = abs(at)
        return Decimal(repr(round(at, 3)))

    def frame(self, index: int) -> bytes:
        """The frame of that number, as it goes over the line."""
        if self.binary:
            return self._binary(index)
        text = "".join(self._part(part, index) for part in self.parts)
        payload = text.encode("latin-1")
        framing, rule = self.description.framing, self.description.checksum
        if rule is not None:
            payload += checksums.write(rule, payload[rule.start : self._checked(payload, rule)])
        frame = wrapped(framing, payload)
        link = self.description.link
        return with_parity(frame, link.parity) if link.bits == 7 else frame

    def _checked(self, payload: bytes, rule: Checksum) -> int:
        """Where the checked bytes end: those before the check but for what the rule leaves out."""
        left_out = rule.at - (rule.stop if rule.stop is not None else rule.at)
        return len(payload) - left_out

    def _part(self, part: str, index: int) -> str:
        match part:
            case "value":
                return self.value.write(self.hundredths(index))
            case "unit":
                return self.value.word
        return extra(part, index, self.rate, self.seed)

    def _binary(self, index: int) -> bytes:
        (field,) = self.description.decoding.layout
        number = int((self.hundredths(index) / factor(self.description.unit)).to_integral_value())
        order: Literal["little", "big"] = "little" if field.kind == "int-le" else "big"
        made = b""
        for part in self.binary:
            match part:
                case "value":
                    made += number.to_bytes(field.length, order, signed=True)
                case "counter":
                    made += bytes([(index + self.seed) % 256])
                case "status":
                    made += bytes([index // 40 % 2])
                case "battery":
                    made += bytes([97 - index // 300])
                case "check":
                    rule = self.description.checksum
                    assert rule is not None
                    made += checksums.write(rule, made[rule.start :])
                case _:
                    made += part.encode("latin-1")
        return made


def formats(count: int, seed: int) -> list[Format]:
    """So many formats, of all kinds, the same for the same seed."""
    return [_format(index, random.Random(f"{seed}/{index}"), seed) for index in range(count)]


def _format(index: int, chance: random.Random, seed: int) -> Format:
    baud = SPEEDS[index % len(SPEEDS)]
    own = seed * 10_000 + index
    return _binary(own, chance, baud) if chance.random() < 0.18 else _text(own, chance, baud)


_VALUES = (
    *(Value("mm", places, word) for places in (2, 3) for word in ("mm", "MM", " mm", "")),
    *(Value("in", places, word) for places in (4, 5) for word in ("in", "IN", "", '"', " inch")),
    Value("um", 0, "um"),
    Value("um", 1, "um"),
    Value("um", 0, "\xb5m"),
    Value("thou", 1, "mil"),
    Value("thou", 2, " thou"),
    Value("hundredths", 0, ""),
    Value("um", 0, ""),
    Value("m", 0, "", power=True),
    Value("m", 0, "m", power=True),
    Value("mm", 3, "mm", mark=""),
    Value("mm", 2, "", mark=""),
    Value("mm", 3, "", mark=""),
)


def _value(chance: random.Random, separator: str) -> Value:
    value = chance.choice(_VALUES)
    if value.power:
        return value
    signs: tuple[Sign, ...] = ("always", "minus", "space", "apart", "behind", "none")
    sign = chance.choice(signs)
    marks = (".", ".", ",") if separator != "," else (".",)
    return msgspec.structs.replace(
        value,
        sign=sign,
        before=chance.choice((1, 1, 2, 3)),
        spaces=chance.random() < 0.3,
        mark=chance.choice(marks) if value.mark and value.places else "",
    )


def _text(own: int, chance: random.Random, baud: int) -> Format:
    separator = chance.choice((",", ";", " ", "\t", " ", "/", "|"))
    value = _value(chance, separator)
    parts = ["value", "unit"] if value.word else ["value"]
    if value.word and chance.random() < 0.12 and value.sign != "behind":
        parts = ["unit", " ", "value"]
    for _ in range(chance.choice((0, 0, 1, 2, 3))):
        known = tuple(kind for kind in EXTRA_PATTERN if kind not in parts)
        kind = chance.choice(known)
        parts = [kind, separator, *parts] if chance.random() < 0.5 else [*parts, separator, kind]
    framing, checksum, opening = _framing(chance, len(parts) > 2)
    parts = [*opening, *parts]
    if checksum is not None and isinstance(framing, ByTerminator) and chance.random() < 0.6:
        parts.append("*")
        checksum = msgspec.structs.replace(checksum, stop=checksum.at - 1)
    described = Description(
        name=f"made-up-{own}",
        title="Made up",
        framing=framing,
        decoding=Decoding(
            pattern="".join(_pattern(part, value) for part in parts),
            decimal_mark="," if value.mark == "," else ".",
            decimals=0 if value.mark or value.power else value.places,
            units={value.word.strip(): value.unit} if value.word else {},
        ),
        link=_link(chance, baud, value),
        unit=value.unit,
        checksum=checksum,
    )
    described, rate = _asked(described, chance, sum(map(len, parts)) + 8)
    return Format(_named(described, value, parts), described, own, rate, value, tuple(parts))


def _pattern(part: str, value: Value) -> str:
    if part == "value":
        return value.pattern
    if part == "unit":
        return " *(?P<unit>[^ 0-9+-]+)"
    return EXTRA_PATTERN.get(part) or "".join(f"\\x{ord(each):02x}" for each in part)


def _framing(chance: random.Random, several: bool) -> tuple[Framing, Checksum | None, list[str]]:
    kind = chance.choice(
        ("cr", "lf", "crlf", "crlf", "marks", "marks", "gap", "etx", "stx-cr", "semicolon")
    )
    checksum = _checksum(chance) if chance.random() < 0.35 else None
    longest = 96
    match kind:
        case "marks":
            trailer = checksum.length if checksum is not None else 0
            start, end = chance.choice((("\x02", "\x03"), ("<", ">"), ("\x01", "\x04")))
            return ByMarks(start, end, trailer, longest), checksum, []
        case "gap":
            return ByGap(0.02, longest), checksum, []
        case "stx-cr":
            return ByTerminator("\r", longest), checksum, ["\x02"]
    end = {"cr": "\r", "lf": "\n", "crlf": "\r\n", "etx": "\x03", "semicolon": ";"}[kind]
    opening = chance.choice(([], [], ["$"], ["#"])) if several else []
    if end == ";" and several:
        end = "\r"
    return ByTerminator(end, longest), checksum, opening


def _checksum(chance: random.Random) -> Checksum:
    kind = chance.choice(("sum8", "sum8-negated", "xor8", "crc16-modbus", "crc16-ccitt"))
    length = 4 if kind.startswith("crc16") else 2
    return Checksum(kind=kind, written="hex", stop=-length, at=-length, length=length)  # type: ignore[arg-type]


def _link(chance: random.Random, baud: int, value: Value) -> LinkSettings:
    stop: Literal[1, 2] = chance.choice((1, 1, 2))
    eight = not value.word.isascii() or chance.random() < 0.6
    if eight:
        parity: Literal["none", "even", "odd"] = chance.choice(("none", "none", "none", "even"))
        return LinkSettings(baud=baud, parity=parity, stop=stop)
    return LinkSettings(
        baud=baud, bits=7, parity=chance.choice(("even", "odd", "even", "mark", "space")), stop=stop
    )


REQUESTS = ("?", "?\r", "?\r\n", "\r", "READ?\n", "READ?\r\n", "MEAS?\n", "FETC?\r\n", "MEAS?\r")


def _asked(described: Description, chance: random.Random, length: int) -> tuple[Description, float]:
    """Asked or by itself, and as often as the line can carry."""
    fastest = described.link.baud / (11 * length)
    rate = min(chance.choice((4.0, 8.0, 10.0, 20.0)), 0.7 * fastest)
    if chance.random() < 0.2:
        ask = Ask(chance.choice(REQUESTS))
        described = msgspec.structs.replace(described, sends="when-asked", ask=ask)
        rate = max(rate, 4.0)
    return described, rate


def _named(described: Description, value: Value, parts: Sequence[str]) -> str:
    """What the format is, in a few words."""
    framing = described.framing
    match framing:
        case ByTerminator():
            ends = repr(framing.end)
        case ByMarks():
            ends = f"{framing.start!r}…{framing.end!r}"
        case ByLength():
            ends = f"{framing.length} bytes"
        case ByGap():
            ends = "silence"
    check = described.checksum.kind if described.checksum else "no check"
    asked = f"asked {described.ask.send!r}" if described.ask else "by itself"
    kinds = " ".join(part if part.isprintable() else repr(part) for part in parts)
    return (
        f"{described.link.short} {ends} [{kinds}] {value.sign} {value.unit} "
        f"{value.places}{value.mark} {check} {asked}"
    )


def _binary(own: int, chance: random.Random, baud: int) -> Format:
    size = chance.choice((2, 4, 4))
    kind: Literal["int-le", "int-be"] = chance.choice(("int-le", "int-be"))
    unit = chance.choice(("um", "um", "hundredths"))
    parts = [chance.choice(("\xaa\x55", "\xa5", "\x7e\x01", "\xfe\xed"))]
    if chance.random() < 0.4:
        parts.append(chance.choice(("counter", "battery", "\x01")))
    at = sum(1 if part in ("counter", "battery") else len(part) for part in parts)
    parts.append("value")
    length = at + size
    if chance.random() < 0.5:
        parts.append(chance.choice(("status", "battery")))
        length += 1
    checksum = None
    if chance.random() < 0.8:
        checksum = _binary_checksum(chance)
        parts.append("check")
        length += checksum.length
    sync = parts[0]
    described = Description(
        name=f"made-up-{own}",
        title="Made up",
        framing=ByLength(length, sync),
        decoding=Decoding(layout=[Field("value", at, size, kind)]),
        link=LinkSettings(baud=baud),
        unit=unit,
        checksum=checksum,
    )
    rate = min(chance.choice((5.0, 10.0, 20.0)), 0.7 * baud / (11 * length))
    value = Value(unit, 0, mark="")
    name = _named(described, value, parts)
    return Format(name, described, own, rate, value, (), tuple(parts))


def _binary_checksum(chance: random.Random) -> Checksum:
    kind = chance.choice(("sum8", "xor8", "sum8-negated", "crc16-modbus", "crc16-ccitt"))
    start = chance.choice((0, 0, 1))
    if not kind.startswith("crc16"):
        return Checksum(kind=kind, written="byte", start=start, stop=-1, at=-1, length=1)  # type: ignore[arg-type]
    written: Literal["little-endian", "big-endian"] = chance.choice(("little-endian", "big-endian"))
    return Checksum(kind=kind, written=written, start=start, stop=-2, at=-2, length=2)  # type: ignore[arg-type]
