"""Pitch against published tables of equal temperament and cents."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from gaugelink.craft.pitch import (
    TUNING,
    cents_between,
    cents_from,
    hertz,
    nearest,
    parse,
    parse_note,
)
from tests.published.tables import table

TEMPERED = table("pitch.toml", "equal_temperament")
CENTS = table("pitch.toml", "cents")
MISPRINT = table("pitch.toml", "misprint")
NOTES = list(zip(TEMPERED["notes"], TEMPERED["midi"], TEMPERED["hz"], strict=True))


def test_a_is_tuned_by_the_standard() -> None:
    assert table("pitch.toml", "tuning")["A4_hz"] == TUNING == hertz("A4")


@pytest.mark.parametrize(("note", "number", "published"), NOTES)
def test_notes_and_their_frequencies(note: str, number: int, published: float) -> None:
    assert parse_note(note) == number
    assert hertz(note) == pytest.approx(published, abs=6e-11, rel=6e-12)
    if published > 20:
        assert nearest(published).note == note
        assert nearest(published).cents == 0


@pytest.mark.parametrize("case", CENTS["cases"])
def test_cents_of_an_interval(case: dict[str, Any]) -> None:
    digits = len(str(case["cents"]).partition(".")[2])
    found = cents_between(case["f1"], case["f2"])
    # Half a unit of the last printed digit, and no more.
    assert found == pytest.approx(case["cents"], abs=0.51 * 10**-digits)
    assert cents_between(case["f2"], case["f1"]) == pytest.approx(-found)


def test_a_cent_and_a_semitone() -> None:
    assert hertz("A4", 1) / 440 == pytest.approx(CENTS["one_cent_ratio"], rel=1e-15)
    assert hertz("A#4") / 440 == pytest.approx(CENTS["semitone_ratio"], rel=1e-15)
    assert cents_between(440, 442) == pytest.approx(CENTS["a442_vs_a440_recomputed"], abs=5e-5)
    assert nearest(440, tuning=442).cents == Decimal("-7.9")


def test_a_table_made_by_doubling_rounded_values_is_a_tenth_of_a_cent_off() -> None:
    wrong = cents_between(hertz("C5"), MISPRINT["C5_printed"])
    assert wrong == pytest.approx(MISPRINT["error_cents"], abs=0.005)
    assert parse(f"{MISPRINT['C5_correct']} Hz").cents == 0
    assert cents_from(parse(f"{MISPRINT['C5_printed']}"), "C5") == Decimal("0.1")
