"""Notes, hertz and cents in equal temperament.

A above middle C is tuned to 440 Hz (ISO 16:1975) unless the maker says otherwise. A semitone is the
twelfth root of 2, a cent 1200 times the binary logarithm of a ratio.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal

import msgspec

from gaugelink.reading import GaugelinkError

TUNING = 440.0
"""Hertz of A4."""

NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SIGNS = {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1}
_NOTE = re.compile(r"([A-Ga-g])([#♯b♭]?)([0-9])", re.ASCII)
_SAID = re.compile(
    rf"(?:{_NOTE.pattern}\s*(?P<cents>[+\-−]\s*\d{{1,4}}(?:[.,]\d{{1,3}})?)?(?:\s*(?:c|cents?))?"
    r"|(?P<hertz>\d{1,5}(?:[.,]\d{1,6})?)\s*(?:[hH][zZ])?)",
    re.ASCII,
)

LOWEST, HIGHEST = 20.0, 10_000.0
"""Hertz between which a note has a name here, whatever the tuning."""


class PitchError(GaugelinkError):
    """What names no pitch."""


class Pitch(msgspec.Struct, frozen=True):
    """A pitch as a tuner shows it."""

    note: str
    """Such as C5 or A#4; C4 is middle C."""
    cents: Decimal
    """From the note; flat is negative."""

    def __str__(self) -> str:
        return f"{self.note} {self.cents:+f}" if self.cents else self.note


def parse_note(text: str) -> int:
    """The note's number, A4 being 69 and a semitone 1; PitchError when it is none."""
    found = _NOTE.fullmatch(text.strip())
    if found is None:
        raise PitchError(f"{text!r} is no note; write it as C5, Bb4 or F#5")
    return _number(*found.groups())


def hertz(note: str, cents: float = 0.0, tuning: float = TUNING) -> float:
    """The frequency of a note, `cents` from it: tuning · 2^((number - 69) / 12 + cents / 1200)."""
    _check_tuning(tuning)
    return tuning * math.exp2((parse_note(note) - 69) / 12 + cents / 1200)


def cents_between(first: float, second: float) -> float:
    """1200 log2(second / first): positive when the second is sharper. Both in hertz, above 0."""
    for each in (first, second):
        if not (math.isfinite(each) and each > 0):
            raise PitchError(f"{each} Hz is no frequency; it must be above 0")
    return 1200 * math.log2(second / first)


def nearest(frequency: float, tuning: float = TUNING) -> Pitch:
    """The note nearest to a frequency in hertz, and the cents from it, to a tenth."""
    _check_tuning(tuning)
    if not LOWEST <= frequency <= HIGHEST:
        raise PitchError(f"{frequency} Hz is no note; it lies from {LOWEST:g} to {HIGHEST:g} Hz")
    semitones = cents_between(tuning, frequency) / 100
    number = round(semitones) + 69
    cents = round(Decimal(100 * (semitones + 69 - number)), 1)
    octave, name = divmod(number, 12)
    return Pitch(f"{NAMES[name]}{octave - 1}", cents or Decimal(0))


def parse(text: str, tuning: float = TUNING) -> Pitch:
    """What a maker writes down: `C5`, `C5 -15`, `Bb4 +3.5` or `518.7 Hz`.

    Cents stay as they were said. Raises PitchError for anything else.
    """
    found = _SAID.fullmatch(text.strip())
    if found is None:
        raise PitchError(f"{text!r} is no pitch; write C5, C5 -15, or 518.7 Hz")
    if found["hertz"] is not None:
        return nearest(float(found["hertz"].replace(",", ".")), tuning)
    letter, sign, octave = found.groups()[:3]
    cents = re.sub(r"\s", "", found["cents"] or "0").replace("−", "-").replace(",", ".")
    return Pitch(f"{letter.upper()}{sign}{octave}", Decimal(cents))


def cents_from(pitch: Pitch, goal: str) -> Decimal:
    """Cents of a pitch from a goal note, exactly; flat is negative."""
    return 100 * (parse_note(pitch.note) - parse_note(goal)) + pitch.cents


def _number(letter: str, sign: str, octave: str) -> int:
    return _STEPS[letter.upper()] + _SIGNS[sign] + 12 * (int(octave) + 1)


def _check_tuning(tuning: float) -> None:
    if not 380 <= tuning <= 480:
        raise PitchError(f"an A of {tuning} Hz is out of reach; give one from 380 to 480")
