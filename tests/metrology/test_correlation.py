"""Rank correlation: against scipy, its chance counted, its interval, and how many reeds more."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.metrology.correlation import FEWEST, ranks, reeds_needed, spearman
from gaugelink.metrology.samples import MetrologyError
from tests.metrology.batches import batches, moved, scales, shifts


@st.composite
def pairs(draw: st.DrawFn) -> tuple[list[float], list[float]]:
    """Two batches of one length."""
    one = draw(batches(FEWEST, 25))
    return one, draw(batches(len(one), len(one)))


def made(rho: float, n: int, rolls: random.Random) -> tuple[list[float], list[float]]:
    """Two series that go together as much as that, but for chance."""
    one = [rolls.gauss(0, 1) for _ in range(n)]
    rest = math.sqrt(1 - rho * rho)
    return one, [rho * each + rest * rolls.gauss(0, 1) for each in one]


@given(pairs())
def test_it_is_scipys_and_so_is_the_chance_beyond_seven_reeds(
    batch: tuple[list[float], list[float]],
) -> None:
    from scipy.stats import rankdata, spearmanr  # type: ignore[import-untyped]

    one, two = batch
    found, reference = spearman(one, two), spearmanr(one, two)
    assert found.rho == pytest.approx(float(reference.statistic), abs=1e-12)
    assert list(ranks(one)) == list(rankdata(one))
    if found.n > 7 and abs(found.rho) < 1 - 1e-9:
        assert found.p == pytest.approx(float(reference.pvalue), rel=1e-6, abs=1e-12)


def test_few_reeds_are_counted() -> None:
    """Two of the 120 orders of five are as one-sided as a perfect one."""
    one = [1.0, 2.0, 3.0, 4.0, 5.0]
    assert spearman(one, one).p == pytest.approx(2 / 120)
    assert spearman(one, one[::-1]).rho == -1
    # From the table of E. G. Olds (1938): d² = 2 of five has a tail of 5 in 120, from memory.
    assert spearman(one, [1.0, 2.0, 3.0, 5.0, 4.0]).p == pytest.approx(2 * 5 / 120)


@given(pairs(), scales, shifts)
def test_units_zeros_sides_and_common_order_do_not_matter(
    batch: tuple[list[float], list[float]], scale: float, shift: float
) -> None:
    one, two = batch
    found = spearman(one, two)
    assert spearman(moved(one, scale, shift), two) == found
    assert spearman(two, one).rho == pytest.approx(found.rho)
    assert spearman(one[::-1], two[::-1]).rho == pytest.approx(found.rho)
    assert spearman([each**3 for each in one], two).rho == found.rho, "only ranks count"
    mirrored = spearman(one, [-each for each in two])
    assert mirrored.rho == pytest.approx(-found.rho)
    assert (mirrored.lower, mirrored.upper) == pytest.approx((-found.upper, -found.lower))
    assert mirrored.p == pytest.approx(found.p)


@given(pairs())
def test_the_interval_holds_the_correlation_and_stays_within_one(
    batch: tuple[list[float], list[float]],
) -> None:
    found = spearman(*batch)
    assert -1 <= found.lower <= found.rho <= found.upper <= 1
    assert found.lower < found.upper
    assert found.more is None or found.more >= 0


@pytest.mark.parametrize("r", [0.0, 0.6, 0.9])
def test_the_interval_holds_the_truth_as_often_as_it_says(r: float) -> None:
    rolls, held, count = random.Random(6), 0, 800
    # For a normal pair of correlation r Spearman's is 6/π asin(r/2), from memory.
    truth = 6 / math.pi * math.asin(r / 2)
    for _ in range(count):
        found = spearman(*made(r, 40, rolls))
        held += found.lower <= truth <= found.upper
    assert held / count == pytest.approx(0.95, abs=0.025)


def test_as_many_reeds_as_it_says_tell_it_as_often_as_it_says() -> None:
    rolls, r, count = random.Random(11), 0.5, 400
    n = reeds_needed(6 / math.pi * math.asin(r / 2))
    assert n is not None
    told = sum(spearman(*made(r, n, rolls)).told for _ in range(count))
    assert told / count == pytest.approx(0.8, abs=0.06)


def test_how_many_more() -> None:
    rolls = random.Random(2)
    found = spearman(*made(0.4, 10, rolls))
    assert not found.told
    assert found.needed is not None
    assert found.more == found.needed - 10
    one = [float(each) for each in range(12)]
    assert spearman(one, one).more == 0
    # d² = 1 + 1 + 4 + 1 + 1 = 8 of five comes to 1 - 6 * 8 / 120.
    crossed = spearman([1.0, 2.0, 3.0, 4.0, 5.0], [2.0, 1.0, 5.0, 3.0, 4.0])
    assert crossed.rho == pytest.approx(0.6)


def test_a_weaker_one_needs_more_reeds() -> None:
    needed = [reeds_needed(each / 100) for each in range(1, 100)]
    counts = [each for each in needed if each is not None]
    assert len(counts) == 99
    assert counts == sorted(counts, reverse=True)
    assert reeds_needed(-0.3) == reeds_needed(0.3)
    assert reeds_needed(0.0) is None
    assert reeds_needed(1.0) == reeds_needed(-1.0) == FEWEST


def test_series_of_different_lengths_are_refused() -> None:
    with pytest.raises(MetrologyError, match="6 values beside 5; give one of each for every reed"):
        spearman([1, 2, 3, 4, 5, 6], [1, 2, 3, 4, 5])


@pytest.mark.parametrize("bad", [0.0, 1.0, -1.0])
def test_chances_that_are_none_are_refused(bad: float) -> None:
    with pytest.raises(MetrologyError, match="alpha is"):
        reeds_needed(0.5, alpha=bad)
    with pytest.raises(MetrologyError, match="the power is"):
        spearman([1, 2, 3, 4, 5], [1, 3, 2, 4, 5], power=bad)
