"""The file of standards: exact lengths in hundredths, and faults with the path inside."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from gaugelink.cli.standards import StandardsError, load, parse
from gaugelink.metrology.proving import Permitted
from gaugelink.metrology.standards import Standard

SHIMS = """
title = "two shims and a block (invented)"
[[standards]]
nominal = 0.10
tolerance = 0.004
[[standards]]
nominal = 0.40005
expanded = 0.0002
k = 2.1
[limits]
error = 0.01
hysteresis = 0.005
"""


def test_lengths_are_exact_hundredths() -> None:
    standards, permitted = parse(SHIMS, "s.toml")
    assert standards == (
        Standard(Decimal("10.0"), Decimal("0.4")),
        Standard(Decimal("40.005"), Decimal("0.02"), "expanded", 2.1),
    )
    assert permitted == Permitted(error=1.0, hysteresis=0.5)


def test_another_unit_is_turned_into_hundredths() -> None:
    standards, _ = parse('unit = "um"\nstandards = [{ nominal = 250, tolerance = 3 }]', "s")
    assert standards == (Standard(Decimal(25), Decimal("0.3")),)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("standards = []", "standards: name one or more"),
        ("", "missing required field `standards`"),
        ("standards = [{ nominal = 0.1 }]", r"standards\[0\]: give its tolerance, or"),
        ("standards = [{ nominal = 0.1, tolerance = 0.01, expanded = 0.01 }]", "tolerance, or"),
        ("standards = [{ nominal = -1, tolerance = 0 }]", r"standards\[0\].nominal: must lie"),
        ("standards = [{ nominal = nan, tolerance = 0 }]", "nominal: must lie"),
        ("standards = [{ nominal = 1e9999, tolerance = 0 }]", "nominal: must lie"),
        ("standards = [{ nominal = 0.1, tolerance = 0.1 }]", "doubt must lie"),
        ("standards = [{ nominal = 0.1, tolerance = nan }]", "doubt must lie"),
        ("standards = [{ nominal = 0.1, expanded = 0.01, k = 0 }]", r"\[0\].k: must lie above 0"),
        ('unit = "ell"\nstandards = [{ nominal = 1, tolerance = 0 }]', "unit: .*ell"),
        ("standards = [{ nominal = 1, tolerance = 0, fat = 1 }]", "fat"),
        (SHIMS.replace("error = 0.01", "error = 0"), "limits.error: must be above 0"),
        (SHIMS.replace("error = 0.01", "error = inf"), "limits.error: must be above 0"),
        ("standards = [", "not valid TOML"),
    ],
)
def test_a_fault_is_one_line_with_its_path(text: str, said: str) -> None:
    with pytest.raises(StandardsError, match=said) as raised:
        parse(text, "s.toml")
    assert str(raised.value).startswith("s.toml: ")
    assert "\n" not in str(raised.value)


def test_a_file_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    with pytest.raises(StandardsError, match="cannot be read"):
        load(tmp_path / "none.toml")
    (tmp_path / "s.toml").write_bytes(b"\xff")
    with pytest.raises(StandardsError, match="cannot be read"):
        load(tmp_path / "s.toml")
    (tmp_path / "s.toml").write_text(SHIMS)
    assert len(load(tmp_path / "s.toml")[0]) == 2
