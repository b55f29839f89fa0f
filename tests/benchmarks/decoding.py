"""Bytes to readings, against a bare regular expression and a Decimal for each line."""

from __future__ import annotations

import random
import re
import time
from decimal import Decimal

from gaugelink.devices.catalog import find
from gaugelink.devices.pipeline import Pipeline
from tests.benchmarks.table import Row, interleaved

FRAMES = 50_000
CHUNK = 64
"""Bytes that come at once: a few frames, as from a fast indicator."""

BARE = re.compile(rb"([+-])(\d+\.\d+)(mm|in)\r")


def stream(distinct: int, seed: int) -> bytes:
    """Frames of a hand's work: `distinct` different values, in random order."""
    chance = random.Random(seed)
    values = [chance.uniform(-2, 12) for _ in range(distinct)]
    return b"".join(b"%+08.3fmm\r" % chance.choice(values) for _ in range(FRAMES))


def bare_rate(data: bytes) -> float:
    """Frames a second of the bare loop over the same pieces."""
    began = time.perf_counter()
    rest = b""
    found = []
    for start in range(0, len(data), CHUNK):
        rest += data[start : start + CHUNK]
        end = 0
        for match in BARE.finditer(rest):
            found.append(Decimal((match[1] + match[2]).decode()))
            end = match.end()
        rest = rest[end:]
    spent = time.perf_counter() - began
    assert len(found) == FRAMES
    return FRAMES / spent


def our_rate(data: bytes) -> float:
    """Frames a second of the pipeline, readings with unit, resolution, time and number."""
    pipeline = Pipeline(find("signed-decimal-unit-cr"), "gauge")
    pipeline.warm()
    began = time.perf_counter()
    count = 0
    for start in range(0, len(data), CHUNK):
        count += len(pipeline.feed(data[start : start + CHUNK], 0.001 * start))
    spent = time.perf_counter() - began
    assert count == FRAMES
    return FRAMES / spent


def measure() -> list[Row]:
    rows = []
    for distinct, what in ((800, "values that repeat"), (FRAMES, "the whole travel at random")):
        data = stream(distinct, seed=1)
        bare, ours = interleaved(lambda: bare_rate(data), lambda: our_rate(data), 5)  # noqa: B023
        rows.append(
            Row(
                f"bytes to readings, {what}",
                f"{bare / 1000:.0f} k/s",
                f"{ours / 1000:.0f} k/s",
                ours / bare,
                "at least 0.50",
                ours >= bare / 2,
            )
        )
    return rows
