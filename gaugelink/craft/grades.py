"""Playing tests: how a reed played, as values. Grades compare reeds of one maker, no more."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

import msgspec

from gaugelink.reading import GaugelinkError

ASPECTS = {
    "response": "response",
    "high": "high notes held",
    "slurs": "slurs across the break",
    "pitch": "pitch",
    "tone": "tone",
}
"""What is tested, and how it is said."""

WORST, BEST = 1, 5
LONGEST_NOTE = 2000
"""Characters."""


class GradeError(GaugelinkError):
    """A grade or a note that cannot be kept."""


class PlayingTest(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """How a reed played; each aspect from 1 (poor) to 5 (as good as it gets), None not tested."""

    response: int | None = None
    high: int | None = None
    slurs: int | None = None
    pitch: int | None = None
    tone: int | None = None
    note: str = ""

    @property
    def grades(self) -> dict[str, int]:
        """What was tested, in the order of `ASPECTS`."""
        return {aspect: grade for aspect in ASPECTS if (grade := getattr(self, aspect)) is not None}

    @property
    def mean(self) -> Decimal | None:
        """The mean of what was tested, to a tenth; None when nothing was."""
        grades = list(self.grades.values())
        return round(Decimal(sum(grades)) / len(grades), 1) if grades else None

    @property
    def text(self) -> str:
        """In words, such as `response 4, pitch 3 (2 of 5 tested)`."""
        grades = self.grades
        if not grades:
            return self.note or "not tested"
        said = ", ".join(f"{ASPECTS[aspect]} {grade}" for aspect, grade in grades.items())
        open_ones = (
            "" if len(grades) == len(ASPECTS) else f" ({len(grades)} of {len(ASPECTS)} tested)"
        )
        return f"{said}{open_ones}{'; ' if self.note else ''}{self.note}"


def playing_test(grades: Mapping[str, object], note: str = "") -> PlayingTest:
    """A playing test from what was entered: aspect to grade, an empty text or None not tested.

    Whole numbers may come as text. Raises GradeError, with what is wrong and what is expected.
    """
    found: dict[str, int | None] = {}
    for aspect, grade in grades.items():
        if aspect not in ASPECTS:
            raise GradeError(f"{aspect!r} is not tested; it is {', '.join(ASPECTS)}")
        found[aspect] = _grade(aspect, grade)
    note = note.strip()
    if len(note) > LONGEST_NOTE:
        raise GradeError(f"the note has {len(note)} characters; keep it to {LONGEST_NOTE}")
    if any(ord(sign) < 32 and sign not in "\n\t" for sign in note):
        raise GradeError("the note has signs that cannot be shown; write plain text")
    return PlayingTest(**found, note=note)


def _grade(aspect: str, grade: object) -> int | None:
    if grade is None or (isinstance(grade, str) and not grade.strip()):
        return None
    text = grade.strip() if isinstance(grade, str) else grade
    whole = int(text) if isinstance(text, str) and text.isascii() and text.isdecimal() else text
    if not isinstance(whole, int) or isinstance(whole, bool) or not WORST <= whole <= BEST:
        raise GradeError(f"{aspect}: {grade!r} is no grade; give {WORST} to {BEST}, or nothing")
    return whole
