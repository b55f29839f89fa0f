"""What was found out: the description, the reasons, how sure it is, and what could be otherwise."""

from __future__ import annotations

from collections.abc import Container, Sequence
from typing import Literal

import msgspec

from gaugelink.devices.decoding import Decoded, Decoder
from gaugelink.devices.description import (
    Ask,
    ByLength,
    ByMarks,
    ByPacket,
    ByTerminator,
    Checksum,
    Decoding,
    Description,
    Framing,
    LinkSettings,
)
from gaugelink.devices.framing import Frame, framer_for
from gaugelink.devices.link import Chunk
from gaugelink.devices.teaching import policy
from gaugelink.devices.teaching.characters import Parity
from gaugelink.devices.teaching.tokens import label_of

Sends = Literal["stream", "on-button", "when-asked"]


class Line(msgspec.Struct, frozen=True):
    """What is known of the line before its frames are looked at."""

    baud: int
    """Bits a second; 0 over Bluetooth, which has no such thing."""
    parity: Parity = "none"
    request: str = ""
    """What the indicator was asked with, empty when it sends by itself."""
    sends: Sends = "stream"
    characteristic: str = ""
    """Over Bluetooth, the UUID of the characteristic that is listened to, where it is known."""

    @property
    def by_air(self) -> bool:
        """Whether it is no serial line, but a characteristic of a Bluetooth device."""
        return not self.baud

    @property
    def settings(self) -> LinkSettings:
        """How the line is to be set for what is known of it."""
        if self.by_air:
            return LinkSettings(characteristic=self.characteristic)
        if self.parity == "none":
            return LinkSettings(baud=self.baud)
        return LinkSettings(baud=self.baud, bits=7, parity=self.parity)

    @property
    def words(self) -> str:
        """The line in a few words."""
        return "Bluetooth" if self.by_air else self.settings.short

    def seconds(self, characters: int) -> float:
        """How long so many characters take to arrive, the way there and back included."""
        return policy.ON_THE_AIR if self.by_air else 11 * characters / self.baud

    @property
    def silence(self) -> float:
        """Seconds without a byte after which what comes is likely another frame."""
        return policy.BETWEEN_PACKETS if self.by_air else self.seconds(4)

    @property
    def whole(self) -> bool:
        """Whether the first frame is known to have its beginning."""
        return self.sends != "stream"


class Choice(msgspec.Struct, frozen=True):
    """One understanding of what was heard: which number, in which unit."""

    decoding: Decoding
    unit: str
    says: str
    """In plain words, for the question."""


class Hypothesis(msgspec.Struct, frozen=True):
    """One way to read what was heard, with its reasons."""

    framing: Framing
    checksum: Checksum | None
    choices: list[Choice]
    """The likeliest first."""
    question: str
    """Asked when the choices are close; empty otherwise."""
    share: float
    """How likely the first choice is."""
    score: float
    moved: bool
    frames: list[Frame]
    evidence: list[str]
    enough: int = policy.ENOUGH_FRAMES
    """Frames after which it would hardly change."""
    others: frozenset[str] = frozenset()
    """Labels of frames of other kinds, which say something else than the thickness."""


class Finding(msgspec.Struct, frozen=True):
    """The answer to `gaugelink teach`."""

    description: Description
    evidence: list[str]
    sure: float
    """0 to 1."""
    question: str | None
    alternatives: list[tuple[str, Description]] | None
    """What each answer to the question would mean, the best first."""
    enough: bool
    """Whether listening on would hardly change it."""
    moved: bool
    sound: bool
    """The description reads nearly all whole frames that were heard."""
    score: float
    """Points of the evidence, to compare findings at different speeds."""


def describe(hypothesis: Hypothesis, line: Line, choice: Choice, name: str) -> Description:
    """The description of a choice."""
    ask = None
    if line.request:
        time = line.seconds(len(line.request) + 24)
        ask = Ask(line.request, every=round(max(0.1, time), 2), wait=round(max(0.5, 2 * time), 2))
    end = {"stream": "sent by itself", "on-button": "sent by its button", "when-asked": "asked"}
    example = _example(hypothesis.framing, hypothesis.frames[-1]) if hypothesis.frames else ""
    return Description(
        name=name,
        title=f"Taught: {line.words}, {_words(hypothesis.framing)}, {end[line.sends]}",
        framing=_fitted(hypothesis.framing, hypothesis.frames, line),
        decoding=choice.decoding,
        link=line.settings,
        unit=choice.unit,
        sends=line.sends,
        ask=ask,
        checksum=hypothesis.checksum,
        example=example,
    )


def _words(framing: Framing) -> str:
    match framing:
        case ByTerminator():
            return "ends with a terminator"
        case ByMarks():
            return "between marks"
        case ByLength():
            return "of one length"
        case ByPacket():
            return "one in each value"
    return "set apart by silence"


def _fitted(framing: Framing, frames: Sequence[Frame], line: Line) -> Framing:
    """The framing with room for frames somewhat longer than those that came."""
    longest = max((len(frame.payload) for frame in frames), default=32)
    if isinstance(framing, ByLength):
        return msgspec.structs.replace(framing, gap=round(max(framing.gap, line.silence), 3))
    if isinstance(framing, ByPacket):
        return framing
    return msgspec.structs.replace(framing, longest=max(32, 2 * longest))


def _example(framing: Framing, frame: Frame) -> str:
    payload = frame.payload.decode("latin-1")
    match framing:
        case ByTerminator():
            return payload + framing.end
        case ByMarks():
            before = len(payload) - framing.trailer
            return framing.start + payload[:before] + framing.end + payload[before:]
    return payload


def finish(hypothesis: Hypothesis, line: Line, chunks: Sequence[Chunk], name: str) -> Finding:
    """The finding of the best hypothesis, checked on the very bytes that were heard.

    Raises DescriptionError when the description would not be one.
    """
    from gaugelink.devices import catalog
    from gaugelink.devices.teaching.writing import written

    described = [
        (choice.says, describe(hypothesis, line, choice, name)) for choice in hypothesis.choices
    ]
    described = [
        (says, catalog.parse(written(each, []), "the taught description"))
        for says, each in described
    ]
    best = described[0][1]
    read, whole = self_check(best, chunks, line, hypothesis.others)
    count = len(hypothesis.frames)
    pressed = line.sends == "on-button"
    needed = policy.ENOUGH_PRESSES if pressed else hypothesis.enough
    few = min(1.0, count / needed)
    sound = read >= policy.READ * whole
    sure = hypothesis.share * (1.0 if sound else 0.4) * (0.5 + 0.5 * few)
    if not hypothesis.moved:
        sure *= 0.6
    question = hypothesis.question if len(described) > 1 else ""
    evidence = [
        *_line_evidence(line, chunks),
        *hypothesis.evidence,
        f"this description reads {read} of the {whole} whole frames that were heard",
    ]
    if not hypothesis.moved:
        evidence.append("the spindle did not move, so that other numbers cannot be ruled out")
    return Finding(
        best,
        evidence,
        round(min(0.99, sure), 2),
        question or None,
        described if question else None,
        enough=(hypothesis.moved or pressed) and count >= needed and sound,
        moved=hypothesis.moved,
        sound=sound,
        score=hypothesis.score,
    )


def _line_evidence(line: Line, chunks: Sequence[Chunk]) -> list[str]:
    heard = sum(len(chunk.data) for chunk in chunks)
    if line.by_air:
        sent = f"what characteristic {line.characteristic} sent" if line.characteristic else "it"
        found = [f"{sent} ({heard} bytes) makes sense"]
    else:
        found = [
            f"at {line.baud} baud what was heard ({heard} bytes) makes sense",
            f"bit 7 of every character is its {line.parity} parity: seven bits"
            if line.parity != "none"
            else "bit 7 follows no parity: eight bits without parity (or with a space parity)",
            "one stop bit reads both one and two",
        ]
    match line.sends:
        case "when-asked":
            found.append(f"nothing came by itself; {line.request!r} was answered each time")
        case "on-button":
            found.append("values came one by one, as from a button")
        case "stream":
            found.append("values come by themselves")
    return found


def either(stream: Finding, pressed: Finding) -> Finding:
    """A finding that leaves open whether values come by themselves or by the button.

    Only one question is asked, so where there is one already this is but mentioned.
    """
    if stream.question is not None:
        hint = 'values come seldom; if each is a press of its button, set sends = "on-button"'
        return msgspec.structs.replace(stream, evidence=[*stream.evidence, hint])
    return msgspec.structs.replace(
        stream,
        sure=round(0.6 * stream.sure, 2),
        question="does the indicator send by itself, or when its button is pressed?",
        alternatives=[
            ("it sends by itself", stream.description),
            ("it sends when its button is pressed", pressed.description),
        ],
    )


def self_check(
    description: Description,
    chunks: Sequence[Chunk],
    line: Line,
    others: Container[str] = frozenset(),
) -> tuple[int, int]:
    """How many of the whole frames that were heard the description reads, and how many there are.

    A first frame that may have begun before the listening did is no whole one. What says something
    else is no reading: a frame with one of the `others` as its label, or a line without a digit,
    such as an echo or a heading.
    """
    decoder = Decoder(description)
    framer = framer_for(description, decoder.sound)
    frames: list[Frame] = []
    for chunk in chunks:
        frames += framer.feed(chunk.data, chunk.at)
    if chunks:
        frames += framer.quiet(chunks[-1].at + 60)
    text = description.decoding.pattern is not None
    good = [
        not frame.fault and isinstance(decoder.decode(frame.payload), Decoded) for frame in frames
    ]
    bad = [
        index
        for index, (frame, read) in enumerate(zip(frames, good, strict=True))
        if not read and not (text and _says_else(frame.payload, others))
    ]
    if bad and not line.whole and bad[0] == 0:
        del bad[0]
    return sum(good), sum(good) + len(bad)


def _says_else(payload: bytes, others: Container[str]) -> bool:
    """Whether a frame of text is no reading by what it says."""
    return label_of(payload) in others or not any(byte in b"0123456789" for byte in payload)
