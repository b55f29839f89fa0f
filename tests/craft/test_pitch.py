"""Pitches as they are written down, and what is none."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft.pitch import (
    HIGHEST,
    LOWEST,
    Pitch,
    PitchError,
    cents_between,
    cents_from,
    hertz,
    nearest,
    parse,
    parse_note,
)


@pytest.mark.parametrize(
    ("text", "note", "cents"),
    [
        ("C5", "C5", "0"),
        ("c5 -15", "C5", "-15"),
        ("C5-15", "C5", "-15"),
        ("C5 − 15 cents", "C5", "-15"),
        ("Bb4 +3,5", "Bb4", "3.5"),
        ("F♯5 +2c", "F♯5", "2"),
        ("518.7 Hz", "C5", "-15.1"),
        ("440", "A4", "0"),
        ("  466,16hz ", "A#4", "0.0"),
    ],
)
def test_what_a_maker_writes_down(text: str, note: str, cents: str) -> None:
    assert parse(text) == Pitch(note, Decimal(cents))


@pytest.mark.parametrize(
    "text", ["", "H5", "C", "C10", "C5 -", "C5 15", "C5 -15 -3", "-440", "4e2", "C5\n-", "∞", "٤٤٠"]
)
def test_what_is_no_pitch_is_told(text: str) -> None:
    with pytest.raises(PitchError, match=r"is no pitch; write C5, C5 -15, or 518\.7 Hz"):
        parse(text)


def test_hertz_out_of_reach_are_told() -> None:
    for text in ("0", "19.9", "10001", "99999"):
        with pytest.raises(PitchError, match="is no note; it lies from 20 to 10000 Hz"):
            parse(text)
    for wrong in (0.0, -1.0, math.nan, math.inf):
        with pytest.raises(PitchError, match="is no frequency"):
            cents_between(440.0, wrong)
    with pytest.raises(PitchError, match="out of reach"):
        hertz("A4", tuning=math.nan)


@given(st.text(max_size=12))
def test_any_text_is_a_pitch_or_refused(text: str) -> None:
    try:
        found = parse(text)
    except PitchError:
        return
    assert parse_note(found.note) >= 12
    assert found.cents.is_finite()


@given(st.floats(LOWEST, HIGHEST), st.floats(380, 480))
def test_the_nearest_note_names_its_frequency(frequency: float, tuning: float) -> None:
    found = nearest(frequency, tuning)
    assert abs(found.cents) <= 50
    back = hertz(found.note, float(found.cents), tuning)
    assert cents_between(frequency, back) == pytest.approx(0, abs=0.051)
    assert parse(str(found)) == found


def test_cents_from_a_goal_are_exact() -> None:
    assert cents_from(Pitch("B4", Decimal("99.9")), "C5") == Decimal("-0.1")
    assert cents_from(Pitch("C6", Decimal(-15)), "C5") == 1185
    assert str(Pitch("C5", Decimal(0))) == "C5"
    assert str(Pitch("C5", Decimal("-15.5"))) == "C5 -15.5"
    assert parse_note("Db5") == parse_note("C#5") == parse_note("C5") + 1
    assert parse_note("Cb4") == parse_note("B3")
