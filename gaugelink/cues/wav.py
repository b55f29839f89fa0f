"""Scores as sound files, for a person to listen to anywhere."""

from __future__ import annotations

import sys
import wave
from array import array
from pathlib import Path

from gaugelink.cues.cue import CueError
from gaugelink.cues.tones import RATE, Score, render

FULL = 32_767
"""The largest sample of sixteen bits."""


def to_wav(score: Score, path: Path, rate: int = RATE) -> None:
    """Write a score as a WAV file, one channel of sixteen bits; CueError when it cannot be."""
    samples = array("h", (round(sample * FULL) for sample in render(score, rate)))
    if sys.byteorder == "big":
        samples.byteswap()  # a WAV file is little-endian
    try:
        with path.open("wb") as raw, wave.open(raw, "wb") as file:
            file.setnchannels(1)
            file.setsampwidth(samples.itemsize)
            file.setframerate(rate)
            file.writeframes(samples.tobytes())
    except OSError as error:
        raise CueError(f"{path}: cannot be written: {error.strerror or error}") from error
