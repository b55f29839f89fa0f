"""WAV files, as two independent libraries write them, and as nobody should."""

from __future__ import annotations

import io
import struct
import wave

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.io import wavfile  # type: ignore[import-untyped]

from gaugelink.craft.crow import Crow, hear
from gaugelink.craft.measured import CraftError
from gaugelink.craft.pitch import hertz
from gaugelink.craft.wav import read_wav
from tests.craft.tones import RATE, Sound, tone

SOUND = 0.6 * tone(hertz("C5", -16)) / np.abs(tone(hertz("C5", -16))).max()


def by_the_standard_library(sound: Sound, width: int, channels: int = 1, rate: int = RATE) -> bytes:
    """Samples of `width` bytes, rows of channels."""
    full = 2 ** (8 * width - 1)
    whole = np.clip(np.round(sound * full), -full, full - 1).astype(np.int64)
    if width == 1:
        raw = (whole + 128).astype(np.uint8).tobytes()
    else:
        raw = b"".join(int(each).to_bytes(width, "little", signed=True) for each in whole.flat)
    file = io.BytesIO()
    with wave.open(file, "wb") as writer:
        writer.setnchannels(channels)
        writer.setsampwidth(width)
        writer.setframerate(rate)
        writer.writeframes(raw)
    return file.getvalue()


def by_scipy(sound: Sound, kind: type[np.generic], rate: int = RATE) -> bytes:
    file = io.BytesIO()
    wavfile.write(file, rate, sound.astype(kind))
    return file.getvalue()


@pytest.mark.parametrize("width", [1, 2, 3, 4])
def test_linear_samples_of_every_width(width: int) -> None:
    found = read_wav(by_the_standard_library(SOUND, width))
    assert found.rate == RATE
    assert found.samples == pytest.approx(SOUND, abs=0.51 / 2 ** (8 * width - 1))
    heard = hear(found)
    assert isinstance(heard, Crow)
    assert heard.cents == pytest.approx(-16, abs=0.1)


@pytest.mark.parametrize(("kind", "within"), [(np.float32, 1e-7), (np.float64, 0.0)])
def test_floating_point_samples(kind: type[np.generic], within: float) -> None:
    assert read_wav(by_scipy(SOUND, kind)).samples == pytest.approx(SOUND, abs=within)


@pytest.mark.parametrize("width", [2, 3])
def test_of_two_channels_the_louder_is_heard(width: int) -> None:
    both = np.stack([0.001 * SOUND + 0.9, SOUND], axis=1)
    found = read_wav(by_the_standard_library(both, width, channels=2))
    assert found.samples == pytest.approx(SOUND, abs=1e-4)
    opposed = read_wav(by_the_standard_library(np.stack([SOUND, -SOUND], axis=1), width, 2))
    assert isinstance(hear(opposed), Crow), "opposed channels must not cancel"


def test_an_extensible_file_is_read_by_the_format_that_it_names() -> None:
    plain = by_the_standard_library(SOUND, 3)
    name = struct.pack("<H", 1) + bytes.fromhex("000000001000800000aa00389b71")
    layout = struct.pack("<HHIIHH", 0xFFFE, 1, RATE, 3 * RATE, 3, 24)
    layout += struct.pack("<HHI", 22, 24, 4) + name
    body = plain[12 + 8 + 16 :]
    inside = b"WAVEfmt " + struct.pack("<I", len(layout)) + layout + body
    data = b"RIFF" + struct.pack("<I", len(inside)) + inside
    # scipy reads the same file alike.
    rate, reference = wavfile.read(io.BytesIO(data))
    found = read_wav(data)
    assert rate == found.rate
    assert found.samples == pytest.approx(reference / 2**31, abs=1e-9)


def test_other_chunks_are_passed_over() -> None:
    plain = by_the_standard_library(SOUND, 2)
    odd = b"LIST" + struct.pack("<I", 5) + b"abcde\0"
    assert np.array_equal(read_wav(plain[:12] + odd + plain[12:]).samples, read_wav(plain).samples)


def test_a_file_that_was_cut_off_is_read_as_far_as_it_goes() -> None:
    whole = by_the_standard_library(SOUND, 2)
    found = read_wav(whole[: len(whole) // 2 + 1])
    assert found.samples == pytest.approx(SOUND[: len(found.samples)], abs=1e-4)
    assert 0.45 < len(found.samples) / len(SOUND) < 0.55


def test_samples_that_are_no_numbers_are_silence() -> None:
    spoilt = SOUND.copy()
    spoilt[[5, 6, 7]] = np.nan, np.inf, 1e30
    assert read_wav(by_scipy(spoilt, np.float64)).samples[5:8] == pytest.approx([0, 0, 0])


@pytest.mark.parametrize(
    ("place", "instead", "said"),
    [
        (0, b"RIFX", "no WAV file"),
        (8, b"AVI ", "no WAV file"),
        (20, struct.pack("<H", 6), "kind 6 with 16 bits"),
        (34, struct.pack("<H", 12), "kind 1 with 12 bits"),
        (22, struct.pack("<H", 0), "contradicts itself"),
        (22, struct.pack("<H", 3), "contradicts itself"),
        (24, struct.pack("<I", 0), "contradicts itself"),
        (16, struct.pack("<I", 6), "cut off"),
        (12, b"fnt ", "sound before its format"),
        (36, b"dota", "holds no sound"),
    ],
)
def test_a_wrong_file_is_told(place: int, instead: bytes, said: str) -> None:
    data = bytearray(by_the_standard_library(SOUND[:100], 2))
    data[place : place + len(instead)] = instead
    with pytest.raises(CraftError, match=said):
        read_wav(bytes(data))


@given(st.integers(0, 200), st.binary(min_size=1, max_size=12), st.integers(0, 400))
def test_any_spoilt_file_is_read_or_refused(place: int, instead: bytes, kept: int) -> None:
    data = bytearray(by_the_standard_library(SOUND[:150], 2))
    data[place : place + len(instead)] = instead
    told = ""
    try:
        found = read_wav(bytes(data[:kept]))
        assert found.rate > 0
        assert np.isfinite(found.samples).all()
    except CraftError as error:
        told = str(error)
    assert "\n" not in told


def test_a_file_beyond_all_measure_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gaugelink.craft.wav.MOST_BYTES", 100)
    with pytest.raises(CraftError, match="too long"):
        read_wav(by_the_standard_library(SOUND, 2))
