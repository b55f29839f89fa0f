"""The shims and gauge blocks that a gauge is proved with, and the order in which they are measured.

Each is measured from both sides: going up, the spindle comes from a thinner one, going down from a
thicker one. Lengths are hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Literal

import msgspec

from gaugelink.metrology.samples import MetrologyError

Direction = Literal["up", "down"]


class Standard(msgspec.Struct, frozen=True):
    """A shim or a gauge block."""

    nominal: Decimal
    """What it is marked with, or the value on its certificate."""
    doubt: Decimal
    """How far from it the true thickness may be: a tolerance or an expanded uncertainty."""
    doubt_is: Literal["tolerance", "expanded"] = "tolerance"
    k: float = 2.0
    """The coverage factor of an expanded uncertainty."""


class Touch(msgspec.Struct, frozen=True):
    """One reading of a standard."""

    standard: int
    """Its place among the standards, from 0."""
    direction: Direction
    repeat: int
    """Counts from 1."""


class Zero(msgspec.Struct, frozen=True):
    """A reading of the bare tongue or anvil, to see whether the zero has moved."""

    number: int
    """Counts from 1."""


def sequence(standards: Sequence[Standard], repeats: int) -> Iterator[Touch | Zero]:
    """What to measure next: the zero, up through all standards and down again, `repeats` times.

    The zero once more at the end. Raises MetrologyError for no standard, or fewer than two repeats.
    """
    if not standards or repeats < 2:
        raise MetrologyError("a proof needs one standard or more, measured twice or more")
    return _sequence(standards, repeats)


def _sequence(standards: Sequence[Standard], repeats: int) -> Iterator[Touch | Zero]:
    rising = sorted(range(len(standards)), key=lambda index: standards[index].nominal)
    for repeat in range(1, repeats + 1):
        yield Zero(repeat)
        yield from (Touch(index, "up", repeat) for index in rising)
        yield from (Touch(index, "down", repeat) for index in reversed(rising))
    yield Zero(repeats + 1)
