"""The crow of a reed, heard in a recording: its pitch, and how strong its octave sounds with it.

The frames that agree on a pitch for long enough (see `periods`) are the crow. There its partials
are measured in one long spectrum, each peak by a parabola through the logarithms of three bins
(J. O. Smith, Spectral Audio Signal Processing, from memory), or by the middle of its power where a
vibrato widens it. Noise has no such frames, and then no pitch is named.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

import msgspec

from gaugelink.craft.measured import CraftError
from gaugelink.craft.periods import HOP, LOWEST, WINDOW, Run, cut_frames, pitches, steadiest, vertex
from gaugelink.craft.pitch import TUNING, Pitch, cents_between, hertz, nearest
from gaugelink.craft.wav import Recording

if TYPE_CHECKING:
    from gaugelink.craft.wav import Samples

SLOWEST_RATE = 8000
"""Samples per second below which the octave's partials are not in the recording."""

LONGEST = 30.0
"""Seconds that are listened to."""

SHORTEST = 0.25
"""Seconds for which a pitch must hold."""

SILENT = 1e-3
"""Of full scale: -60 dB; no frame below this sounds."""

FAINT = 10 ** (-30 / 20)
"""Of the loudest frame: what is fainter by 30 dB is the room."""

SHARE = 1 / 3
"""Of the sounding frames that the pitch must hold in; else other things sound too."""

WIDEST = 60.0
"""Cents: a spread above this is a glide, or a pitch that never settles."""

CLEAN = 0.75
"""The share of what stands out of the noise that must lie on the pitch's partials. A crow in which
two notes quarrel has no one pitch."""

STANDS_OUT = 30.0
"""Times the median of the bins about it that a peak has at least: noise alone has that once in a
thousand million bins."""

STEADY = 10.0
"""Cents: with a spread below this a partial is one peak; with more, a vibrato may widen it."""

NARROW, WIDE = 0.01, 0.03
"""How far from a multiple of the fundamental, as a share of it, a partial of a steady pitch may
lie, and one with a vibrato: 17 and 51 cents. A note held up by blowing has exact multiples."""

PARTIALS = 12
"""Partials that are looked at."""

OCTAVE_FROM = -12.0
"""Decibels of the even partials against the odd ones from which the octave counts as sounding. A
choice, no source: a sawtooth has -5."""

OVERDRIVEN = 0.001
"""The share of samples that stand at full scale in threes from which a recording is overdriven."""


class Crow(msgspec.Struct, frozen=True):
    """A crow that was heard."""

    hertz: float
    """Of the fundamental."""
    pitch: Pitch
    """The nearest note and the cents from it."""
    cents: float
    """From the goal, flat negative, in whichever octave it sounds."""
    octaves: int
    """How many octaves above the goal it sounds; 0 where it belongs."""
    spread: float
    """Cents by which the pitch moves within the crow: 1.4826 times the median absolute deviation,
    the standard deviation if it were normal."""
    octave: float
    """Decibels of the partials of the octave above (the even ones) against the odd ones, from -60
    to 60; about 0 when both sound alike."""
    seconds: float
    """For how long the pitch held."""
    overdriven: bool
    """The recording was too loud for its range: the octave's strength is not to be trusted."""
    text: str

    @property
    def has_octave(self) -> bool:
        """Whether the octave above sounds with it."""
        return self.octave >= OCTAVE_FROM


class NoPitch(msgspec.Struct, frozen=True):
    """Nothing that could honestly be called a pitch."""

    why: Literal["too short", "silence", "no steady pitch"]
    text: str


def hear(recording: Recording, goal: str = "C5", tuning: float = TUNING) -> Crow | NoPitch:
    """The crow in a recording, against a goal note.

    Raises CraftError for a recording with fewer than 8000 samples a second, PitchError for a goal
    or tuning that is none.
    """
    import numpy as np

    wanted = hertz(goal, tuning=tuning)
    if recording.rate < SLOWEST_RATE:
        raise CraftError(f"{recording.rate} samples a second are too few; record with 44100")
    sound, rate = _prepared(recording)
    if len(sound) < rate * SHORTEST:
        return NoPitch("too short", f"too short: let it crow for {2 * SHORTEST:g} s or longer")
    frames = cut_frames(sound, rate)
    loud = np.sqrt(np.mean(frames**2, axis=1))
    sounding = loud >= max(SILENT, FAINT * float(loud.max()))
    if not sounding.any():
        return NoPitch("silence", "nothing sounds: come nearer to the microphone")
    run = steadiest(pitches(frames, rate), sounding)
    count = int(sounding.sum())
    if len(run.frames) * HOP < SHORTEST or len(run.frames) < SHARE * count:
        return NoPitch("no steady pitch", "no steady pitch: crow it again, or note it by ear")
    crow = _measured(sound, rate, run, wanted, tuning, goal, _is_overdriven(recording))
    return crow or NoPitch("no steady pitch", "no one pitch: it glides, or two notes quarrel")


def _prepared(recording: Recording) -> tuple[Samples, int]:
    """The sound without rumble, with at most 48000 samples a second."""
    import numpy as np
    from scipy.signal import (  # type: ignore[import-untyped]
        butter,
        resample_poly,
        sosfiltfilt,
    )

    sound = recording.samples[: int(LONGEST * recording.rate)]
    down = math.ceil(recording.rate / 48_000)
    if down > 1:
        sound = resample_poly(sound, 1, down)
    rate = recording.rate / down
    if len(sound) > rate * SHORTEST:
        rumble = butter(2, LOWEST * 0.7, "highpass", fs=rate, output="sos")
        sound = sosfiltfilt(rumble, sound)
    return np.asarray(sound, np.float64), round(rate)


def _measured(
    sound: Samples, rate: int, run: Run, wanted: float, tuning: float, goal: str, overdriven: bool
) -> Crow | None:
    """The crow in the frames of a run; None when it has no one pitch after all."""
    import numpy as np

    step = max(1, round(HOP * rate))
    middle = float(np.median(run.pitches))
    off = [cents_between(middle, pitch) for pitch in run.pitches]
    # From the median absolute deviation, so that a wrong frame or two do not count.
    spread = 1.4826 * float(np.median(np.abs(off)))
    stretch = sound[run.frames[0] * step : run.frames[-1] * step + round(WINDOW * rate)]
    power, per_bin = _spectrum(stretch, rate)
    steady = spread < STEADY
    found = _from_partials(power, per_bin, middle, steady) or middle
    if spread > WIDEST or _share(power, per_bin, found, NARROW if steady else WIDE) < CLEAN:
        return None
    cents = cents_between(wanted, found)
    octaves = round(cents / 1200)
    pitch, octave = nearest(found, tuning), _octave(power, per_bin, found)
    seconds = len(run.frames) * step / rate
    cents -= 1200 * octaves
    text = _words(pitch, cents, octaves, octave, goal, overdriven)
    return Crow(found, pitch, cents, octaves, spread, octave, seconds, overdriven, text)


def _spectrum(stretch: Samples, rate: int) -> tuple[Samples, float]:
    """The power spectrum of a stretch, and the hertz per bin."""
    import numpy as np

    size = 4 << len(stretch).bit_length()
    window = np.hanning(len(stretch))
    return np.abs(np.fft.rfft(stretch * window, size)) ** 2, rate / size


def _from_partials(power: Samples, per_bin: float, about: float, steady: bool) -> float | None:
    """The fundamental of which the clear peaks are multiples; None when no peak is clear.

    A peak's frequency is known the better the more power it has, and the fundamental from a
    multiple k of it k times better: the least-squares fundamental is Σ w k f / Σ w k².
    """
    import numpy as np

    above = below = 0.0
    for number in range(1, PARTIALS + 1):
        inside = _band(power, per_bin, about, number, WIDE)
        if inside is None:
            break
        first, values = inside
        place = int(np.argmax(values))
        least = STANDS_OUT * _floor(power, per_bin, about, number)
        if not 0 < place < len(values) - 1 or values[place] < least:
            continue
        if steady:
            logs = np.log(values[place - 1 : place + 2] + 1e-300)
            middle = place + vertex(*logs)
        else:
            clear = np.where(values >= least, values, 0.0)
            middle = float(clear @ np.arange(len(values))) / float(clear.sum())
        weight = float(values[place])
        above += weight * number * (first + middle) * per_bin
        below += weight * number**2
    return above / below if below else None


def _share(power: Samples, per_bin: float, fundamental: float, width: float) -> float:
    """The share of what stands out of the noise that lies on the partials."""
    on = total = 0.0
    for number in range(PARTIALS + 1):
        inside = _band(power, per_bin, fundamental, number, width)
        if inside is None:
            break
        low = max(LOWEST, (number - 0.5) * fundamental)
        slot = power[int(low / per_bin) : int((number + 0.5) * fundamental / per_bin)]
        least = STANDS_OUT * _floor(power, per_bin, max(fundamental, LOWEST), max(number, 1))
        total += float(slot[slot > least].sum())
        if number:
            on += float(inside[1][inside[1] > least].sum())
    return on / total if total else 0.0


def _octave(power: Samples, per_bin: float, fundamental: float) -> float:
    """Decibels of the even partials against the odd ones, the noise between them taken off."""
    sums = [0.0, 0.0]
    for number in range(1, PARTIALS + 1):
        inside = _band(power, per_bin, fundamental, number, WIDE)
        if inside is None:
            break
        noise = len(inside[1]) * _floor(power, per_bin, fundamental, number) / math.log(2)
        sums[number % 2] += max(0.0, float(inside[1].sum()) - noise)
    even, odd = sums
    least = 1e-6 * (even + odd) or 1.0
    return max(-60.0, min(60.0, 10 * math.log10(max(even, least) / max(odd, least))))


def _band(
    power: Samples, per_bin: float, fundamental: float, number: int, share: float
) -> tuple[int, Samples] | None:
    """The bins about a partial, and the first one's index; None beyond the recording's range."""
    first = math.floor(number * fundamental * (1 - share) / per_bin)
    last = math.ceil(number * fundamental * (1 + share) / per_bin) + 1
    return None if last >= 0.95 * len(power) else (first, power[first:last])


def _floor(power: Samples, per_bin: float, fundamental: float, number: int) -> float:
    """The median power between a partial and its neighbours; of noise, ln 2 times the mean."""
    import numpy as np

    low = int((number - 0.45) * fundamental / per_bin)
    high = int((number + 0.45) * fundamental / per_bin) + 1
    return float(np.median(power[low:high]))


def _is_overdriven(recording: Recording) -> bool:
    import numpy as np

    full = np.abs(recording.samples) >= 0.99
    threes = full[:-2] & full[1:-1] & full[2:]
    return bool(len(threes)) and float(threes.mean()) > OVERDRIVEN


def _words(
    pitch: Pitch, cents: float, octaves: int, octave: float, goal: str, overdriven: bool
) -> str:
    said = [f"{pitch}: {abs(cents):.0f} cents {'flat' if cents < 0 else 'sharp'} of {goal}"]
    if octaves:
        said.append(f"{abs(octaves)} octave(s) {'above' if octaves > 0 else 'below'} it")
    said.append(
        f"the octave sounds with it ({round(octave):+d} dB)"
        if octave >= OCTAVE_FROM
        else "the octave is missing"
    )
    if overdriven:
        said.append("overdriven: record it softer")
    return "; ".join(said)
