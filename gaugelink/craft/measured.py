"""What the craft asks of a captured value, and how far one can be trusted."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Protocol

from gaugelink.reading import GaugelinkError

COVERAGE = 2.0
"""A difference counts as told beyond this many standard uncertainties: about 95 % of a normal
distribution lies within (JCGM 100:2008, 6.3.3)."""


class CraftError(GaugelinkError):
    """Numbers on which no advice can be given; the text says which, and what to do."""


class Measured(Protocol):
    """A thickness that was captured at a station: anything that has these two."""

    @property
    def hundredths(self) -> Decimal:
        """Hundredths of a millimetre."""
        ...

    @property
    def resolution(self) -> Decimal:
        """Hundredths of a millimetre per last digit of the indicator."""
        ...


def trusted(measured: Measured, uncertainty: float) -> float:
    """The standard uncertainty of one value, in hundredths: `uncertainty`, or more.

    It is never less than that of the indicator's last digit, the step divided by the square root
    of 12 (JCGM 100:2008, F.2.2.1): repeats that all show the same digit prove no more. Raises
    CraftError for an `uncertainty` that is negative or not finite.
    """
    if not (math.isfinite(uncertainty) and uncertainty >= 0):
        raise CraftError(f"an uncertainty of {uncertainty} hundredths is none; give 0 or more")
    return max(uncertainty, float(measured.resolution) / math.sqrt(12))


def told(difference: float, uncertainty: float) -> bool:
    """Whether a difference is more than its standard uncertainty explains."""
    return abs(difference) > COVERAGE * uncertainty
