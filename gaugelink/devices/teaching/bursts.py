"""What the bursts between silences say, before it is known what is in them."""

from __future__ import annotations

import enum
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

from gaugelink.devices.description import Framing
from gaugelink.devices.link import Chunk
from gaugelink.devices.teaching import policy
from gaugelink.devices.teaching.cutting import frames_of, pieces
from gaugelink.devices.teaching.finding import Line


def evenness(chunks: Sequence[Chunk], line: Line) -> float:
    """How far the bursts are of one length, 0 to 1: at a wrong speed the length varies.

    0 as well for what a slower sender sounds like.
    """
    data = b"".join(chunk.data for chunk in chunks)
    if not data or sum(byte % 2 == 0 for byte in data) >= policy.EVEN_BYTES * len(data):
        return 0.0
    lengths = Counter(len(burst.data) for burst in pieces(chunks, line))
    length, count = lengths.most_common(1)[0]
    return count / lengths.total() if length >= 3 else 0.0


def much(chunks: Sequence[Chunk], line: Line) -> bool:
    """Whether so much was heard that what makes no sense now never will."""
    heard = sum(len(chunk.data) for chunk in chunks)
    return heard >= policy.DOUBTED or len(pieces(chunks, line)) >= policy.BURSTS_ENOUGH


def promising(chunks: Sequence[Chunk], line: Line) -> bool:
    """Whether this may be binary frames at the right speed, of which more should be heard."""
    return len(pieces(chunks, line)) >= 2 and evenness(chunks, line) >= 0.7


def alike(answers: Sequence[bytes]) -> bool:
    """Whether the answers are of one length, as binary frames are."""
    return len({len(each) for each in answers}) == 1 and len(answers[0]) >= 3


class Pace(enum.Enum):
    """How often values come."""

    FAST = enum.auto()
    """As from something that sends by itself."""
    SLOW = enum.auto()
    """As seldom as a button may be pressed, but evenly."""
    BY_HAND = enum.auto()
    """As seldom and as unevenly as a hand presses a button."""


def pace_of(chunks: Sequence[Chunk], line: Line) -> Pace:
    """Whether a hand may have sent each burst."""
    times = [burst.at for burst in pieces(chunks, line)]
    steps = [after - before for before, after in pairwise(times)]
    if len(steps) < 2:
        return Pace.FAST
    mean = sum(steps) / len(steps)
    if mean > policy.PRESSED and max(steps) - min(steps) > policy.UNEVEN * mean:
        return Pace.BY_HAND
    return Pace.SLOW if mean > policy.SELDOM else Pace.FAST


def faster_than_a_hand(chunks: Sequence[Chunk], framing: Framing) -> bool:
    """Whether more frames came, one by one, than any hand presses a button.

    Frames and not bursts are counted: on a busy computer several may be heard at once.
    """
    times = [frame.at for frame in frames_of(framing, chunks, whole=False)]
    if len(times) < policy.HASTE_FRAMES:
        return False
    return times[-1] - times[0] < policy.HASTE * (len(times) - 1)
