"""Where a sound repeats itself: the pitch of each moment, and the stretch in which it holds.

The period is looked for frame by frame with the cumulative mean normalised difference of de
Cheveigné and Kawahara, YIN, a fundamental frequency estimator, JASA 111(4), 2002 (from memory). It
needs no fundamental: a sound without one still repeats with its period.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from gaugelink.craft.pitch import cents_between

if TYPE_CHECKING:
    from gaugelink.craft.wav import Samples

LOWEST, HIGHEST = 230.0, 2500.0
"""Hertz between which a crow is looked for: from more than an octave below C5 to above C7. Two
notes a fourth apart have a common period too, but that lies lower."""

WINDOW = 0.046
"""Seconds: ten periods of the lowest pitch."""

HOP = 0.01
"""Seconds from frame to frame."""

PERIODIC = 0.5
"""The largest normalised difference of a frame with a pitch; white noise seldom comes below 0.8.
With a pitch in noise it is about the noise's share of the power."""

NEARLY = 0.1
"""A shorter period that fits almost as well is the period; its multiples fit as well."""

APART = 60.0
"""Cents from one frame to the next beyond which it is another pitch; a vibrato stays within."""

MISSES = 3
"""Frames in a row that may be lost within a pitch."""


class Run(NamedTuple):
    """Frames that agree on a pitch: their indices and frequencies."""

    frames: list[int]
    pitches: list[float]


def cut_frames(sound: Samples, rate: int) -> Samples:
    """The sound in overlapping frames, each long enough for the window and the longest period."""
    import numpy as np

    length = round(WINDOW * rate) + math.ceil(rate / LOWEST) + 2
    return np.lib.stride_tricks.sliding_window_view(sound, length)[:: max(1, round(HOP * rate))]


def pitches(frames: Samples, rate: int) -> Samples:
    """The frequency of each frame in hertz, 0 where it has none."""
    import numpy as np

    found = np.zeros(len(frames))
    for start in range(0, len(frames), 256):
        part = frames[start : start + 256]
        found[start : start + 256] = [
            _frequency(each, rate) for each in _normalised_differences(part, rate)
        ]
    return found


def _normalised_differences(frames: Samples, rate: int) -> Samples:
    """d'(τ) for each frame and lag: the difference from itself τ later over its mean so far."""
    import numpy as np

    window, lags = round(WINDOW * rate), math.ceil(rate / LOWEST) + 2
    size = 1 << (frames.shape[1] + window).bit_length()
    head = np.fft.rfft(frames[:, :window], size)
    both = np.fft.irfft(np.conj(head) * np.fft.rfft(frames, size), size)[:, :lags]
    power = np.cumsum(np.pad(frames**2, ((0, 0), (1, 0))), axis=1)
    later = power[:, window : window + lags] - power[:, :lags]
    difference = np.maximum(later[:, :1] + later - 2 * both, 0.0)
    total = np.cumsum(difference[:, 1:], axis=1)
    found = np.ones_like(difference)
    steps = np.arange(1, lags)
    np.divide(difference[:, 1:] * steps, total, out=found[:, 1:], where=total > 0)
    return found


def _frequency(difference: Samples, rate: int) -> float:
    """The pitch of one frame: the shortest lag that fits nearly as well as any."""
    import numpy as np

    shortest = max(2, math.floor(rate / HIGHEST))
    inside = difference[shortest - 1 : len(difference)]
    dips = 1 + np.flatnonzero((inside[1:-1] <= inside[:-2]) & (inside[1:-1] < inside[2:]))
    if not len(dips):
        return 0.0
    best = float(inside[dips].min())
    if best > PERIODIC:
        return 0.0
    lag = int(dips[inside[dips] <= best + NEARLY][0])
    return rate / (shortest - 1 + lag + vertex(*inside[lag - 1 : lag + 2]))


def vertex(before: float, here: float, after: float) -> float:
    """Where a parabola through three equidistant values turns, from the middle one."""
    bend = before - 2 * here + after
    return float((before - after) / (2 * bend)) if bend else 0.0


def steadiest(heard_pitches: Samples, sounding: Samples) -> Run:
    """The longest run of sounding frames that stay near one another."""
    best, run, missed = Run([], []), Run([], []), 0
    for index, pitch in enumerate(heard_pitches):
        heard = bool(sounding[index]) and pitch > 0
        near = heard and run.pitches and abs(cents_between(run.pitches[-1], pitch)) <= APART
        if near:
            run.frames.append(index)
            run.pitches.append(float(pitch))
            missed = 0
        elif run.frames and missed < MISSES:
            missed += 1
        else:
            run, missed = (Run([index], [float(pitch)]) if heard else Run([], [])), 0
        if len(run.frames) > len(best.frames):
            best = run
    return best
