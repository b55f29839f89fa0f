"""Reads the tables of published values that lie beside this file."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any


def table(file: str, name: str) -> dict[str, Any]:
    """The table `name` of `file`; each says where its values come from."""
    found: dict[str, Any] = tomllib.loads((Path(__file__).parent / file).read_text("utf-8"))[name]
    assert found["source"]
    assert found["provenance"]
    return found
