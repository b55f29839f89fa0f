"""From what was heard at one speed to a finding."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from gaugelink.devices.description import DescriptionError
from gaugelink.devices.link import Chunk
from gaugelink.devices.teaching import binary, policy, textual
from gaugelink.devices.teaching.characters import PARITIES, judge
from gaugelink.devices.teaching.finding import Finding, Line, finish


def analyse(chunks: Sequence[Chunk], line: Line, name: str = "taught") -> Finding | None:
    """What the chunks, heard at the line's speed, show; None when they show nothing.

    No bytes raise. The line's parity is found here; Bluetooth has none.
    """
    chunks = _newest(chunks)
    data = b"".join(chunk.data for chunk in chunks)
    seen = judge(data, PARITIES[:1] if line.by_air else PARITIES)
    found = None
    if seen.text:
        line = msgspec.structs.replace(line, parity=seen.parity)
        found = textual.best(chunks, line)
    if found is None and not seen.text:
        line = msgspec.structs.replace(line, parity="none")
        found = binary.best(chunks, line)
    if found is None:
        return None
    try:
        return finish(found, line, chunks, name)
    except DescriptionError:
        # A check of its own: what was put together is no description after all.
        return None


def _newest(chunks: Sequence[Chunk]) -> Sequence[Chunk]:
    """The last chunks, as many as are worth looking at."""
    size = 0
    for index in range(len(chunks) - 1, -1, -1):
        size += len(chunks[index].data)
        if size > policy.MOST_BYTES:
            return chunks[index + 1 :] or [
                Chunk(chunks[index].data[-policy.MOST_BYTES :], chunks[index].at)
            ]
    return chunks
