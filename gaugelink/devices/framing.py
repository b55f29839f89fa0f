"""From bytes to frames, as pure incremental functions.

A framer takes bytes in any pieces, with the time at which each piece came, and returns the frames
completed by it. The pieces never change the frames, except where the pieces are the frames. No
bytes raise: what cannot be a frame comes back as a frame with a `fault`, is counted, and never
becomes a reading.

After a fault a framer resumes at the next place where a frame can begin: after the next
terminator, at the next start mark, at the next sync bytes, after the next silence.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal, Protocol

import msgspec

from gaugelink.devices.description import (
    ByGap,
    ByLength,
    ByMarks,
    ByPacket,
    ByTerminator,
    Description,
    Framing,
)

TOO_LONG = "too long"
CUT_SHORT = "cut short"
PARITY = "parity"

BAD_PARITY = 0xFF
"""Stands for a character whose parity bit was wrong: no seven-bit character can be it."""


class Frame(msgspec.Struct, frozen=True, gc=False):
    """The bytes of one frame, when its last byte came, and what is wrong with it."""

    payload: bytes
    at: float
    fault: str = ""


class Framer(Protocol):
    """Cuts a stream of bytes into frames."""

    def feed(self, data: bytes, at: float) -> list[Frame]:
        """The frames that `data`, received at `at` seconds, completes."""
        ...

    def quiet(self, at: float) -> list[Frame]:
        """The frames that silence until `at` completes; nothing but a gap framer has any."""
        ...

    @property
    def patience(self) -> float | None:
        """Seconds of silence after the last byte at which `quiet` should be called, if any."""
        ...

    def reset(self) -> None:
        """Forget what has begun: the link was closed, and what follows is not its end."""
        ...


def _bytes(text: str) -> bytes:
    return text.encode("latin-1")


class TerminatorFramer:
    """Frames that end with a terminator, such as a carriage return."""

    patience: float | None = None

    def __init__(self, rule: ByTerminator) -> None:
        self._end = _bytes(rule.end)
        self._longest = rule.longest
        self._rest = b""
        self._overlong = b""
        """The beginning of a frame that has grown too long, empty while none has."""

    def feed(self, data: bytes, at: float) -> list[Frame]:
        parts = (self._rest + data).split(self._end)
        rest = parts.pop()
        frames = []
        for part in parts:
            if self._overlong or len(part) > self._longest:
                frames.append(Frame(self._overlong or part[: self._longest], at, TOO_LONG))
                self._overlong = b""
            elif part:
                frames.append(Frame(part, at))
        # Part of a terminator may stand at the end of what is kept, so it does not count as
        # payload yet; beyond the beginning of an overlong frame just that much is kept.
        tail = len(self._end) - 1
        if not self._overlong and len(rest) > self._longest + tail:
            self._overlong = rest[: self._longest]
        self._rest = rest[len(rest) - min(tail, len(rest)) :] if self._overlong else rest
        return frames

    def quiet(self, at: float) -> list[Frame]:
        return []

    def reset(self) -> None:
        self._rest = b""
        self._overlong = b""


class MarksFramer:
    """Frames between a start and an end mark, with a checksum after it perhaps.

    A start mark inside a frame means that the frame before it was cut short. The end mark is
    looked for before the trailer, so a trailer may hold any bytes. When the check of a frame fails
    its trailer may be the beginning of the next one, so it is looked through for a start mark.
    """

    patience: float | None = None

    def __init__(self, rule: ByMarks, sound: Callable[[bytes], bool] | None = None) -> None:
        self._sound = sound
        self._start = _bytes(rule.start)
        self._end = _bytes(rule.end)
        self._trailer = rule.trailer
        self._longest = rule.longest
        self._rest = bytearray()
        self._inside = False

    def feed(self, data: bytes, at: float) -> list[Frame]:
        self._rest += data
        frames: list[Frame] = []
        while self._step(frames, at):
            pass
        return frames

    def _step(self, frames: list[Frame], at: float) -> bool:
        """Take one frame or one fault off the buffer; False when more bytes are needed."""
        rest = self._rest
        if not self._inside:
            begin = rest.find(self._start)
            if begin < 0:
                keep = len(self._start) - 1
                del rest[: max(0, len(rest) - keep)]
                return False
            del rest[: begin + len(self._start)]
            self._inside = True
        end = rest.find(self._end, 0, self._longest + len(self._end))
        again = rest.find(self._start, 0, self._longest + len(self._start))
        # The mark that is complete first counts, so that bytes to come cannot change it.
        complete = end + len(self._end) if end >= 0 else len(rest) + 1
        if again >= 0 and again + len(self._start) < complete:
            frames.append(Frame(bytes(rest[:again]), at, CUT_SHORT))
            del rest[: again + len(self._start)]
            return True
        if end < 0:
            if len(rest) < self._longest + max(len(self._end), len(self._start)):
                return False
            frames.append(Frame(bytes(rest[: self._longest]), at, TOO_LONG))
            del rest[: self._longest]
            self._inside = False
            return True
        after = end + len(self._end)
        if len(rest) < after + self._trailer:
            return False
        payload = bytes(rest[:end] + rest[after : after + self._trailer])
        frames.append(Frame(payload, at))
        sound = self._sound is None or self._sound(payload)
        del rest[: after + self._trailer if sound else after]
        self._inside = False
        return True

    def quiet(self, at: float) -> list[Frame]:
        return []

    def reset(self) -> None:
        self._rest.clear()
        self._inside = False


class LengthFramer:
    """Frames of one length, found by their sync bytes, by their check and by silence.

    A frame whose check fails is given up by one byte only: its sync bytes may have been data, and
    the true beginning may stand inside it.
    """

    patience: float | None = None

    def __init__(self, rule: ByLength, sound: Callable[[bytes], bool] | None = None) -> None:
        self._length = rule.length
        self._sync = _bytes(rule.sync)
        self._gap = rule.gap
        self._sound = sound
        self._rest = bytearray()
        self._last = float("-inf")
        self._lost = 0
        """Bytes still to pass of the frame that was last reported as lost."""

    def feed(self, data: bytes, at: float) -> list[Frame]:
        if not data:
            return []
        frames: list[Frame] = []
        if self._rest and at - self._last > self._gap:
            frames.append(Frame(bytes(self._rest), self._last, CUT_SHORT))
            self._rest.clear()
            self._lost = 0
        self._last = at
        self._rest += data
        while self._find_sync() and len(self._rest) >= self._length:
            self._take(frames, at)
        return frames

    def _find_sync(self) -> bool:
        if not self._sync:
            return bool(self._rest)
        begin = self._rest.find(self._sync)
        if begin >= 0:
            self._drop(begin)
            return True
        # Keep only a tail that can be the beginning of the sync bytes.
        keep = next(
            (n for n in range(len(self._sync) - 1, 0, -1) if self._rest.endswith(self._sync[:n])),
            0,
        )
        self._drop(len(self._rest) - keep)
        return False

    def _drop(self, count: int) -> None:
        del self._rest[:count]
        self._lost = max(0, self._lost - count)

    def _take(self, frames: list[Frame], at: float) -> None:
        payload = bytes(self._rest[: self._length])
        if self._sound is None or self._sound(payload):
            frames.append(Frame(payload, at))
            del self._rest[: self._length]
            self._lost = 0
            return
        # One fault for one lost frame, however many places in it are tried to find the next.
        if not self._lost:
            frames.append(Frame(payload, at, "checksum"))
            self._lost = self._length
        self._drop(1)

    def quiet(self, at: float) -> list[Frame]:
        return []

    def reset(self) -> None:
        self._rest.clear()
        self._lost = 0


class GapFramer:
    """Frames that are set apart by silence alone."""

    def __init__(self, rule: ByGap) -> None:
        self._gap = rule.gap
        self._longest = rule.longest
        self._rest = bytearray()
        self._last = float("-inf")

    @property
    def patience(self) -> float | None:
        return self._gap if self._rest else None

    def feed(self, data: bytes, at: float) -> list[Frame]:
        if not data:
            return []
        frames = self.quiet(at)
        self._last = at
        # One byte more than the longest frame is enough to know that it is too long.
        self._rest += data[: max(0, self._longest + 1 - len(self._rest))]
        return frames

    def quiet(self, at: float) -> list[Frame]:
        if not self._rest or at - self._last < self._gap:
            return []
        payload = bytes(self._rest)
        self._rest.clear()
        if len(payload) > self._longest:
            return [Frame(payload[: self._longest], self._last, TOO_LONG)]
        return [Frame(payload, self._last)]

    def reset(self) -> None:
        self._rest.clear()


class PacketFramer:
    """Frames that come whole, each a chunk of its own."""

    patience: float | None = None

    def __init__(self, rule: ByPacket) -> None:
        self._longest = rule.longest

    def feed(self, data: bytes, at: float) -> list[Frame]:
        if len(data) > self._longest:
            return [Frame(data[: self._longest], at, TOO_LONG)]
        return [Frame(data, at)] if data else []

    def quiet(self, at: float) -> list[Frame]:
        return []

    def reset(self) -> None:
        """Nothing is kept from one chunk to the next."""


Parity = Literal["none", "even", "odd", "mark", "space"]


def with_parity(data: bytes, parity: Parity) -> bytes:
    """Seven-bit characters as they go over the line, their parity in bit 7."""
    if parity == "none":
        return data
    return bytes(low | _parity_bit(low, parity) << 7 for low in (byte & 0x7F for byte in data))


def _parity_bit(character: int, parity: Parity) -> int:
    odd = character.bit_count() % 2
    return {"none": 0, "even": odd, "odd": 1 - odd, "mark": 1, "space": 0}[parity]


def _parity_table(parity: Parity) -> bytes:
    return bytes(
        byte & 0x7F if byte >> 7 == _parity_bit(byte & 0x7F, parity) else BAD_PARITY
        for byte in range(256)
    )


class SevenBitFramer:
    """Checks and takes off the parity that stands in bit 7, then frames the characters.

    Seven bits with parity take as long as eight without, so the port is opened with eight and
    the parity arrives as bit 7. A pseudo-terminal's kernel side ignores both settings and so
    gives the very same bytes: one way is right for both.
    """

    def __init__(self, parity: Parity, inner: Framer) -> None:
        self._table = _parity_table(parity)
        self._inner = inner

    @property
    def patience(self) -> float | None:
        return self._inner.patience

    def feed(self, data: bytes, at: float) -> list[Frame]:
        return self._checked(self._inner.feed(data.translate(self._table), at))

    def quiet(self, at: float) -> list[Frame]:
        return self._checked(self._inner.quiet(at))

    def _checked(self, frames: list[Frame]) -> list[Frame]:
        return [
            Frame(frame.payload, frame.at, PARITY) if BAD_PARITY in frame.payload else frame
            for frame in frames
        ]

    def reset(self) -> None:
        self._inner.reset()


def _plain_framer(rule: Framing, sound: Callable[[bytes], bool] | None) -> Framer:
    match rule:
        case ByTerminator():
            return TerminatorFramer(rule)
        case ByMarks():
            return MarksFramer(rule, sound)
        case ByLength():
            return LengthFramer(rule, sound)
        case ByGap():
            return GapFramer(rule)
        case ByPacket():
            return PacketFramer(rule)


def framer_for(description: Description, sound: Callable[[bytes], bool] | None = None) -> Framer:
    """The framer that a description asks for.

    `sound` says whether a whole frame's check holds; a framer that must find the beginning of a
    frame by itself uses it.
    """
    framer = _plain_framer(description.framing, sound)
    link = description.link
    if link.bits == 7 and link.parity != "none":
        return SevenBitFramer(link.parity, framer)
    return framer
