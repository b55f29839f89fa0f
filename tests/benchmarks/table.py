"""What a benchmark gives: rows of a table, each a ratio against a bare baseline of the same run."""

from __future__ import annotations

import statistics
from collections.abc import Callable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """One claim, measured."""

    claim: str
    bare: str
    """The bare baseline, as measured."""
    ours: str
    ratio: float | None
    """Ours over bare, or None where the claim is no ratio."""
    aim: str
    met: bool


def show(rows: Sequence[Row]) -> str:
    """The table as text."""
    head = ("claim", "bare", "ours", "ratio", "aim", "met")
    body = [
        (
            row.claim,
            row.bare,
            row.ours,
            "" if row.ratio is None else f"{row.ratio:.2f}",
            row.aim,
            "yes" if row.met else "NO",
        )
        for row in rows
    ]
    widths = [max(len(line[column]) for line in [head, *body]) for column in range(len(head))]
    lines = [
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in [head, *body]
    ]
    return "\n".join(lines)


def interleaved(
    bare: Callable[[], float], ours: Callable[[], float], rounds: int
) -> tuple[float, float]:
    """Medians of what the two return, measured in turn so that a busy moment meets both."""
    pairs = [(bare(), ours()) for _ in range(rounds)]
    return (
        statistics.median(pair[0] for pair in pairs),
        statistics.median(pair[1] for pair in pairs),
    )


def percentile(values: Sequence[float], share: float) -> float:
    """The value that `share` (0 to 1) of the values do not exceed."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]
