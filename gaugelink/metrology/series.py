"""What every analysis of a batch asks of the values that it is given."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from gaugelink.metrology.samples import MetrologyError, Value

Side = Literal["both", "low", "high"]
"""On which side values are looked at."""

LARGEST = 1e9
"""The largest value that is taken, 10 km in hundredths: a larger one is a fault, not a length."""


def series(values: Sequence[Value], fewest: int, analysis: str) -> tuple[float, ...]:
    """The values as floats, in their order and unit.

    MetrologyError when there are fewer than `fewest`, or one is no finite number up to 1e9.
    """
    found = tuple(map(float, values))
    for index, each in enumerate(found):
        if not abs(each) <= LARGEST:
            raise MetrologyError(f"value {index + 1} is {each:g}; leave it out of {analysis}")
    if len(found) < fewest:
        raise MetrologyError(
            f"{analysis} needs {fewest} values or more, {len(found)} came; measure more"
        )
    return found


def varied(values: Sequence[Value], fewest: int, analysis: str) -> tuple[float, ...]:
    """Like `series`; MetrologyError, too, when all values are the same."""
    found = series(values, fewest, analysis)
    if min(found) == max(found):
        raise MetrologyError(f"all values are the same; {analysis} needs some that differ")
    return found


def proportion(value: float, name: str) -> float:
    """A probability strictly between 0 and 1, as it is; MetrologyError otherwise."""
    if not 0 < value < 1:
        raise MetrologyError(f"{name} is {value:g}; choose it between 0 and 1")
    return value
