"""Sounds for the tests of the crow: partials, vibrato and noise, all made up."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from gaugelink.craft.wav import Recording

RATE = 44_100
SAWTOOTH = {number: 1 / number for number in range(1, 13)}

Sound = NDArray[np.float64]


def tone(
    hertz: float,
    partials: Mapping[int, float] = SAWTOOTH,
    seconds: float = 1.2,
    rate: int = RATE,
    vibrato: float = 0.0,
) -> Sound:
    """A tone whose pitch swings by `vibrato` cents to either side, 5.5 times a second."""
    at = np.arange(round(seconds * rate)) / rate
    cents = vibrato * np.sin(2 * np.pi * 5.5 * at)
    phase = 2 * np.pi * np.cumsum(hertz * 2 ** (cents / 1200)) / rate
    found = np.zeros(len(at))
    for number, strength in partials.items():
        if number * hertz < 0.45 * rate:
            found += strength * np.sin(number * phase + 0.7 * number)
    return found


def noise(colour: str, seed: int, count: int) -> Sound:
    """White, pink (falling by 3 dB an octave) or brown (by 6 dB) noise."""
    white = np.random.default_rng(seed).normal(size=count)
    fall = {"white": 0.0, "pink": 0.5, "brown": 1.0}[colour]
    spectrum = np.fft.rfft(white)
    return np.fft.irfft(spectrum / np.arange(1, len(spectrum) + 1) ** fall, count)


def with_noise(sound: Sound, decibels: float, seed: int) -> Sound:
    """The sound with white noise whose power lies `decibels` below its own."""
    power = np.sqrt(np.mean(sound**2)) * 10 ** (-decibels / 20)
    noisy: Sound = sound + power * noise("white", seed, len(sound))
    return noisy


def recorded(sound: Sound, rate: int = RATE, loud: float = 0.5) -> Recording:
    return Recording(rate, loud * sound / max(1e-12, float(np.abs(sound).max(initial=0))))
