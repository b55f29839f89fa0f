"""Playing tests: grades from 1 to 5, and everything else refused with what is expected."""

from __future__ import annotations

from decimal import Decimal

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft.grades import ASPECTS, GradeError, PlayingTest, playing_test

grades = st.dictionaries(st.sampled_from(list(ASPECTS)), st.integers(1, 5))


@given(grades, st.text(max_size=20))
def test_what_was_entered_is_kept(entered: dict[str, int], note: str) -> None:
    try:
        found = playing_test(entered, note)
    except GradeError as error:
        assert "signs that cannot be shown" in str(error)  # noqa: PT017
        return
    assert found.grades == entered
    assert list(found.grades) == [aspect for aspect in ASPECTS if aspect in entered]
    as_text = playing_test({aspect: f" {grade} " for aspect, grade in entered.items()}, note)
    assert as_text == found
    assert msgspec.json.decode(msgspec.json.encode(found), type=PlayingTest) == found
    if entered:
        assert found.mean is not None
        assert 1 <= found.mean <= 5
    else:
        assert found.mean is None


def test_words() -> None:
    found = playing_test(
        {"response": 4, "pitch": "3", "tone": "", "slurs": None}, " a little bright "
    )
    assert found.text == "response 4, pitch 3 (2 of 5 tested); a little bright"
    assert found.mean == Decimal("3.5")
    assert playing_test({}).text == "not tested"
    assert playing_test({}, "cracked").text == "cracked"
    whole = playing_test(dict.fromkeys(ASPECTS, 5))
    assert whole.text == (
        "response 5, high notes held 5, slurs across the break 5, pitch 5, tone 5"
    )


@pytest.mark.parametrize("grade", [0, 6, -1, "0", "6", "four", "4.0", 4.0, True, "²", "-1", [3]])
def test_what_is_no_grade_is_told(grade: object) -> None:
    with pytest.raises(GradeError, match=r"^tone: .* is no grade; give 1 to 5, or nothing$"):
        playing_test({"tone": grade})


def test_other_faults_are_told() -> None:
    with pytest.raises(GradeError, match="'colour' is not tested; it is response, high, slurs"):
        playing_test({"colour": 3})
    with pytest.raises(GradeError, match="the note has 2001 characters; keep it to 2000"):
        playing_test({}, "x" * 2001)
    with pytest.raises(GradeError, match="signs that cannot be shown"):
        playing_test({}, "a\x1b[2Jb")
    assert playing_test({}, "two\nlines").note == "two\nlines"
