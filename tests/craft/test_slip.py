"""The slip of the blades against the maker's limits."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft.measured import CraftError
from gaugelink.craft.rules import Slipping
from gaugelink.craft.slip import slip

RULE = Slipping()


@pytest.mark.parametrize(
    ("size", "word", "text"),
    [
        ("0", "less", "slipped by 0 mm, less than 0.1 to 0.5 mm: the edges may leak"),
        ("0.1", "right", "slipped by 0.1 mm, within 0.1 to 0.5 mm"),
        ("-0.5", "right", "slipped by 0.5 mm, within 0.1 to 0.5 mm"),
        ("0.51", "more", "slipped by 0.51 mm, more than 0.1 to 0.5 mm: the edges stand open"),
    ],
)
def test_words(size: str, word: str, text: str) -> None:
    found = slip(Decimal(size), RULE)
    assert (found.word, found.text) == (word, text)


@given(st.decimals(-5, 5, places=2))
def test_the_direction_does_not_matter(size: Decimal) -> None:
    assert slip(size, RULE) == slip(-size, RULE)


@pytest.mark.parametrize("size", ["NaN", "Infinity", "5.01"])
def test_what_is_no_slip_is_refused(size: str) -> None:
    with pytest.raises(CraftError, match="is no slip of two blades"):
        slip(Decimal(size), RULE)
