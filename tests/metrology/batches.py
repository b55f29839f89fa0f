"""Batches for the tests of how they vary: invented, in hundredths of a millimetre."""

from __future__ import annotations

import random
from collections.abc import Sequence

from hypothesis import strategies as st

readings = st.integers(-400, 400).map(lambda each: each / 4)
"""Quarters: exact in binary, so that shifts and doublings are exact, too."""

shifts = st.integers(-1000, 1000).map(lambda each: each / 4)
scales = st.sampled_from([0.125, 0.5, 2.0, 64.0])


def batches(fewest: int, most: int = 40) -> st.SearchStrategy[list[float]]:
    """Lists of readings, not all the same."""
    lists = st.lists(readings, min_size=fewest, max_size=most)
    return lists.filter(lambda each: min(each) < max(each))


def moved(values: Sequence[float], scale: float, shift: float) -> list[float]:
    """The same batch in another unit, and from another zero."""
    return [each * scale + shift for each in values]


def normal_batch(n: int, seed: int, mean: float = 59.0, s: float = 1.0) -> list[float]:
    """A batch that varies by chance only, to a tenth."""
    rolls = random.Random(seed)
    return [round(rolls.gauss(mean, s), 1) for _ in range(n)]
