"""Listening to sound files as numbers, and a sound card that writes all it plays to one."""

from __future__ import annotations

import wave
from pathlib import Path
from typing import Any

import numpy as np

CARD = """
pcm.!default {{
    type file
    file "{file}"
    format "wav"
    slave.pcm "null"
}}
"""
"""ALSA's own file plugin as the default card: what plays on it ends in a file."""


def card(home: Path, file: Path) -> None:
    """Make a file the default sound card of the user whose home this is."""
    (home / ".asoundrc").write_text(CARD.format(file=file))


def samples(file: Path) -> tuple[np.ndarray[Any, np.dtype[np.float64]], int]:
    """The samples of a WAV file, from -1 to 1, and how many make a second.

    ALSA's file plugin writes floats of 32 bits as they are, whatever it says of them in the file.
    """
    with wave.open(str(file), "rb") as opened:
        assert opened.getnchannels() == 1
        kind, full = {2: ("<i2", 2**15), 4: ("<f4", 1)}[opened.getsampwidth()]
        data = np.frombuffer(opened.readframes(opened.getnframes()), dtype=kind)
        return data.astype(np.float64) / full, opened.getframerate()


def seconds(file: Path) -> float:
    """How long a sound file is."""
    data, rate = samples(file)
    return len(data) / rate


def loudness(file: Path) -> float:
    """The root mean square of a sound file's samples."""
    data, _ = samples(file)
    return float(np.sqrt(np.mean(data**2)))


def pitch(data: Any, rate: int) -> float:
    """Hertz of the strongest part of a sound.

    Between the bins of the transform a parabola through the logarithms of the highest three finds
    the peak (J. O. Smith, Spectral Audio Signal Processing, quadratic interpolation).
    """
    part = np.asarray(data, dtype=float)
    size = 8 * len(part)
    spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part)), size))
    top = int(np.argmax(spectrum))
    low, mid, high = np.log(spectrum[top - 1 : top + 2])
    return float((top + (low - high) / (2 * (low - 2 * mid + high))) * rate / size)
