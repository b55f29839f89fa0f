"""Frames of bytes that are no text: their length, sync bytes, check, and the whole number."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Literal

import msgspec

from gaugelink.devices import checksums
from gaugelink.devices.description import ByLength, Checksum, Decoding, Field
from gaugelink.devices.framing import Frame
from gaugelink.devices.link import Chunk
from gaugelink.devices.teaching import checks, policy
from gaugelink.devices.teaching.columns import Series, series
from gaugelink.devices.teaching.cutting import frames_of, pieces
from gaugelink.devices.teaching.finding import Choice, Hypothesis, Line
from gaugelink.devices.teaching.meaning import Meaning, Written, meanings

LENGTHS = range(3, 41)
"""Bytes in a frame; a sync byte and two of data are the least."""

USUAL_LARGEST = 13_000
"""Micrometres of the usual travel: bytes in the wrong order give larger numbers."""

LEAST_ROWS = 6
"""Frames from which a byte that never changed counts as constant."""

Kind = Literal["int-le", "int-be"]


class _Layout(msgspec.Struct, frozen=True):
    framing: ByLength
    frames: list[Frame]
    checksum: Checksum | None
    bursts: bool
    """Frames begin where the bursts do."""


class _Value(msgspec.Struct, frozen=True):
    at: int
    length: int
    kind: Kind
    series: Series
    largest: int
    points: float


def best(chunks: Sequence[Chunk], line: Line) -> Hypothesis | None:
    """The best way to read the chunks as binary frames, None when there is none."""
    found = [made for layout in _layouts(chunks, line) if (made := _read(layout, line)) is not None]
    return max(found, key=lambda each: each.score, default=None)


def _layouts(chunks: Sequence[Chunk], line: Line) -> Iterator[_Layout]:
    bursts = pieces(chunks, line.baud)
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
                yield _Layout(framing, frames, rule, in_bursts)


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


def _read(layout: _Layout, line: Line) -> Hypothesis | None:
    rule = layout.checksum
    frames = [
        frame for frame in layout.frames if rule is None or checksums.holds(rule, frame.payload)
    ]
    if not (layout.framing.sync or rule):
        return None
    values = sorted(_values(layout, frames), key=lambda each: -each.points)
    readable = [(each, found) for each in values if (found := _meanings(each))]
    if not readable:
        return None
    value, means = readable[0]
    close = [each for each in means if each.share >= means[0].share / 8][:4]
    proven = 1.0 if rule is not None else 0.7
    share = means[0].share * proven
    question = "no unit is sent: what does the indicator's display show?"
    return Hypothesis(
        msgspec.structs.replace(layout.framing, gap=round(max(0.05, 44 / line.baud), 3)),
        rule,
        [_choice(value, each, layout.frames[-1]) for each in close],
        question if means[0].share < policy.SURE else "",
        share,
        value.points + (6.0 if rule else 0.0) + (2.0 if layout.bursts else 0.0),
        value.series.moved,
        layout.frames,
        list(_evidence(layout, value, means[0])),
        policy.ENOUGH_BINARY,
    )


def _meanings(value: _Value) -> list[Meaning]:
    return meanings(Written(Decimal(value.largest), None, False, 0, value.series.moved))


def _choice(value: _Value, meaning: Meaning, frame: Frame) -> Choice:
    part = frame.payload[value.at : value.at + value.length]
    order: Literal["little", "big"] = "little" if value.kind == "int-le" else "big"
    shown = str(int.from_bytes(part, order, signed=True))
    field = Field("value", value.at, value.length, value.kind)
    decoded = Decoding(layout=[field], decimals=meaning.decimals)
    return Choice(decoded, meaning.unit, meaning.says(shown))


def _values(layout: _Layout, frames: Sequence[Frame]) -> Iterator[_Value]:
    """Every whole number that could be the thickness, with points."""
    length, sync = layout.framing.length, len(layout.framing.sync)
    end = length
    if layout.checksum is not None:
        end = min(length, length + layout.checksum.at)
    columns = [[frame.payload[place] for frame in frames] for place in range(length)]
    times = [frame.at for frame in frames]
    moving = [len(set(column)) > 1 for column in columns]
    counting = [_counts(column, times) for column in columns]
    for size in (4, 2, 3):
        for at in range(sync, end - size + 1):
            orders: tuple[tuple[Kind, int, int], ...] = (
                ("int-le", at, at - 1),
                ("int-be", at + size - 1, at + size),
            )
            for kind, lowest, below in orders:
                places = range(at, at + size)
                if any(counting[place] for place in places) or not moving[lowest]:
                    continue
                # What changes just below would be a lower byte of the same number.
                below_moves = sync <= below < end and moving[below] and not counting[below]
                above = lowest + (1 if kind == "int-le" else -1)
                dull = len(set(columns[lowest])) < len(set(columns[above]))
                yield _value(frames, at, size, kind, times, below_moves, dull)


def _counts(column: Sequence[int], times: Sequence[float]) -> bool:
    """Whether a byte is a counter, which starts anew after 255."""
    steps = Counter((after - before) % 256 for before, after in itertools.pairwise(column))
    if not steps or len(set(column)) < 4:
        return False
    step, count = steps.most_common(1)[0]
    return step != 0 and count >= 0.85 * steps.total()


def _value(
    frames: Sequence[Frame],
    at: int,
    size: int,
    kind: Kind,
    times: Sequence[float],
    below_moves: bool,
    dull: bool,
) -> _Value:
    order: Literal["little", "big"] = "little" if kind == "int-le" else "big"
    numbers = [
        int.from_bytes(frame.payload[at : at + size], order, signed=True) for frame in frames
    ]
    found = series([float(each) for each in numbers], times)
    points = min(6.0, 0.5 * found.distinct) - 12 * found.rough
    if found.steady or found.clock:
        points -= 8
    # The lowest byte of a moving number takes the most values; a status takes few.
    points -= 8 * below_moves + 8 * dull
    largest = max(map(abs, numbers))
    if largest > USUAL_LARGEST:
        points -= 2
    # Four bytes refuse what two would silently take for another number.
    points += {4: 1.0, 2: 0.5, 3: 0.0}[size]
    return _Value(at, size, kind, found, largest, points)


def _evidence(layout: _Layout, value: _Value, meaning: Meaning) -> Iterator[str]:
    sync = layout.framing.sync.encode("latin-1").hex(" ")
    yield f"the bytes are no text; every {layout.framing.length} of them begin with {sync or '-'}"
    if layout.checksum is not None:
        yield f"each frame carries a check that holds: {layout.checksum.kind}"
    order = "lowest" if value.kind == "int-le" else "highest"
    yield (
        f"bytes {value.at} to {value.at + value.length - 1}, the {order} first, are a whole number "
        f"that took {value.series.distinct} different values and moved smoothly"
    )
    yield f"no unit is sent; taken as {meaning.unit}"
