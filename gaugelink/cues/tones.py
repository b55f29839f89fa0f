"""Cues as notes: what can be told apart without colour, without sight and without words.

Every verdict has a rhythm and a contour of its own, so that either alone tells it:

- **take** is short-long and falls. The first note is always the same, E5; the second lies lower by
  a tone for one hundredth and by a semitone more for each further, to a little over an octave at
  most. So the interval shrinks as the cane does.
- **leave** is that first note alone, long and calm: there is nothing left to fall.
- **over** is short-short-long, low, and does not move: the target has been passed.

The others keep out of their way. A **refused** press is two equal knocks in the middle. A **zone**
on target climbs a major triad to the E5 of *leave*. The **next** station is one high tick. A link
that is **lost** falls a fifth twice, and one that is **back** climbs it once. **Soak** is three
slow drips.
"""

from __future__ import annotations

import math
from array import array
from functools import lru_cache

import msgspec

from gaugelink.cues.cue import Captured, Cue, Kind

RATE = 44_100
"""Samples per second where nobody asks for another rate."""

A3, D4, G4, A4, CIS5, D5, E5, A5, E6 = 57, 62, 67, 69, 73, 74, 76, 81, 88
"""Notes by their MIDI number: A4 is 69, a semitone is one."""

NAMES = ["C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "A♭", "A", "B♭", "B"]

DEEPEST = 14
"""Semitones that *take* falls at most: an octave and a tone, still well above *over*."""

ATTACK, RELEASE = 0.006, 0.045
"""Seconds in which a note swells and fades: short enough to keep the rhythm, too long to click."""

PARTIALS = (0.78, 0.17, 0.05)
"""Amplitudes of the note and its overtones, one in all: small loudspeakers lose a pure low note."""

HEARD: dict[Kind, str] = {
    "take": "short-long, falling: the further, the more there is to take",
    "leave": "one long calm note, the one that every take begins with",
    "over": "short-short-long, low, on one note",
    "refused": "two equal knocks",
    "zone": "three notes that climb to the note of leave",
    "next": "one high tick",
    "lost": "falls a fifth, twice",
    "back": "climbs a fifth, once",
    "soak": "three slow drips",
}
"""Each kind in words."""


class Note(msgspec.Struct, frozen=True):
    """One note and the silence after it."""

    frequency: float
    """Hertz."""
    duration: float
    """Seconds."""
    gap: float
    """Seconds of silence after it."""
    level: float
    """Amplitude, from 0 to 1 of what the card can give."""


Score = tuple[Note, ...]


def frequency(midi: int) -> float:
    """Hertz of a note in equal temperament with A4 at 440 Hz (ISO 16), 440 * 2^((midi - 69)/12)."""
    return 440 * math.exp2((midi - A4) / 12)


def fall(amount: int) -> int:
    """Semitones by which *take* falls for so many hundredths, 1 or more."""
    return min(amount + 1, DEEPEST)


def score(cue: Cue, volume: float = 1.0) -> Score:
    """The notes of a cue; `volume` from 0 to 1 scales their levels."""
    return tuple(
        Note(frequency(midi), duration, gap, level * volume)
        for midi, duration, gap, level in _notes(cue)
    )


def _notes(cue: Cue) -> list[tuple[int, float, float, float]]:
    """MIDI number, duration, gap and level of each note."""
    if isinstance(cue, Captured) and cue.verdict.word == "take":
        lower = E5 - fall(cue.verdict.amount)
        return [(E5, 0.09, 0.03, 0.8), (lower, 0.24, 0.0, 0.8)]
    return {
        "leave": [(E5, 0.42, 0.0, 0.6)],
        "over": [(A3, 0.08, 0.05, 1.0), (A3, 0.08, 0.05, 1.0), (A3, 0.36, 0.0, 1.0)],
        "refused": [(D4, 0.07, 0.06, 0.9), (D4, 0.07, 0.0, 0.9)],
        "zone": [(A4, 0.10, 0.02, 0.7), (CIS5, 0.10, 0.02, 0.7), (E5, 0.34, 0.0, 0.7)],
        "next": [(E6, 0.05, 0.0, 0.4)],
        "lost": [(D5, 0.14, 0.02, 1.0), (G4, 0.14, 0.06, 1.0)] * 2,
        "back": [(G4, 0.10, 0.02, 0.7), (D5, 0.26, 0.0, 0.7)],
        "soak": [(A5, 0.06, 0.30, 0.6), (A5, 0.06, 0.30, 0.6), (A5, 0.06, 0.0, 0.6)],
    }[cue.kind]


def length(score: Score) -> float:
    """Seconds that a score sounds."""
    return sum(note.duration + note.gap for note in score)


def name(frequency: float) -> str:
    """The nearest note's name with its octave, `E5`."""
    midi = round(A4 + 12 * math.log2(frequency / 440))
    return f"{NAMES[midi % 12]}{midi // 12 - 1}"


@lru_cache(maxsize=64)
def render(score: Score, rate: int = RATE) -> array[float]:
    """The samples of a score, from -1 to 1, `rate` to the second; not to be written to.

    Every note swells and fades along half a cosine, so that neither its beginning nor its end is
    a step that one hears as a click. Overtones above half the rate are left out.
    """
    samples = array("f")
    for note in score:
        samples.extend(_render(note, rate))
        samples.extend([0.0] * round(note.gap * rate))
    return samples


def _render(note: Note, rate: int) -> list[float]:
    count = round(note.duration * rate)
    turn = 2 * math.pi * note.frequency / rate
    partials = [
        (order, note.level * part)
        for order, part in enumerate(PARTIALS, 1)
        if order * note.frequency < rate / 2
    ]
    wave = [
        sum(part * math.sin(turn * order * index) for order, part in partials)
        for index in range(count)
    ]
    _fade(wave, min(round(ATTACK * rate), count // 2), 0, 1)
    _fade(wave, min(round(RELEASE * rate), count // 2), count - 1, -1)
    return wave


def _fade(wave: list[float], steps: int, start: int, stride: int) -> None:
    """Let the first of `steps` samples, counted from `start`, be zero and the rest grow to full."""
    for step in range(steps):
        wave[start + stride * step] *= 0.5 - 0.5 * math.cos(math.pi * step / steps)
