"""Frames of bytes that are no text: their length, sync bytes, check, and the whole number."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Literal

import msgspec

from gaugelink.devices import checksums
from gaugelink.devices.bluetooth import presentation
from gaugelink.devices.description import ByLength, ByPacket, Checksum, Decoding, Field
from gaugelink.devices.framing import Frame
from gaugelink.devices.link import Chunk
from gaugelink.devices.teaching import checks, coded, policy
from gaugelink.devices.teaching.columns import series
from gaugelink.devices.teaching.cutting import frames_of, pieces
from gaugelink.devices.teaching.finding import Choice, Hypothesis, Line
from gaugelink.devices.teaching.meaning import Meaning, Written, meanings
from gaugelink.devices.teaching.whole_numbers import Value, values

LENGTHS = range(3, 41)
"""Bytes in a frame; a sync byte and two of data are the least."""

PACKETS = range(2, 21)
"""Bytes in a Bluetooth value; the smallest packets hold 20."""

LEAST_ROWS = 6
"""Frames from which a byte that never changed counts as constant."""

QUESTION = "no unit is sent: what does the indicator's display show?"


class _Layout(msgspec.Struct, frozen=True):
    framing: ByLength | ByPacket
    length: int
    sync: bytes
    """What every frame begins with; empty when frames are known by other means."""
    frames: list[Frame]
    checksum: Checksum | None
    bursts: bool
    """Frames begin where the bursts do."""


def best(chunks: Sequence[Chunk], line: Line) -> Hypothesis | None:
    """The best way to read the chunks as binary frames, None when there is none."""
    found = [
        made
        for layout in _layouts(chunks, line)
        if (made := _read_float(layout) or _read(layout, line)) is not None
    ]
    return max(found, key=lambda each: each.score, default=None)


def _layouts(chunks: Sequence[Chunk], line: Line) -> Iterator[_Layout]:
    if line.by_air and (found := _packets(chunks)) is not None:
        yield found
    bursts = pieces(chunks, line)
    data = b"".join(chunk.data for chunk in chunks)
    tried: set[tuple[int, bytes]] = set()
    for length, begin, in_bursts in _places(bursts, data):
        rows = [data[at : at + length] for at in range(begin, len(data) - length + 1, length)]
        if in_bursts:
            rows = [burst.data for burst in bursts if len(burst.data) == length]
        for sync in _syncs(rows[-policy.LOOKED_AT :]):
            if (length, sync) in tried:
                continue
            tried.add((length, sync))
            framing = ByLength(length, sync.decode("latin-1"))
            frames = frames_of(framing, chunks, line.whole)[-policy.LOOKED_AT :]
            payloads = [frame.payload for frame in frames]
            if len(payloads) >= LEAST_ROWS:
                rule = checks.find(payloads)
                if rule is not None:
                    # The check finds the beginnings too, so that one byte is enough.
                    framing = ByLength(length, framing.sync[:1])
                yield _Layout(
                    framing, length, framing.sync.encode("latin-1"), frames, rule, in_bursts
                )


def _packets(chunks: Sequence[Chunk]) -> _Layout | None:
    """Each Bluetooth value as a frame, when nearly all are of one length."""
    lengths = Counter(len(chunk.data) for chunk in chunks)
    length, count = lengths.most_common(1)[0]
    if count < max(LEAST_ROWS, policy.CHECK_HOLDS * len(chunks)) or length not in PACKETS:
        return None
    frames = [Frame(each.data, each.at) for each in chunks if len(each.data) == length]
    frames = frames[-policy.LOOKED_AT :]
    # Of one length, so that a value of another kind that is longer is not taken for one.
    framing = ByPacket(length)
    return _Layout(framing, length, b"", frames, checks.find([f.payload for f in frames]), True)


def _places(bursts: Sequence[Chunk], data: bytes) -> Iterator[tuple[int, int, bool]]:
    """Lengths and beginnings worth a look: those of the bursts, else those with constant bytes."""
    lengths = Counter(len(burst.data) for burst in bursts)
    length, count = lengths.most_common(1)[0] if lengths else (0, 0)
    if count >= max(LEAST_ROWS, 0.7 * len(bursts)) and length in LENGTHS:
        yield length, 0, True
        return
    for length in LENGTHS:
        if len(data) // length <= LEAST_ROWS:
            return
        # The newest bytes: a stream may have begun with part of a frame.
        tail = data[-length * min(60, len(data) // length) :]
        still = [place for place in range(length) if len(set(tail[place::length])) == 1]
        start = len(data) - len(tail)
        for place in still:
            if tail[place] not in (0x00, 0xFF) and (place - 1) % length not in still:
                yield length, (start + place) % length, False


def _syncs(rows: Sequence[bytes]) -> Iterator[bytes]:
    """Constant bytes at the beginning, as many as there are up to four."""
    if len(rows) < LEAST_ROWS:
        return
    first = rows[-1]
    count = 0
    while count < min(4, len(first) - 2) and (
        sum(row[count] == first[count] for row in rows) >= policy.CHECK_HOLDS * len(rows)
    ):
        count += 1
    # As few as find the frames: what follows may be a battery's charge that has not changed yet,
    # or the high byte of the number.
    data = b"".join(rows)
    for few in range(1, count + 1):
        sync = first[:few]
        if data.count(sync) <= 1.02 * len(rows):
            yield sync
            return
    yield first[:1] if count and first[0] not in (0x00, 0xFF) else b""


def _read_float(layout: _Layout) -> Hypothesis | None:
    """A Bluetooth value that is one float, without a presentation that says so."""
    if not isinstance(layout.framing, ByPacket) or layout.length not in (4, 8):
        return None
    values = coded.floats([frame.payload for frame in layout.frames], "<")
    if values is None:
        return None
    moved = series(values, [frame.at for frame in layout.frames])
    means = meanings(Written(Decimal(max(map(abs, values))), None, True, 0, moved.moved))
    if not means:
        return None
    kind: presentation.Format = "float32" if layout.length == 4 else "float64"
    choices = [
        Choice(
            Decoding(presentation=presentation.Presentation(kind, unit=each.unit)),
            each.unit,
            each.says(f"{values[-1]:.5g}"),
        )
        for each in means
        if each.share >= means[0].share / 8
    ]
    evidence = [
        f"the bytes are no text; each value is one {kind}, the lowest byte first",
        f"it took {moved.distinct} different values and moved smoothly",
        f"no unit is sent; taken as {means[0].unit}",
    ]
    return Hypothesis(
        layout.framing,
        None,
        choices,
        QUESTION if means[0].share < policy.SURE else "",
        means[0].share,
        min(6.0, 0.5 * moved.distinct) + 6.0,
        moved.moved,
        layout.frames,
        evidence,
        policy.ENOUGH_BINARY,
    )


def _read(layout: _Layout, line: Line) -> Hypothesis | None:
    rule = layout.checksum
    frames = [
        frame for frame in layout.frames if rule is None or checksums.holds(rule, frame.payload)
    ]
    apart = isinstance(layout.framing, ByPacket)
    if not (layout.sync or rule or apart):
        return None
    end = layout.length if rule is None else min(layout.length, layout.length + rule.at)
    found = values(
        [frame.payload for frame in frames], [frame.at for frame in frames], len(layout.sync), end
    )
    readable = [
        (each, means)
        for each in sorted(found, key=lambda each: -each.points)
        if (means := _meanings(each))
    ]
    if not readable:
        return None
    value, means = readable[0]
    close = [each for each in means if each.share >= means[0].share / 8][:4]
    proven = 1.0 if rule is not None else 0.7
    share = means[0].share * proven
    framing = layout.framing
    if isinstance(framing, ByLength):
        framing = msgspec.structs.replace(framing, gap=round(max(0.05, line.silence), 3))
    return Hypothesis(
        framing,
        rule,
        [_choice(value, each, layout.frames[-1]) for each in close],
        QUESTION if means[0].share < policy.SURE else "",
        share,
        value.points + (6.0 if rule else 0.0) + (2.0 if layout.bursts else 0.0),
        value.series.moved,
        layout.frames,
        list(_evidence(layout, value, means[0])),
        policy.ENOUGH_BINARY,
    )


def _meanings(value: Value) -> list[Meaning]:
    return meanings(Written(Decimal(value.largest), None, False, 0, value.series.moved))


def _choice(value: Value, meaning: Meaning, frame: Frame) -> Choice:
    layout = [Field("value", value.at, value.length, value.kind)]
    signs: dict[str, Literal["+", "-"]] = {}
    if value.sign is not None:
        layout.insert(0, Field("sign", value.sign.at, 1, "uint-le"))
        signs = {str(value.sign.minus): "-", str(value.sign.plus): "+"}
    decoded = Decoding(layout=layout, decimals=meaning.decimals, signs=signs)
    return Choice(decoded, meaning.unit, meaning.says(str(value.number(frame.payload))))


def _evidence(layout: _Layout, value: Value, meaning: Meaning) -> Iterator[str]:
    if isinstance(layout.framing, ByPacket):
        yield f"the bytes are no text; each value is a frame of {layout.length} of them"
    else:
        sync = layout.sync.hex(" ") or "-"
        yield f"the bytes are no text; every {layout.length} of them begin with {sync}"
    if layout.checksum is not None:
        yield f"each frame carries a check that holds: {layout.checksum.kind}"
    order = "lowest" if value.order == "little" else "highest"
    yield (
        f"bytes {value.at} to {value.at + value.length - 1}, the {order} first, are a whole number "
        f"that took {value.series.distinct} different values and moved smoothly"
    )
    if value.smallest >= 0:
        yield "no minus was seen; move the spindle below zero and teach again if it can go there"
    if value.sign is not None:
        yield f"byte {value.sign.at} is its sign: it turns when the number passes zero"
    yield f"no unit is sent; taken as {meaning.unit}"
