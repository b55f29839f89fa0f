"""Cues as sound: the samples are listened to by their spectrum, not by what was asked for."""

from __future__ import annotations

import itertools
import math
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft.reed import Station
from gaugelink.craft.verdict import LEAVE, Verdict
from gaugelink.cues.cue import EXAMPLES, KINDS, Captured, CueError
from gaugelink.cues.tones import HEARD, RATE, Note, fall, frequency, length, name, render, score
from gaugelink.cues.wav import to_wav
from tests.cues.sounds import pitch, samples, seconds

# OEIS A329207 and the musical scales table of the CRC Handbook of Chemistry and Physics; A4 is
# 440 Hz by ISO 16.
PUBLISHED = {
    12: ("C0", 16.3515978313), 60: ("C4", 261.6255653006), 61: ("C♯4", 277.1826309769),
    62: ("D4", 293.6647679174), 63: ("E♭4", 311.1269837221), 64: ("E4", 329.6275569129),
    65: ("F4", 349.2282314330), 66: ("F♯4", 369.9944227116), 67: ("G4", 391.9954359817),
    68: ("A♭4", 415.3046975799), 69: ("A4", 440.0), 70: ("B♭4", 466.1637615181),
    71: ("B4", 493.8833012561), 72: ("C5", 523.2511306012), 81: ("A5", 880.0),
    84: ("C6", 1046.5022612024),
}  # fmt: skip

CENT = 2 ** (1 / 1200)


@pytest.mark.parametrize("midi", PUBLISHED)
def test_notes_are_in_equal_temperament(midi: int) -> None:
    known, hertz = PUBLISHED[midi]
    assert frequency(midi) == pytest.approx(hertz, rel=1e-11)
    assert name(hertz) == known


def captured(word: str, amount: int = 0) -> Captured:
    verdict = LEAVE if word == "leave" else Verdict("take" if word == "take" else "over", amount)
    return Captured(Station("crossed", 53, -0.5), "windows", Decimal(43), verdict)


def parts(data: Any, rate: int) -> list[tuple[float, float, float]]:
    """Start, seconds and hertz of each note that is heard: a note is what lies between silences.

    The sound of a note never stays below a thousandth for as long as 5 ms, and the silence
    between two is longer than that.
    """
    loud = np.abs(np.asarray(data)) > 1e-3
    found: list[list[int]] = []
    for index in np.flatnonzero(loud):
        if found and index - found[-1][1] < 0.005 * rate:
            found[-1][1] = int(index)
        else:
            found.append([int(index), int(index)])
    return [
        (first / rate, (last - first) / rate, pitch(data[first : last + 1], rate))
        for first, last in found
    ]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("rate", [22_050, 44_100, 48_000])
def test_every_note_is_heard_with_its_pitch_and_length(kind: str, rate: int) -> None:
    notes = score(EXAMPLES[kind])  # type: ignore[index]
    data = render(notes, rate)
    assert len(data) == pytest.approx(length(notes) * rate, abs=len(notes) * 2)
    heard = parts(data, rate)
    assert len(heard) == len(notes)
    for (_, duration, hertz), note in zip(heard, notes, strict=True):
        # A tone as short as a tick spreads over many hertz: a tenth of a semitone is exact for it.
        assert 1 / CENT**10 < hertz / note.frequency < CENT**10
        # Its two ends fade below what counts as heard.
        assert note.duration - 0.012 < duration <= note.duration


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_clicks_and_nothing_is_too_loud(kind: str) -> None:
    notes = score(EXAMPLES[kind])  # type: ignore[index]
    data = np.asarray(render(notes))
    assert data[0] == data[-1] == 0
    assert 0.3 < np.max(np.abs(data)) <= 1
    # A click is a burst over the whole spectrum: far above the notes and their overtones there
    # must be next to nothing, here less than a millionth of the power.
    power = np.abs(np.fft.rfft(data)) ** 2
    above = np.fft.rfftfreq(len(data), 1 / RATE) > 6000
    assert power[above].sum() < 1e-6 * power.sum()
    # The same notes without fading do click, so that the measure is shown to see it.
    hard = np.concatenate(
        [
            np.sin(2 * np.pi * note.frequency * np.arange(int(note.duration * RATE)) / RATE + 1)
            for note in notes
        ]
    )
    power = np.abs(np.fft.rfft(hard)) ** 2
    above = np.fft.rfftfreq(len(hard), 1 / RATE) > 6000
    assert power[above].sum() > 1e-6 * power.sum()


def rhythm(heard: list[tuple[float, float, float]]) -> str:
    return "".join("long " if duration > 0.18 else "short " for _, duration, _ in heard).strip()


def contour(heard: list[tuple[float, float, float]]) -> str:
    steps = [
        round(12 * math.log2(later[2] / earlier[2])) for earlier, later in itertools.pairwise(heard)
    ]
    return " ".join("falls" if step < 0 else "climbs" if step else "stays" for step in steps)


def test_take_leave_and_over_differ_in_rhythm_and_in_contour_and_in_register() -> None:
    take, leave, over = (
        parts(render(score(captured(word, 3))), RATE) for word in ("take", "leave", "over")
    )
    assert [rhythm(each) for each in (take, leave, over)] == [
        "short long",
        "long",
        "short short long",
    ]
    assert [contour(each) for each in (take, leave, over)] == ["falls", "", "stays stays"]
    assert take[0][2] == pytest.approx(leave[0][2], rel=0.005), "both begin at the target's note"
    lowest_take = parts(render(score(captured("take", 999))), RATE)[-1][2]
    assert over[0][2] < lowest_take * 2 ** (-4 / 12), "over lies well below any take"


def test_no_two_kinds_share_rhythm_contour_and_register() -> None:
    heard = {kind: parts(render(score(EXAMPLES[kind])), RATE) for kind in KINDS}
    shapes = {
        (rhythm(each), contour(each), each[0][2] > 600, each[0][2] > 1000)
        for each in heard.values()
    }
    assert len(shapes) == len(KINDS)
    assert set(HEARD) == set(KINDS)


@given(st.integers(1, 60))
def test_the_more_there_is_to_take_the_further_it_falls(amount: int) -> None:
    first, second = score(captured("take", amount))
    semitones = 12 * math.log2(first.frequency / second.frequency)
    assert semitones == pytest.approx(fall(amount))
    assert 2 <= round(semitones, 6) <= 14
    more = fall(amount + 1)
    assert more > fall(amount) if amount < 13 else more == fall(amount) == 14


def test_the_fall_of_every_take_is_heard_in_the_samples() -> None:
    heard = []
    for amount in range(1, 14):
        (_, _, first), (_, _, second) = parts(render(score(captured("take", amount))), RATE)
        heard.append(12 * math.log2(first / second))
    assert heard == pytest.approx([amount + 1 for amount in range(1, 14)], abs=0.1)


@pytest.mark.parametrize("volume", [0.0, 0.25, 0.5, 1.0])
def test_the_volume_scales_the_samples(volume: float) -> None:
    full = np.asarray(render(score(EXAMPLES["over"])))
    assert np.asarray(render(score(EXAMPLES["over"], volume))) == pytest.approx(
        full * volume, abs=1e-6
    )


@given(
    notes=st.lists(
        st.builds(
            Note,
            st.floats(30, 20_000),
            st.floats(0, 0.02),
            st.floats(0, 0.02),
            st.floats(0, 1),
        ),
        max_size=5,
    ),
    rate=st.sampled_from([8_000, 44_100, 96_000]),
)
def test_any_score_renders_within_bounds_and_to_its_length(notes: list[Note], rate: int) -> None:
    data = render(tuple(notes), rate)
    assert len(data) == sum(round(note.duration * rate) + round(note.gap * rate) for note in notes)
    assert all(-1 <= sample <= 1 for sample in data)


def test_an_overtone_beyond_half_the_rate_does_not_come_back_as_another_note() -> None:
    data = render((Note(3_000.0, 0.5, 0.0, 1.0),), 8_000)  # its octave would alias to 2 kHz
    power = np.abs(np.fft.rfft(np.asarray(data))) ** 2
    hertz = np.fft.rfftfreq(len(data), 1 / 8_000)
    assert power[np.abs(hertz - 2_000) < 100].sum() < 1e-6 * power.sum()


@pytest.mark.parametrize("rate", [22_050, 44_100])
def test_a_score_as_a_sound_file_holds_the_same_samples(tmp_path: Path, rate: int) -> None:
    file = tmp_path / "zone.wav"
    notes = score(EXAMPLES["zone"], 0.5)
    to_wav(notes, file, rate)
    data, stored = samples(file)
    assert stored == rate
    assert data == pytest.approx(np.asarray(render(notes, rate)), abs=2 / 32_768)
    assert seconds(file) == pytest.approx(length(notes), abs=1e-3)


def test_a_sound_file_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    with pytest.raises(CueError, match=r"zone\.wav: cannot be written: No such file"):
        to_wav(score(EXAMPLES["zone"]), tmp_path / "none" / "zone.wav")
