"""Numbers five rows high."""

from __future__ import annotations

from decimal import Decimal
from itertools import combinations

import pytest

from tui.numerals import ROWS, rows
from tui.words import LONGEST_FIGURES, figures

SIGNS = "0123456789-."


@pytest.mark.parametrize("sign", SIGNS)
def test_every_sign_is_five_rows_of_one_width(sign: str) -> None:
    shape = rows(sign)
    assert len(shape) == ROWS
    assert len({len(row) for row in shape}) == 1
    assert set("".join(shape)) <= {"█", " "}


def test_no_digit_is_taken_for_another_even_with_a_few_cells_unseen() -> None:
    for one, other in combinations("0123456789", 2):
        pairs = zip("".join(rows(one)), "".join(rows(other)), strict=True)
        assert sum(a != b for a, b in pairs) >= 2, (one, other)


def test_signs_stand_a_cell_apart() -> None:
    assert rows("-1.5")[0] == "    " + " " + "  ██  " + " " + "  " + " " + "██████"
    assert rows("-1.5")[2] == "████" + " " + "  ██  " + " " + "  " + " " + "██████"


@pytest.mark.parametrize(
    ("hundredths", "shown"),
    [
        (None, "--"),
        ("43", "43"),
        ("43.5", "43.5"),
        ("43.04", "43"),
        ("99.96", "100"),
        ("0", "0"),
        ("-0.04", "0"),
        ("-9.5", "-9.5"),
        ("-12.5", "-12"),
        ("105.5", "106"),
        ("1240.5", "1240"),
        ("-1270", "-1270"),
        ("-12700", "--"),
    ],
)
def test_what_the_readout_shows_always_fits(hundredths: str | None, shown: str) -> None:
    found = figures(None if hundredths is None else Decimal(hundredths))
    assert found == shown
    assert len(found) <= LONGEST_FIGURES
