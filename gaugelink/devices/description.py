"""What an indicator's bytes look like, as data: the device descriptions.

A description is a TOML file. It names the line's settings, where a frame ends, how to ask when the
indicator must be asked, how the value is written, and the checksum. A description is named for
what it is ("signed decimal, unit suffix, carriage return"), never for who made the indicator.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal
from typing import Literal

import msgspec

from gaugelink.devices.bluetooth import presentation
from gaugelink.devices.bluetooth.presentation import Presentation
from gaugelink.reading import GaugelinkError
from gaugelink.units import UnitError, canonical


class DescriptionError(GaugelinkError):
    """A description file that cannot be used; the text names the file, the path and the fault."""


class LinkSettings(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """How the serial line is set, or which characteristic of a Bluetooth device is read."""

    baud: int = 9600
    bits: Literal[7, 8] = 8
    parity: Literal["none", "even", "odd", "mark", "space"] = "none"
    stop: Literal[1, 2] = 1
    dtr: bool = True
    """Many indicators draw the power of their output stage from these two lines."""
    rts: bool = True
    characteristic: str = ""
    """Over Bluetooth, the UUID of the characteristic to read; empty: the device says which."""

    @property
    def short(self) -> str:
        """The usual short form, such as `9600 8N1`."""
        return f"{self.baud} {self.bits}{self.parity[0].upper()}{self.stop}"


class ByTerminator(
    msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="by", tag="terminator"
):
    """A frame ends where `end` stands; the end is not part of the frame."""

    end: str = "\r"
    longest: int = 64
    """Bytes; a longer frame is refused whole."""


class ByMarks(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="by", tag="marks"):
    """A frame stands between `start` and `end`, with `trailer` more bytes (a checksum) after it.

    The frame handed on holds what is between the marks, then the trailer.
    """

    start: str = "\x02"
    end: str = "\x03"
    trailer: int = 0
    longest: int = 64


class ByLength(
    msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="by", tag="length"
):
    """Every frame is `length` bytes, beginning with `sync` (which counts, and stays in it)."""

    length: int
    sync: str = ""
    gap: float = 0.05
    """Seconds of silence after which a part of a frame is given up, to find the beginning again."""


class ByGap(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="by", tag="gap"):
    """A frame ends when the line has been silent for `gap` seconds."""

    gap: float = 0.03
    longest: int = 64


class ByPacket(
    msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="by", tag="packet"
):
    """Every chunk is one frame: the link itself keeps them apart, as Bluetooth does."""

    longest: int = 512
    """Bytes; the most that one Bluetooth value can hold."""


Framing = ByTerminator | ByMarks | ByLength | ByGap | ByPacket


class Field(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One field of a fixed layout: `length` bytes from byte `at` of the frame."""

    name: Literal["sign", "value", "exponent", "decimals", "unit", "status"]
    at: int
    length: int = 1
    kind: Literal["text", "int-le", "uint-le", "int-be", "uint-be"] = "text"


class Decoding(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """How a frame says its value: by a pattern with named groups, by a fixed layout, or by the
    presentation of one number.

    Groups of a pattern: `sign`, `value`, `exponent` (a power of ten), `decimals` (a count of
    decimal places), `unit`, `status`. The pattern must match the whole frame.
    """

    pattern: str | None = None
    layout: list[Field] = []
    presentation: Presentation | None = None
    """The frame is one number, presented as a Bluetooth characteristic is."""
    decimal_mark: Literal[".", ","] = "."
    decimals: int = 0
    """Decimal places implied when no mark is sent."""
    signs: dict[str, Literal["+", "-"]] = {}
    """What stands for a sign when it is not a plus or a minus; a space is always a plus."""
    units: dict[str, str] = {}
    """What the device sends for a unit, and the unit that it means."""
    status: dict[str, str] = {}
    """What the device sends as its status, and in words what it means (empty: nothing to say)."""
    refuse: list[str] = []
    """Status words that make the number worthless, such as an overflow."""


class Checksum(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The check over the frame's bytes from `start` to `stop` (slices as in Python)."""

    kind: Literal["sum8", "sum8-negated", "xor8", "crc16-modbus", "crc16-ccitt"]
    written: Literal["hex", "byte", "little-endian", "big-endian"] = "hex"
    """`hex` digits in text, one `byte`, or a two-byte word."""
    start: int = 0
    stop: int | None = None
    at: int = -2
    """Where the check stands, counted as a slice start."""
    length: int = 2


class Ask(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What is sent to get a value, how often, and how long to wait for the answer; seconds."""

    send: str
    every: float = 0.1
    wait: float = 0.5


class Description(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A device description, whole."""

    name: str
    title: str
    framing: Framing
    decoding: Decoding
    link: LinkSettings = LinkSettings()
    unit: str = "mm"
    """The unit when the device sends none."""
    sends: Literal["stream", "on-button", "when-asked"] = "stream"
    range: tuple[Decimal, Decimal] = (Decimal(-30), Decimal(30))
    """Lowest and highest credible value in millimetres; outside it is refused and counted."""
    ask: Ask | None = None
    checksum: Checksum | None = None
    note: str = ""
    example: str = ""
    """One frame as it goes over the line, end included; the tests decode the shipped ones."""


_UUID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", re.ASCII | re.IGNORECASE)

_GROUPS = {"sign", "value", "exponent", "decimals", "unit", "status"}

MOST_PLACES = presentation.MOST_PLACES
"""Powers of ten, either way. A thickness has no use for more; a garbled exponent might."""

Fault = Callable[[str, str], DescriptionError]
"""Makes the error from the path inside the file and what is wrong there."""


def check(description: Description, source: str) -> None:
    """Refuse what the types alone cannot: raises DescriptionError naming the path and the fault."""

    def fault(path: str, said: str) -> DescriptionError:
        return DescriptionError(f"{source}: {path}: {said}")

    _check_framing(description, fault)
    _check_decoding(description, fault)
    _check_presentation(description, fault)
    _check_layout(description, fault)
    _check_meanings(description, fault)
    _check_characters(description, fault)
    _check_asking(description, fault)
    _check_checksum(description.checksum, fault)
    if not 50 <= description.link.baud <= 4_000_000:
        raise fault("link.baud", f"{description.link.baud} is not a speed of a serial line")
    characteristic = description.link.characteristic
    if characteristic and not _UUID.fullmatch(characteristic):
        raise fault("link.characteristic", f"{characteristic!r} is not a UUID of 128 bits")
    low, high = description.range
    if not (low.is_finite() and high.is_finite()):
        raise fault("range", "takes two numbers, in millimetres")
    if not low < high:
        raise fault("range", "the lowest value comes first")


def _check_decoding(description: Description, fault: Fault) -> None:
    decoding = description.decoding
    given = [decoding.pattern is not None, bool(decoding.layout), decoding.presentation is not None]
    if given.count(True) != 1:
        raise fault("decoding", "give either a pattern or a layout or a presentation")
    if decoding.presentation is not None:
        groups = {"value"}
    elif decoding.pattern is not None:
        try:
            groups = set(re.compile(decoding.pattern).groupindex)
        except (re.error, OverflowError, RecursionError) as error:
            raise fault("decoding.pattern", f"not a regular expression ({error})") from error
    else:
        groups = {field.name for field in decoding.layout}
    if "value" not in groups:
        raise fault("decoding", "needs a group or field named value")
    if strange := groups - _GROUPS:
        raise fault(
            "decoding.pattern",
            f"group {sorted(strange)[0]!r} is not one of {', '.join(sorted(_GROUPS))}",
        )
    if not 0 <= decoding.decimals <= MOST_PLACES:
        raise fault("decoding.decimals", f"counts decimal places, from 0 to {MOST_PLACES}")


def _check_presentation(description: Description, fault: Fault) -> None:
    presented = description.decoding.presentation
    if presented is None:
        return
    path = "decoding.presentation"
    try:
        canonical(presented.unit)
    except UnitError as error:
        raise fault(f"{path}.unit", str(error)) from error
    if presentation.is_float(presented.format) and presented.exponent:
        raise fault(f"{path}.exponent", f"{presented.format} has an exponent of its own")
    if abs(presented.exponent) > MOST_PLACES:
        raise fault(f"{path}.exponent", f"is a power of ten from -{MOST_PLACES} to {MOST_PLACES}")
    # What belongs to text or fields would be passed over without a word.
    if description.decoding != Decoding(presentation=presented):
        raise fault("decoding", "a presentation says all; nothing else may stand beside it")
    if description.checksum is not None:
        raise fault("checksum", "a presentation is the whole frame and leaves no room for a check")


def _check_layout(description: Description, fault: Fault) -> None:
    framing = description.framing
    whole = framing.length if isinstance(framing, ByLength) else framing.longest
    seen: set[str] = set()
    for index, field in enumerate(description.decoding.layout):
        path = f"decoding.layout[{index}]"
        if field.name in seen:
            raise fault(f"{path}.name", f"{field.name!r} stands twice")
        seen.add(field.name)
        if field.at < 0:
            raise fault(f"{path}.at", "counts bytes from 0, the frame's first")
        most = 64 if field.kind == "text" else 8
        if not 1 <= field.length <= most:
            raise fault(f"{path}.length", f"is in bytes, for {field.kind} from 1 to {most}")
        if field.at + field.length > whole:
            raise fault(path, f"ends after the frame's {whole} bytes")


def _check_meanings(description: Description, fault: Fault) -> None:
    decoding = description.decoding
    meant = {f"decoding.units.{sent}": unit for sent, unit in decoding.units.items()}
    for path, unit in {"unit": description.unit, **meant}.items():
        try:
            canonical(unit)
        except UnitError as error:
            raise fault(path, str(error)) from error
    for index, word in enumerate(decoding.refuse):
        # Taken as it stands it would never be met, and the worthless number would count.
        if word in decoding.status and word not in decoding.status.values():
            raise fault(
                f"decoding.refuse[{index}]",
                f"give the word that {word!r} stands for, {decoding.status[word]!r}",
            )


def _check_characters(description: Description, fault: Fault) -> None:
    """Each character of these texts is one byte on the line."""
    texts = {
        f"framing.{name}": getattr(description.framing, name, "")
        for name in ("start", "end", "sync")
    }
    if description.ask is not None:
        texts["ask.send"] = description.ask.send
    texts["example"] = description.example
    link = description.link
    most = 0x7F if link.bits == 7 and link.parity != "none" else 0xFF
    for path, text in texts.items():
        for character in text:
            if ord(character) > most:
                raise fault(
                    path,
                    f"{character!r} is not one byte of the line, from \\u0000 to \\u{most:04x}",
                )


def _check_framing(description: Description, fault: Fault) -> None:
    framing = description.framing
    if isinstance(framing, ByTerminator) and not framing.end:
        raise fault("framing.end", "a terminator cannot be empty")
    if isinstance(framing, ByMarks):
        if not (framing.start and framing.end):
            raise fault("framing", "both marks must be given")
        if framing.start == framing.end:
            raise fault("framing.end", "must differ from start: after noise none could tell them")
        if framing.start in framing.end[:-1]:
            raise fault("framing.end", "holds the start mark, so no frame could end")
        if not 0 <= framing.trailer <= 64:
            raise fault("framing.trailer", "is in bytes, from 0 to 64")
    if isinstance(framing, ByLength) and not max(1, len(framing.sync)) <= framing.length <= 4096:
        raise fault("framing.length", "must be at least 1, hold the sync bytes, and 4096 at most")
    if isinstance(framing, ByLength | ByGap) and not 0 < framing.gap <= 60:
        raise fault("framing.gap", "is in seconds and must be above 0, and 60 at most")
    if not isinstance(framing, ByLength) and not 1 <= framing.longest <= 4096:
        raise fault("framing.longest", "is in bytes, from 1 to 4096")


def _check_asking(description: Description, fault: Fault) -> None:
    ask = description.ask
    if ask is None:
        if description.sends == "when-asked":
            raise fault("ask", "an indicator that sends when asked needs what to send")
        return
    if not ask.send:
        raise fault("ask.send", "a question cannot be empty")
    for path, seconds in {"ask.every": ask.every, "ask.wait": ask.wait}.items():
        if not 0 < seconds <= 3600:
            raise fault(path, "is in seconds and must be above 0, and 3600 at most")


def _check_checksum(checksum: Checksum | None, fault: Fault) -> None:
    if checksum is None:
        return
    wide = checksum.kind.startswith("crc16")
    if wide and checksum.written == "byte":
        raise fault("checksum.written", f"{checksum.kind} does not fit one byte")
    wants = {"hex": 4 if wide else 2, "byte": 1, "little-endian": 2, "big-endian": 2}
    if checksum.length != wants[checksum.written]:
        raise fault(
            "checksum.length",
            f"{checksum.kind} as {checksum.written} takes {wants[checksum.written]}",
        )
    if -checksum.length < checksum.at < 0:
        raise fault("checksum.at", f"leaves no room for {checksum.length} bytes at the end")
