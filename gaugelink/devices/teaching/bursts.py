"""What the bursts between silences say, before it is known what is in them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

from gaugelink.devices.link import Chunk
from gaugelink.devices.teaching import policy
from gaugelink.devices.teaching.cutting import pieces


def evenness(chunks: Sequence[Chunk], baud: int) -> float:
    """How far the bursts are of one length, 0 to 1: at a wrong speed the length varies.

    0 as well for what a slower sender sounds like.
    """
    data = b"".join(chunk.data for chunk in chunks)
    if not data or sum(byte % 2 == 0 for byte in data) >= policy.EVEN_BYTES * len(data):
        return 0.0
    lengths = Counter(len(burst.data) for burst in pieces(chunks, baud))
    length, count = lengths.most_common(1)[0]
    return count / lengths.total() if length >= 3 else 0.0


def much(chunks: Sequence[Chunk], baud: int) -> bool:
    """Whether so much was heard that what makes no sense now never will."""
    heard = sum(len(chunk.data) for chunk in chunks)
    return heard >= policy.DOUBTED or len(pieces(chunks, baud)) >= policy.BURSTS_ENOUGH


def promising(chunks: Sequence[Chunk], baud: int) -> bool:
    """Whether this may be binary frames at the right speed, of which more should be heard."""
    return len(pieces(chunks, baud)) >= 2 and evenness(chunks, baud) >= 0.7


def alike(answers: Sequence[bytes]) -> bool:
    """Whether the answers are of one length, as binary frames are."""
    return len({len(each) for each in answers}) == 1 and len(answers[0]) >= 3


def by_hand(chunks: Sequence[Chunk], baud: int) -> bool:
    """Whether bursts came as seldom and as irregularly as a hand presses a button."""
    times = [burst.at for burst in pieces(chunks, baud)]
    steps = [after - before for before, after in pairwise(times)]
    if len(steps) < 2:
        return False
    mean = sum(steps) / len(steps)
    spread = max(steps) - min(steps)
    return mean > 0.4 and spread > 0.25 * mean
