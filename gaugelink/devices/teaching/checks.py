"""Which of the known checks stands in some frames, over which of their bytes."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Literal

from gaugelink.devices import checksums
from gaugelink.devices.description import Checksum
from gaugelink.devices.teaching import policy

_NARROW = ("xor8", "sum8", "sum8-negated")
_WIDE = ("crc16-modbus", "crc16-ccitt")

Written = Literal["hex", "byte", "little-endian", "big-endian"]

_HEX = frozenset(b"0123456789abcdefABCDEF")

_MARKED = re.compile(rb"\d[.,]\d")

STARTS = range(5)
"""A check may leave out a start mark or an address before the data."""

BEFORE = range(4)
"""Bytes between the data and its check that are not checked, such as an asterisk."""

AFTER = range(3)
"""Bytes that stand after the check, such as an end mark."""


def find(frames: Sequence[bytes]) -> Checksum | None:
    """The check that holds in the frames, None when no known one does.

    Frames that are all alike prove nothing: there must be some different checks.
    """
    distinct = list(dict.fromkeys(frames))[-48:]
    if len(distinct) < policy.CHECK_VALUES:
        return None
    few = distinct[:6]
    for rule in _rules(distinct):
        # A bad frame among the few must not hide the right rule.
        if sum(checksums.holds(rule, frame) for frame in few) < len(few) - 1:
            continue
        good = [frame for frame in distinct if checksums.holds(rule, frame)]
        values = {checksums.split(rule, frame)[1] for frame in good}
        if len(good) >= policy.CHECK_HOLDS * len(distinct) and len(values) >= policy.CHECK_VALUES:
            return rule
    return None


def _rules(frames: Sequence[bytes]) -> Iterator[Checksum]:
    """Every rule that could be, the widest span of each first."""
    for after in AFTER:
        for length, written, kinds in _writings(frames, after):
            at = -(length + after)
            for kind in kinds:
                for start in STARTS:
                    for before in BEFORE:
                        yield Checksum(
                            kind=kind,  # type: ignore[arg-type]
                            written=written,
                            start=start,
                            stop=at - before,
                            at=at,
                            length=length,
                        )


def _writings(
    frames: Sequence[bytes], after: int
) -> Iterator[tuple[int, Written, tuple[str, ...]]]:
    """How a check could be written that ends `after` bytes before the end of each frame."""
    ends = [frame[: len(frame) - after] for frame in frames]
    for length, kinds in ((4, _WIDE), (2, _NARROW)):
        # One frame may be bad.
        if sum(set(end[-length:]) <= _HEX for end in ends) >= len(ends) - 1:
            yield length, "hex", kinds
    yield 2, "little-endian", _WIDE
    yield 2, "big-endian", _WIDE
    yield 1, "byte", _NARROW


def opaque_tail(frames: Sequence[bytes]) -> int:
    """How many characters of an unknown check stand at the end of each frame: 0, one of any kind,
    or 2 or 4 hexadecimal digits.

    Digits alone may be a number, so letters must have been among them.
    """
    distinct = list(dict.fromkeys(frames))
    if len(distinct) < policy.CHECK_VALUES:
        return 0
    for length in (4, 2):
        tails = [frame[-length:] for frame in distinct]
        letters = sum(not tail.isdigit() for tail in tails)
        if (
            all(set(tail) <= _HEX for tail in tails)
            and 0 < letters < len(tails)
            and len(set(tails)) >= policy.CHECK_VALUES
        ):
            return length
    lasts = {frame[-1:] for frame in distinct}
    marks = sum(not each.isalnum() for each in lasts)
    many = marks >= policy.TAIL_MARKS and len(lasts) >= policy.TAIL_VALUES
    # What is heard at a wrong speed ends with anything, too, but has no decimal mark.
    return 1 if many and all(_MARKED.search(frame[:-1]) for frame in distinct) else 0
