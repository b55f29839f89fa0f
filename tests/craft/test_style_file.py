"""A style that is written reads back as the very same."""

from __future__ import annotations

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft.style import Style, find, parse
from gaugelink.craft.style_file import written

SHIPPED = ("millrace-long", "quayside-short", "quayside-cane")


@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_style_comes_through(name: str) -> None:
    style = find(name)
    assert parse(written(style, ["a comment"]), "again") == style


@given(note=st.text(), title=st.text(), comment=st.text())
def test_any_words_come_through(note: str, title: str, comment: str) -> None:
    style: Style = msgspec.structs.replace(find("quayside-short"), note=note, title=title)
    assert parse(written(style, [comment]), "again") == style
