"""Where frames could end: every way of cutting what was heard that is worth trying."""

from __future__ import annotations

import itertools
import statistics
from collections import Counter
from collections.abc import Iterator, Sequence

import msgspec

from gaugelink.devices.description import (
    ByGap,
    ByLength,
    ByMarks,
    ByPacket,
    ByTerminator,
    Decoding,
    Description,
    Framing,
)
from gaugelink.devices.framing import Frame, framer_for
from gaugelink.devices.link import Chunk
from gaugelink.devices.teaching import policy
from gaugelink.devices.teaching.finding import Line

START_MARKS = b"\x02\x01$:!#@<[({"
END_MARKS = b"\x03\x04>])};#*!"
"""Characters that open and close a frame where no line end does."""

LAST_CHARACTERS = b";|!#$*@&/>])}"
"""Printable characters that may end a frame by themselves."""

LEAST_GAP = 0.012
"""Seconds: what a USB adapter may hold bytes back is more than this only now and then."""


class Cut(msgspec.Struct, frozen=True):
    """One way of cutting, the frames it gives, and how good a way it is by itself."""

    framing: Framing
    frames: list[Frame]
    prior: float
    why: str


def name_of(text: str) -> str:
    """A frame's end or mark in words."""
    known = {
        "\r": "carriage return",
        "\n": "line feed",
        "\x00": "a zero byte",
        "\x01": "SOH",
        "\x02": "STX",
        "\x03": "ETX",
        "\x04": "EOT",
        "\t": "tab",
        " ": "a space",
    }
    return " and ".join(
        known.get(each, each if each.isprintable() else f"byte 0x{ord(each):02X}") for each in text
    )


def pieces(chunks: Sequence[Chunk], line: Line) -> list[Chunk]:
    """The bursts of bytes between silences."""
    if not chunks:
        return []
    silence = _silence(chunks, line)
    found: list[Chunk] = []
    data, last = chunks[0].data, chunks[0].at
    for chunk in chunks[1:]:
        if chunk.at - last > silence:
            found.append(Chunk(data, last))
            data = b""
        data, last = data + chunk.data, chunk.at
    found.append(Chunk(data, last))
    return found


def _silence(chunks: Sequence[Chunk], line: Line) -> float:
    """Seconds without a byte that part two bursts."""
    characters = line.silence
    steps = [after.at - before.at for before, after in itertools.pairwise(chunks)]
    whole = statistics.median(len(chunk.data) for chunk in chunks) >= 4
    if steps and whole and not line.by_air:
        # Whole frames come at once, so that the time between them is what parts them.
        characters = min(characters, 0.6 * statistics.median(steps))
    return max(LEAST_GAP, characters)


def frames_of(framing: Framing, chunks: Sequence[Chunk], whole: bool) -> list[Frame]:
    """The sound frames. Without `whole` the first, which may lack its beginning, is left out."""
    described = Description("cut", "cut", framing, Decoding(pattern="(?P<value>.*)"))
    framer = framer_for(described)
    frames: list[Frame] = []
    for chunk in chunks:
        frames += framer.feed(chunk.data, chunk.at)
    if chunks:
        frames += framer.quiet(chunks[-1].at + 60)
    if not whole and len(frames) > 3:
        del frames[0]
    return [frame for frame in frames if not frame.fault]


def cuts(chunks: Sequence[Chunk], line: Line) -> Iterator[Cut]:
    """Ways of cutting text, the most usual first."""
    bursts = pieces(chunks, line)
    whole = line.whole
    data = b"".join(chunk.data for chunk in chunks)
    ends = list(_line_ends(data))
    for end in ends:
        ended = _ended_share(bursts, end)
        yield Cut(
            ByTerminator(end.decode("latin-1"), policy.LONGEST),
            frames_of(ByTerminator(end.decode("latin-1"), policy.LONGEST), chunks, whole),
            (1.0 if end[-1] in b"\r\n" else 0.0) + len(end) - (4.0 if ended < 0.5 else 0.0),
            f"each frame ends with {name_of(end.decode('latin-1'))}",
        )
    yield from _by_marks(data, chunks, whole)
    if not any(end[-1] in b"\r\n" and _ended_share(bursts, end) >= 0.5 for end in ends):
        yield from _by_length(bursts, whole)
        yield from _by_gap(bursts, chunks, line)
        if line.by_air:
            yield _by_packet(chunks)
        for character in LAST_CHARACTERS:
            end = bytes([character])
            if data.count(end) >= 2 and _ended_share(bursts, end) >= 0.5:
                framing = ByTerminator(end.decode(), policy.LONGEST)
                frames = frames_of(framing, chunks, whole)
                yield Cut(framing, frames, -0.5, f"each frame ends with {end.decode()}")


def _line_ends(data: bytes) -> Iterator[bytes]:
    """Control characters, in pairs or alone, that come again and again."""
    counts = Counter(byte for byte in data if byte < 0x20 or byte == 0x7F)
    controls = [
        byte for byte, count in counts.most_common(6) if count >= 2 and byte not in START_MARKS
    ]
    for first, second in itertools.permutations(controls, 2):
        pair = bytes([first, second])
        if data.count(pair) >= 0.85 * max(counts[first], counts[second]):
            yield pair
    for byte in controls:
        yield bytes([byte])


def _ended_share(bursts: Sequence[Chunk], end: bytes) -> float:
    """Share of bursts that end so; 1 when they are too few, or hold several frames each."""
    if len(bursts) < 3 or len(bursts) < 0.5 * sum(burst.data.count(end) for burst in bursts):
        return 1.0
    return sum(burst.data.endswith(end) for burst in bursts) / len(bursts)


def _by_marks(data: bytes, chunks: Sequence[Chunk], whole: bool) -> Iterator[Cut]:
    for start in START_MARKS:
        opened = data.count(start)
        if opened < 2:
            continue
        for end in END_MARKS:
            if end == start or not 0.7 * opened <= data.count(end):
                continue
            trailer = _trailer(data, start, end)
            if trailer is None:
                continue
            framing = ByMarks(chr(start), chr(end), trailer, policy.LONGEST)
            after = f" and {trailer} more after it" if trailer else ""
            # The whole trailer is known to belong to the frame before it, so none is cut.
            yield Cut(
                framing,
                frames_of(framing, chunks, whole=True),
                1.5 if start < 0x20 else 0.5,
                f"each frame stands between {name_of(chr(start))} and {name_of(chr(end))}{after}",
            )


def _trailer(data: bytes, start: int, end: int) -> int | None:
    """Bytes from the end mark to the next start mark, when they are always as many; up to 4."""
    lengths: Counter[int] = Counter()
    at = data.find(start)
    while at >= 0:
        close = data.find(end, at)
        if close < 0:
            break
        # A check byte may look like a start mark, so the most frequent distance counts.
        at = data.find(start, close + 1)
        if at >= 0:
            lengths[at - close - 1] += 1
    if not lengths:
        return None
    length, count = lengths.most_common(1)[0]
    return length if length <= 4 and count >= 0.8 * lengths.total() else None


def _by_length(bursts: Sequence[Chunk], whole: bool) -> Iterator[Cut]:
    """Frames of one length that begin with a character which stands nowhere else."""
    data = b"".join(burst.data for burst in bursts)
    for sync in dict.fromkeys(data[:64]):
        if sync in b"0123456789+-. ,":
            continue
        places = [index for index, byte in enumerate(data) if byte == sync]
        steps = Counter(after - before for before, after in itertools.pairwise(places)).most_common(
            1
        )
        if not steps:
            continue
        length, count = steps[0]
        if not 4 <= length <= 64 or count < ALIKE_STEPS * (len(places) - 1):
            continue
        # It stands where a burst begins, if there are bursts at all.
        begun = sum(burst.data[0] == sync for burst in bursts) / len(bursts)
        if len(bursts) >= 3 and begun < 0.5:
            continue
        framing = ByLength(length, chr(sync))
        yield Cut(
            framing,
            frames_of(framing, bursts, whole),
            # Silence, where there is any, holds also when a status letter takes the sync's place.
            0.5 if len(bursts) < LEAST_BURSTS else -0.5,
            f"each frame has {length} characters and begins with {chr(sync)!r}",
        )


LEAST_BURSTS = 5
"""Bursts from which the silence between them is believed."""

ALIKE_STEPS = 0.9
"""Share of equal distances between sync characters from which frames have one length."""


def _by_packet(chunks: Sequence[Chunk]) -> Cut:
    """Each Bluetooth value as a frame. Preferred to silence: no delay can join two of them."""
    framing = ByPacket()
    return Cut(framing, frames_of(framing, chunks, True), 0.5, "each value is a frame of its own")


def _by_gap(bursts: Sequence[Chunk], chunks: Sequence[Chunk], line: Line) -> Iterator[Cut]:
    if len(bursts) < 3 or statistics.fmean(len(b.data) for b in bursts) < policy.SHORTEST:
        return
    between = [after.at - before.at for before, after in itertools.pairwise(bursts)]
    gap = _gap(between, chunks, line)
    framing = ByGap(gap, policy.LONGEST)
    frames = [Frame(burst.data, burst.at) for burst in bursts if len(burst.data) < policy.LONGEST]
    yield Cut(framing, frames, 0.0, f"frames are set apart by {gap * 1000:.0f} ms of silence")


def _gap(between: Sequence[float], chunks: Sequence[Chunk], line: Line) -> float:
    """A silence well below those between bursts, and above those inside them."""
    shortest = sorted(between)[len(between) // 10]
    inside = _silence(chunks, line)
    return round(min(max(inside, 0.3 * shortest), max(inside, 0.05)), 3)
