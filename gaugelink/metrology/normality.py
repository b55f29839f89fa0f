"""Whether values scatter as a normal distribution does, which most of this room takes for granted.

By the test of Shapiro and Wilk, as scipy computes it: of the common tests it misses least in the
small batches of a reed maker. Source: S. S. Shapiro and M. B. Wilk, Biometrika 52 (1965) 591-611.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from gaugelink.metrology.samples import MetrologyError, Value
from gaugelink.metrology.series import proportion, varied

MOST = 5000
"""Values for which the probability is known."""


class Normality(msgspec.Struct, frozen=True):
    """What the test of Shapiro and Wilk says."""

    n: int
    statistic: float
    """W, at most 1: how straight the values lie against those of a normal distribution."""
    p: float
    """Probability of a W as small when the values are normal."""
    alpha: float

    @property
    def plausible(self) -> bool:
        """Whether the values may well be normal; few values seldom show that they are not."""
        return self.p >= self.alpha


def normality(values: Sequence[Value], alpha: float = 0.05) -> Normality:
    """The test of Shapiro and Wilk at the level `alpha`; the values' unit and order do not matter.

    Values read in coarse steps look less normal than they are: half a dozen different ones should
    occur. MetrologyError for fewer than 3 values, more than 5000, or all the same.
    """
    found = varied(values, 3, "a test of normality")
    proportion(alpha, "alpha")
    if len(found) > MOST:
        raise MetrologyError(f"{len(found)} values are too many to test; take {MOST} at most")
    from scipy.stats import shapiro  # type: ignore[import-untyped]

    # Scaled, so that neither a far zero nor a tiny unit costs it digits.
    lowest, width = min(found), max(found) - min(found)
    statistic, p = shapiro([(each - lowest) / width for each in found])
    return Normality(len(found), float(statistic), float(p), alpha)
