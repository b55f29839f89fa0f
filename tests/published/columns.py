"""Reads the columns of numbers that lie in `data/` beside this file, exactly as printed."""

from __future__ import annotations

import csv
from decimal import Decimal
from pathlib import Path


def columns(file: str, *names: str) -> list[list[Decimal]]:
    """The named columns of a CSV file, which is given as the TOML tables give it: `data/….csv`."""
    with (Path(__file__).parent / file).open(encoding="utf-8", newline="") as opened:
        rows = list(csv.DictReader(opened))
    return [[Decimal(row[name]) for row in rows] for name in names]
