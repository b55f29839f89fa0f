"""A chart drawn with letters: it reads the same on every terminal, in any colour and in none."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gaugelink.metrology.charts import Chart

WIDTH = 80
AXIS = 9
"""Columns for the numbers on the left, and the space behind them."""

TALL, LOW = 15, 6
"""Rows of the chart of the values, and of that of the steps between them."""

VALUE, STANDS_OUT = "o", "X"
MIDDLE, LIMIT, TOLERANCE = ".", "-", "="


def draw(
    chart: Chart, names: Sequence[str], tolerance: Sequence[float] = (), rows: int = TALL
) -> list[str]:
    """The lines of a chart, none longer than 80 columns; long batches in several panels.

    `names` are those of the whole batch. What broke a rule is an X, all else an o; the limits of
    the chart are dashes and its middle dots; `tolerance`, what the maker permits, is drawn double.
    """
    size = WIDTH - AXIS
    step = min(max(1, size // max(len(names), 1)), 6)
    lines: list[str] = []
    for start in range(0, len(names), size // step):
        if lines:
            lines.append("")
        end = min(start + size // step, len(names))
        lines += _panel(chart, range(start, end), step, tolerance, rows)
        lines.append(f"{'':>{AXIS}}{names[start]} to {names[end - 1]}"[:WIDTH])
    return lines


def _panel(
    chart: Chart, shown: range, step: int, tolerance: Sequence[float], rows: int
) -> list[str]:
    """The reeds whose places in the batch are `shown`, `step` columns for each."""
    flagged = {flag.index for flag in chart.flags}
    drawn = [*chart.values, chart.lower, chart.upper, *tolerance]
    low, high = min(drawn), max(drawn)
    scale = (rows - 1) / (high - low) if high > low else 0.0

    def row(value: float) -> int:
        return round((high - value) * scale)

    width = len(shown) * step
    grid = [[" "] * width for _ in range(rows)]
    for level, mark in (
        *((each, TOLERANCE) for each in tolerance),
        (chart.centre, MIDDLE),
        (chart.lower, LIMIT),
        (chart.upper, LIMIT),
    ):
        # Every second column, so that a value on it is still seen.
        grid[row(level)] = [
            mark if column % 2 else here for column, here in enumerate(grid[row(level)])
        ]
    for index, value in enumerate(chart.values, chart.first):
        if index in shown:
            mark = STANDS_OUT if index in flagged else VALUE
            grid[row(value)][(index - shown.start) * step] = mark
    labels = {row(level): level for level in (low, high, chart.lower, chart.upper, chart.centre)}
    return [
        f"{_label(labels.get(number)):>{AXIS - 2}} |{''.join(cells)}".rstrip()
        for number, cells in enumerate(grid)
    ]


def _label(value: float | None) -> str:
    return "" if value is None else f"{value:.1f}"


LEGEND = "o a reed, X one that breaks a rule, . the middle, - what chance alone keeps to"
LEGEND_TOLERANCE = "= your tolerance"
