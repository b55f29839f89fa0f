"""Which of the described formats does a port speak?

Listens at the line settings of the described indicators, one after another, and takes the
description that reads most frames. What is described as answering only when asked is asked only if
nothing came by itself, and with nothing but its own described question.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable, Sequence

import msgspec

from gaugelink.devices.description import Description, LinkSettings
from gaugelink.devices.link import Chunk, Link, LinkError
from gaugelink.devices.pipeline import Pipeline

LISTEN = 0.6
"""Seconds at each setting: at least two frames of a slow indicator's four a second."""

ENOUGH = 2
"""Frames read without fault before a description is believed."""

ENOUGH_BYTES = 65_536
"""Bytes heard at one setting beyond which no more are needed; only a line that floods has them."""

COMMON_FIRST = (9600, 4800, 19200, 115200, 38400, 57600, 2400, 1200)


class Score(msgspec.Struct, frozen=True, order=True):
    """How well a description reads what was heard; greater is better."""

    good: int
    says_unit: bool
    checked: bool
    name: str


def score(description: Description, chunks: Iterable[Chunk]) -> Score:
    """What a description makes of recorded bytes; one bad frame, the first cut one, is forgiven."""
    pipeline = Pipeline(description, "recognise")
    good = 0
    at = 0.0
    for chunk in chunks:
        at = chunk.at
        good += len(pipeline.feed(chunk.data, at))
    good += len(pipeline.quiet(at + 1.0))
    bad = max(0, sum(pipeline.refused.values()) - 1)
    pattern = description.decoding.pattern or ""
    return Score(
        good - bad,
        "(?P<unit>" in pattern,
        description.checksum is not None,
        description.name,
    )


def _as_wired(settings: LinkSettings) -> LinkSettings:
    """The settings that the port is opened with; seven bits with parity are eight without."""
    if settings.bits == 7 and settings.parity != "none":
        return msgspec.structs.replace(settings, bits=8, parity="none")
    return settings


async def _listen(link: Link, seconds: float, question: bytes = b"") -> list[Chunk]:
    chunks: list[Chunk] = []
    heard = 0
    await link.open()
    try:
        if question:
            await link.write(question)
        async with asyncio.timeout(seconds):
            while heard < ENOUGH_BYTES:
                chunks.append(await link.read())
                heard += len(chunks[-1].data)
                if question and len(chunks) <= ENOUGH:
                    await link.write(question)
    except TimeoutError:
        pass  # that was the time to listen
    finally:
        await link.close()
    return chunks


async def recognise(
    port: str,
    known: Sequence[Description],
    open_link: Callable[[str, LinkSettings], Link],
    listen: float = LISTEN,
) -> Description:
    """The description that fits what `port` sends. Takes up to about a second for each setting.

    Raises LinkError when the port cannot be opened or nothing known fits, saying what was tried.
    """
    groups: dict[LinkSettings, list[Description]] = {}
    for description in known:
        groups.setdefault(_as_wired(description.link), []).append(description)
    order = sorted(
        groups,
        key=lambda each: (
            COMMON_FIRST.index(each.baud) if each.baud in COMMON_FIRST else len(COMMON_FIRST)
        ),
    )
    heard = 0
    for settings in order:
        listeners = [each for each in groups[settings] if each.sends != "when-asked"]
        if not listeners:
            continue
        chunks = await _listen(open_link(port, settings), listen)
        heard += sum(len(chunk.data) for chunk in chunks)
        if found := await asyncio.to_thread(best, listeners, chunks):
            return found
    if not heard:
        for description in (each for each in known if each.ask is not None):
            question = description.ask.send.encode("latin-1") if description.ask else b""
            chunks = await _listen(open_link(port, description.link), listen, question)
            if found := await asyncio.to_thread(best, [description], chunks):
                return found
    speeds = ", ".join(sorted({each.short for each in order}))
    what = (
        f"{heard} bytes came, but none of the described formats fits" if heard else "nothing came"
    )
    raise LinkError(
        f"{port}: {what}; tried {speeds}. Switch the indicator on, or name its --description"
    )


def best(candidates: list[Description], chunks: list[Chunk]) -> Description | None:
    """The candidate that reads most of what was heard; None when none reads enough of it."""
    if not (chunks and candidates):
        return None
    best = max((score(each, chunks), index) for index, each in enumerate(candidates))
    return candidates[best[1]] if best[0].good >= ENOUGH else None
