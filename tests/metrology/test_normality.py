"""Normality: which batches pass, and that neither unit nor order matters."""

from __future__ import annotations

import pytest
from hypothesis import given

from gaugelink.metrology.normality import MOST, normality
from gaugelink.metrology.samples import MetrologyError
from tests.metrology.batches import batches, moved, normal_batch, scales, shifts


def test_chance_passes_and_two_kinds_of_cane_do_not() -> None:
    one, two = normal_batch(20, seed=1), normal_batch(20, seed=2, mean=66)
    assert normality(one).plausible
    assert normality(two).plausible
    assert not normality([*one, *two]).plausible


def test_as_often_as_alpha_says_chance_fails() -> None:
    failed = sum(not normality(normal_batch(20, seed), alpha=0.2).plausible for seed in range(200))
    assert 20 <= failed <= 60


def test_more_values_than_the_test_is_known_for_are_refused() -> None:
    with pytest.raises(MetrologyError, match="5001 values are too many to test; take 5000"):
        normality([float(each) for each in range(MOST + 1)])


@given(batches(3), scales, shifts)
def test_unit_zero_order_and_side_do_not_matter(
    values: list[float], scale: float, shift: float
) -> None:
    found = normality(values)
    assert 0 <= found.p <= 1
    assert 0 < found.statistic <= 1
    turned = moved(sorted(values), -scale, shift)
    for other in (normality(sorted(values)), normality(turned)):
        assert other.statistic == pytest.approx(found.statistic)
        assert other.p == pytest.approx(found.p, rel=1e-6)
