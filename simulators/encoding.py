"""From a length to an indicator's bytes: the inverse of decoding, for any device description.

The description's own example is the template. It is taken apart as the description says, the
number in it is replaced, everything else stays, and the check is computed anew.
"""

from __future__ import annotations

from decimal import Decimal
from functools import cached_property

from gaugelink.devices import checksums
from gaugelink.devices.description import (
    ByLength,
    ByMarks,
    ByTerminator,
    Checksum,
    Description,
    Framing,
)
from gaugelink.units import factor
from simulators.bodies import EncodingError, LayoutBody, PatternBody
from simulators.line import with_parity
from simulators.presented import PresentedBody

__all__ = ["Encoder", "EncodingError"]


class Encoder:
    """Writes the frames of one description.

    `unit` chooses among the units that the description can send; without it the example's is
    used. Raises EncodingError for a description without a fitting example, or without that unit.
    The first frame needs the unit's factor, for which pint is imported: about half a second.
    """

    def __init__(self, description: Description, unit: str | None = None) -> None:
        presented = description.decoding.presentation
        if not description.example and presented is None:
            raise EncodingError(
                f"{description.name}: has no example, from which its frames could be made; add one"
            )
        self._description = description
        self._check = description.checksum
        example = description.example.encode("latin-1")
        self._body: PatternBody | LayoutBody | PresentedBody
        if presented is not None:
            self._body = PresentedBody(presented)
            return
        payload = _unwrapped(description.framing, example, description.name)
        if description.decoding.pattern is None:
            self._body = LayoutBody(description, payload, unit)
        else:
            if self._check is not None:
                payload = checksums.split(self._check, payload)[2]
            self._body = PatternBody(description, payload, unit)

    @property
    def unit(self) -> str:
        """The canonical name of the unit that is sent."""
        return self._body.unit

    @cached_property
    def step(self) -> Decimal:
        """Hundredths of a millimetre in the last digit, as the example has it."""
        return self._body.step * factor(self.unit)

    def encode(self, hundredths: Decimal) -> bytes:
        """The frame that says the nearest value to `hundredths`, as it goes over the line.

        Raises EncodingError for a value that has no room in the frame or no sign to be sent with.
        """
        payload = self._body.write(hundredths / factor(self.unit))
        if self._check is not None:
            if isinstance(self._body, PatternBody):
                payload = _with_room(self._check, payload)
            payload = _checked(self._check, payload)
        framing = self._description.framing
        most = framing.length if isinstance(framing, ByLength) else framing.longest
        if len(payload) > most:
            raise EncodingError(f"{self._description.name}: {hundredths} has no room in a frame")
        frame = wrapped(framing, payload)
        link = self._description.link
        return with_parity(frame, link.parity) if link.bits == 7 else frame


def _unwrapped(framing: Framing, frame: bytes, name: str) -> bytes:
    """What stands inside a frame: between its marks, before its terminator."""
    fault = EncodingError(f"{name}: example: is not a frame as its framing says")
    match framing:
        case ByTerminator():
            end = framing.end.encode("latin-1")
            if not frame.endswith(end):
                raise fault
            return frame[: -len(end)]
        case ByMarks():
            start, end = framing.start.encode("latin-1"), framing.end.encode("latin-1")
            before = len(frame) - framing.trailer
            inside, trailer = frame[:before], frame[before:]
            if not (inside.startswith(start) and inside.endswith(end)):
                raise fault
            return inside[len(start) : -len(end)] + trailer
        case ByLength():
            if len(frame) != framing.length:
                raise fault
    return frame


def wrapped(framing: Framing, payload: bytes) -> bytes:
    """A frame around `payload`, its trailer (if any) at its end."""
    match framing:
        case ByTerminator():
            return payload + framing.end.encode("latin-1")
        case ByMarks():
            before = len(payload) - framing.trailer
            start, end = framing.start.encode("latin-1"), framing.end.encode("latin-1")
            return start + payload[:before] + end + payload[before:]
    return payload


def _place(rule: Checksum, size: int) -> int:
    """Where the check begins in a payload of `size` bytes."""
    return max(rule.at if rule.at >= 0 else size + rule.at, 0)


def _with_room(rule: Checksum, body: bytes) -> bytes:
    """`body` with empty bytes where its check belongs."""
    at = _place(rule, len(body) + rule.length)
    return body[:at] + bytes(rule.length) + body[at:]


def _checked(rule: Checksum, payload: bytes) -> bytes:
    """`payload` with the right check in its place."""
    at = _place(rule, len(payload))
    check = checksums.write(rule, checksums.split(rule, payload)[0])
    return payload[:at] + check + payload[at + rule.length :]
