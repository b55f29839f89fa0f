"""The order in which shims and gauge blocks are measured."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.metrology.samples import MetrologyError
from gaugelink.metrology.standards import Standard, Touch, Zero, sequence


def shims(*nominals: int) -> list[Standard]:
    return [Standard(Decimal(each), Decimal("0.2")) for each in nominals]


def test_the_zero_then_up_and_down_again_and_the_zero_at_the_end() -> None:
    plan = list(sequence(shims(40, 10, 60), 2))
    up_and_down = [(1, "up"), (0, "up"), (2, "up"), (2, "down"), (0, "down"), (1, "down")]
    expected: list[Touch | Zero] = []
    for repeat in (1, 2):
        expected.append(Zero(repeat))
        expected += [
            Touch(index, "up" if way == "up" else "down", repeat) for index, way in up_and_down
        ]
    assert plan == [*expected, Zero(3)]


@given(st.lists(st.integers(1, 200), min_size=1, max_size=8), st.integers(2, 5))
def test_every_standard_from_both_sides_as_often(nominals: list[int], repeats: int) -> None:
    plan = [each for each in sequence(shims(*nominals), repeats) if isinstance(each, Touch)]
    assert Counter((each.standard, each.direction) for each in plan) == {
        (index, way): repeats for index in range(len(nominals)) for way in ("up", "down")
    }
    assert len(set(plan)) == len(plan)
    ups = [nominals[each.standard] for each in plan if (each.direction, each.repeat) == ("up", 1)]
    assert ups == sorted(nominals)


@pytest.mark.parametrize(("standards", "repeats"), [([], 3), (shims(40), 1), (shims(40), 0)])
def test_a_plan_that_proves_nothing_is_refused_at_once(
    standards: Sequence[Standard], repeats: int
) -> None:
    with pytest.raises(MetrologyError, match="measured twice or more"):
        sequence(standards, repeats)
