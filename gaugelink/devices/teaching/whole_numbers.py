"""Which bytes of binary frames are the thickness as a whole number, and in which order."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Literal

import msgspec

from gaugelink.devices.teaching import coded
from gaugelink.devices.teaching.columns import Series, series

USUAL_LARGEST = 13_000
"""Micrometres of the usual travel: bytes in the wrong order give larger numbers."""

SIGN_BYTES = ({0, 1}, {0, 0x80}, {0x2B, 0x2D}, {0x20, 0x2D})
"""What a byte for a sign takes for plus and minus: 0 and a bit, or the characters. Not 0 and 0xFF,
which is the highest byte of a small number in two's complement."""

DULL = 0.75
"""Share of the next higher byte's different values that the lowest one has at least: it should have
more, but in a few frames both may hardly ever say the same twice."""

Order = Literal["little", "big"]


class Sign(msgspec.Struct, frozen=True):
    """A byte of its own for the sign of a number."""

    at: int
    minus: int
    """What it is for a minus."""
    plus: int


class Value(msgspec.Struct, frozen=True):
    """Bytes that may be the thickness, and how like one they are."""

    at: int
    length: int
    order: Order
    """Of its bytes: the lowest first is little."""
    series: Series
    largest: int
    """Without its sign."""
    smallest: int
    """With it."""
    points: float
    sign: Sign | None = None
    """None for two's complement."""

    @property
    def kind(self) -> Literal["int-le", "int-be", "uint-le", "uint-be"]:
        """As a field of a description."""
        if self.order == "little":
            return "int-le" if self.sign is None else "uint-le"
        return "int-be" if self.sign is None else "uint-be"

    def number(self, payload: bytes) -> int:
        """What a frame says."""
        part = payload[self.at : self.at + self.length]
        if self.sign is None:
            return int.from_bytes(part, self.order, signed=True)
        size = int.from_bytes(part, self.order)
        return -size if payload[self.sign.at] == self.sign.minus else size


def values(
    payloads: Sequence[bytes], times: Sequence[float], start: int, end: int
) -> Iterator[Value]:
    """Every whole number that could be the thickness, between two places of the frames.

    None when all that moves is another kind of number.
    """
    columns = [[payload[place] for payload in payloads] for place in range(end)]
    counting = [_counts(column) for column in columns]
    others = coded.places(payloads, end)
    barred = [counting[place] or place in others for place in range(end)]
    for size in (4, 2, 3):
        for at in range(start, end - size + 1):
            if any(barred[at : at + size]):
                continue
            last = at + size - 1
            ways: tuple[tuple[Order, int, int, int], ...] = (
                ("little", at, at - 1, at + 1),
                ("big", last, last + 1, last - 1),
            )
            for order, lowest, below, above in ways:
                distinct = len(set(columns[lowest]))
                if distinct < 2:
                    continue
                # What changes just below would be a lower byte of the same number, unless it
                # takes few values only, as a status does.
                below_moves = (
                    start <= below < end
                    and not counting[below]
                    and len(set(columns[below])) > max(1, distinct // 2)
                )
                dull = distinct < DULL * len(set(columns[above]))
                plain = _value(payloads, times, at, size, order)
                if others and not plain.series.moved:
                    continue
                # The lowest byte of a moving number takes the most values; a status takes few.
                points = plain.points - 8 * below_moves - 8 * dull
                plain = msgspec.structs.replace(plain, points=points)
                yield plain
                yield from _with_sign(plain, payloads, times, range(start, end))


def _counts(column: Sequence[int]) -> bool:
    """Whether a byte is a counter, which starts anew after 255."""
    steps = Counter((after - before) % 256 for before, after in pairwise(column))
    if not steps or len(set(column)) < 4:
        return False
    step, count = steps.most_common(1)[0]
    return step != 0 and count >= 0.85 * steps.total()


def _value(
    payloads: Sequence[bytes],
    times: Sequence[float],
    at: int,
    size: int,
    order: Order,
    sign: Sign | None = None,
) -> Value:
    found = Value(at, size, order, series([], []), 0, 0, 0.0, sign)
    numbers = [found.number(payload) for payload in payloads]
    moved = series([float(each) for each in numbers], times)
    points = min(6.0, 0.5 * moved.distinct) - 12 * moved.rough
    if moved.steady or moved.clock:
        points -= 8
    largest = max(map(abs, numbers))
    if largest > USUAL_LARGEST:
        points -= 2
    # Four bytes refuse what two would silently take for another number.
    points += {4: 1.0, 2: 0.5, 3: 0.0}[size]
    return Value(at, size, order, moved, largest, min(numbers), points, sign)


def _with_sign(
    plain: Value, payloads: Sequence[bytes], times: Sequence[float], places: Sequence[int]
) -> Iterator[Value]:
    """The same with a byte beside it for its sign, when there is one that turns at zero."""
    for place in (plain.at - 1, plain.at + plain.length):
        if place not in places:
            continue
        column = [payload[place] for payload in payloads]
        if (seen := set(column)) not in SIGN_BYTES:
            continue
        minus = 0x2D if 0x2D in seen else max(seen)
        (other,) = seen - {minus}
        sign = Sign(place, minus, other)
        signed = _value(payloads, times, plain.at, plain.length, plain.order, sign)
        if _turns_at_zero([signed.number(payload) for payload in payloads], column):
            better = 12 * (plain.series.rough - signed.series.rough)
            yield msgspec.structs.replace(signed, points=plain.points + better + 1.0)


def _turns_at_zero(numbers: Sequence[int], column: Sequence[int]) -> bool:
    """Whether a byte turns just where a number passes zero: the step there is hardly longer than
    those beside it.
    """
    steps = [abs(after - before) for before, after in pairwise(numbers)]
    turns = [index for index, (a, b) in enumerate(pairwise(column)) if a != b]
    for turn in turns:
        beside = [
            steps[index]
            for index in (turn - 1, turn + 1)
            if 0 <= index < len(steps) and index not in turns
        ]
        if steps[turn] > 3 * max(beside, default=0) + 3:
            return False
    return len(turns) >= 2
