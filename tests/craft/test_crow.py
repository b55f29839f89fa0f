"""The crow out of synthesised sounds: right to a cent or refused, never a guess at noise."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugelink.craft.crow import Crow, NoPitch, hear
from gaugelink.craft.measured import CraftError
from gaugelink.craft.pitch import PitchError, hertz
from gaugelink.craft.wav import Recording
from tests.craft.tones import RATE, SAWTOOTH, Sound, noise, recorded, tone, with_noise

FLAT = hertz("C5", -16.5)


def crow(sound: Sound, rate: int = RATE, goal: str = "C5") -> Crow:
    found = hear(recorded(sound, rate), goal)
    assert isinstance(found, Crow), found
    return found


def refused(sound: Sound, rate: int = RATE) -> NoPitch:
    found = hear(recorded(sound, rate))
    assert isinstance(found, NoPitch), found
    return found


@given(st.floats(-100, 100), st.integers(0, 3))
@settings(max_examples=12)
def test_a_steady_tone_is_right_to_a_hundredth_of_a_cent(cents: float, kind: int) -> None:
    partials = [SAWTOOTH, {1: 1.0}, {1: 1.0, 2: 1.0}, {1: 0.2, 2: 1.0, 3: 0.5, 4: 0.8}][kind]
    found = crow(tone(hertz("C5", cents), partials))
    assert found.cents == pytest.approx(cents, abs=0.01)
    assert found.octaves == 0
    assert found.spread < 0.1
    assert not found.overdriven


@pytest.mark.parametrize("rate", [8000, 11_025, 16_000, 22_050, 44_100, 48_000, 96_000, 192_000])
def test_any_common_rate_will_do(rate: int) -> None:
    assert crow(tone(FLAT, rate=rate), rate).cents == pytest.approx(-16.5, abs=0.05)


@pytest.mark.parametrize(
    ("decibels", "within"), [(30, 0.02), (20, 0.05), (10, 0.2), (5, 0.5), (3, 1)]
)
@pytest.mark.parametrize("seed", range(4))
def test_in_noise_it_stays_right(decibels: float, within: float, seed: int) -> None:
    found = crow(with_noise(tone(FLAT), decibels, seed))
    assert found.cents == pytest.approx(-16.5, abs=within)
    assert found.octave == pytest.approx(-5, abs=1)


@pytest.mark.parametrize("decibels", [2, 0, -2, -4, -10])
@pytest.mark.parametrize("seed", range(4))
def test_in_more_noise_it_is_right_or_refused(decibels: float, seed: int) -> None:
    found = hear(recorded(with_noise(tone(FLAT), decibels, seed)))
    if isinstance(found, Crow):
        assert found.cents == pytest.approx(-16.5, abs=2)
    else:
        assert found.why == "no steady pitch"


@pytest.mark.parametrize("colour", ["white", "pink", "brown"])
@pytest.mark.parametrize("seed", range(12))
def test_noise_has_no_pitch(colour: str, seed: int) -> None:
    found = refused(noise(colour, seed, RATE))
    assert found.why == "no steady pitch"
    assert found.text == "no steady pitch: crow it again, or note it by ear"


def test_a_missing_fundamental_is_heard_all_the_same() -> None:
    found = crow(tone(FLAT, dict.fromkeys(range(2, 8), 1.0)))
    assert found.hertz == pytest.approx(FLAT, rel=1e-5)
    assert found.octaves == 0
    high = crow(with_noise(tone(FLAT, {3: 1.0, 4: 1.0, 5: 1.0}), 15, 1))
    assert high.cents == pytest.approx(-16.5, abs=0.2)


def test_two_notes_an_octave_apart_are_a_crow_with_its_octave() -> None:
    for strength in (0.3, 0.5, 1.0, 2.0):
        found = crow(tone(FLAT) + strength * tone(2 * FLAT))
        assert found.octaves == 0
        assert found.cents == pytest.approx(-16.5, abs=0.02)
        assert found.has_octave
    # The louder the upper one, the stronger.
    heard = [crow(tone(FLAT) + s * tone(2 * FLAT)).octave for s in (0.0, 0.2, 0.5, 1.0, 2.0)]
    assert heard == sorted(heard)
    # Even partials against odd ones: 10 log10 of a known ratio.
    known = crow(tone(FLAT, {1: 1.0, 2: 0.5, 3: 0.5}))
    assert known.octave == pytest.approx(10 * np.log10(0.25 / 1.25), abs=0.1)


def test_only_the_upper_note_is_an_octave_too_high() -> None:
    found = crow(tone(2 * FLAT))
    assert (found.octaves, round(found.cents, 1)) == (1, -16.5)
    assert "1 octave(s) above it" in found.text


def test_a_crow_without_its_octave_says_so() -> None:
    for partials in ({1: 1.0}, {1: 1.0, 3: 0.5, 5: 0.3}):
        found = crow(tone(FLAT, partials))
        assert not found.has_octave
        assert found.text.endswith("the octave is missing")


@pytest.mark.parametrize("vibrato", [5, 15, 30, 45])
def test_a_vibrato_swings_about_its_pitch(vibrato: float) -> None:
    found = crow(tone(FLAT, vibrato=vibrato, seconds=2))
    assert found.cents == pytest.approx(-16.5, abs=2)
    assert found.spread == pytest.approx(vibrato * 2**-0.5 * 1.4826, rel=0.15)


def test_an_overdriven_recording_has_its_pitch_and_says_that_it_is_overdriven() -> None:
    sound = np.clip(3 * tone(FLAT) / np.abs(tone(FLAT)).max(), -1, 1)
    found = hear(Recording(RATE, sound))
    assert isinstance(found, Crow)
    assert found.overdriven
    assert found.cents == pytest.approx(-16.5, abs=0.1)
    assert found.text.endswith("overdriven: record it softer")


def test_words() -> None:
    found = crow(tone(hertz("C5", -16)))
    assert found.text == "C5 -16.0: 16 cents flat of C5; the octave sounds with it (-5 dB)"
    assert found.seconds == pytest.approx(1.1, abs=0.1)
    assert crow(tone(hertz("B4", 3)), goal="B4").text.startswith("B4 +3.0: 3 cents sharp of B4")


def test_what_glides_or_quarrels_has_no_one_pitch() -> None:
    glide = np.sin(2 * np.pi * np.cumsum(np.linspace(300, 1200, RATE)) / RATE)
    assert "it glides, or two notes quarrel" in refused(glide).text
    for other in (620, 700, 760):
        assert refused(tone(523) + tone(other)).why == "no steady pitch"


def test_a_crow_among_silence_and_knocks_is_found() -> None:
    quiet = np.zeros(RATE // 2)
    knock = noise("white", 1, RATE // 20)
    sound = np.concatenate([knock, quiet, 0.3 * tone(FLAT, seconds=0.8), quiet, knock])
    found = crow(sound)
    assert found.cents == pytest.approx(-16.5, abs=0.3)
    assert found.seconds == pytest.approx(0.75, abs=0.1)


def test_silence_and_what_is_too_short() -> None:
    silent = hear(Recording(RATE, np.zeros(RATE)))
    assert isinstance(silent, NoPitch)
    assert silent.why == "silence"
    faint = hear(recorded(tone(FLAT), loud=5e-4))
    assert isinstance(faint, NoPitch)
    assert faint.why == "silence"
    for seconds in (0.0, 0.001, 0.2):
        assert refused(tone(FLAT, seconds=seconds)).why == "too short"
    # Long enough to look at, not to be sure of.
    assert refused(tone(FLAT, seconds=0.28)).why == "no steady pitch"


def test_a_constant_and_a_rumble_below_it_change_nothing() -> None:
    hum = 3 * np.sin(2 * np.pi * 50 * np.arange(len(tone(FLAT))) / RATE)
    assert crow(tone(FLAT) + 2.0).cents == pytest.approx(-16.5, abs=0.05)
    assert crow(tone(FLAT) + hum).cents == pytest.approx(-16.5, abs=0.5)


def test_another_tuning() -> None:
    found = hear(recorded(tone(hertz("C5", tuning=442))), tuning=442)
    assert isinstance(found, Crow)
    assert found.cents == pytest.approx(0, abs=0.01)


def test_what_cannot_be_listened_to_is_refused() -> None:
    with pytest.raises(CraftError, match="7999 samples a second are too few"):
        hear(Recording(7999, tone(FLAT)))
    with pytest.raises(PitchError, match="'H5' is no note"):
        hear(recorded(tone(FLAT)), "H5")
