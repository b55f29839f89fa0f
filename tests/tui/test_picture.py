"""The picture for the README."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from pathlib import Path

from tui.picture import picture


async def test_the_picture_is_the_same_every_time(tmp_path: Path) -> None:
    first, second = tmp_path / "first.svg", tmp_path / "second.svg"
    await picture(first)
    await picture(second)
    svg = first.read_text(encoding="utf-8")
    assert svg == second.read_text(encoding="utf-8")
    words = " ".join("".join(ElementTree.fromstring(svg).itertext()).replace("\xa0", " ").split())
    for word in ("Halvard 12", "SETTLED", "TAKE 2", "crossed side", "mirrored", "to go"):
        assert word in words
