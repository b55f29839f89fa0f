"""Verdicts: cane cannot be put back, so every rounding is to the careful side."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft.verdict import LEAVE, Verdict, verdict, zone_verdict

TENTH = Decimal("0.1")
thicknesses = st.decimals(-50, 500, places=3)
targets = st.decimals(1, 500, places=1)
tolerances = st.decimals(0, 50, places=1)
resolutions = st.sampled_from(
    [Decimal(each) for each in ("0.01", "0.1", "1", "1.27", "2.54", "10")]
)


@pytest.mark.parametrize(
    ("thickness", "target", "tolerance", "word"),
    [
        ("43", "40", "1", "take 3"),
        ("40", "40", "1", "leave"),
        ("41", "40", "1", "leave"),
        ("39", "40", "1", "leave"),
        ("41.1", "40", "1", "take 1"),
        ("38.9", "40", "1", "over 2"),
        ("38", "40", "1", "over 2"),
        ("42.9", "40", "1", "take 2"),
        ("37.1", "40", "1", "over 3"),
        ("24", "23.5", "0.5", "leave"),
        ("24.1", "23.5", "0.5", "leave"),
        ("24.5", "23.5", "0.5", "take 1"),
        ("22.9", "23.5", "0.5", "over 1"),
        ("40.1", "40", "0", "leave"),
        ("39.9", "40", "0", "over 1"),
        ("41", "40", "0", "take 1"),
    ],
)
def test_words(thickness: str, target: str, tolerance: str, word: str) -> None:
    found = verdict(Decimal(thickness), Decimal(target), Decimal(tolerance), TENTH)
    assert str(found) == word


@given(thicknesses, targets, tolerances, resolutions)
def test_what_is_taken_never_ends_below_the_target(
    thickness: Decimal, target: Decimal, tolerance: Decimal, resolution: Decimal
) -> None:
    found = verdict(thickness, target, tolerance, resolution)
    excess = Fraction(thickness) - Fraction(target)
    if found.word == "take":
        assert 1 <= found.amount <= excess < found.amount + 1
    elif found.word == "over":
        assert found.amount - 1 < -excess <= found.amount
    else:
        assert found == LEAVE
        assert abs(excess) <= max(Fraction(tolerance), Fraction(resolution) / 2) or 0 < excess < 1


@given(targets, tolerances, resolutions)
def test_both_limits_of_the_tolerance_are_on_target(
    target: Decimal, tolerance: Decimal, resolution: Decimal
) -> None:
    allowed = max(tolerance, resolution / 2)
    assert verdict(target + allowed, target, tolerance, resolution) == LEAVE
    assert verdict(target - allowed, target, tolerance, resolution) == LEAVE
    beyond = Decimal("0.0001")
    assert verdict(target - allowed - beyond, target, tolerance, resolution).word == "over"
    above = verdict(target + max(allowed, Decimal(1)) + beyond, target, tolerance, resolution)
    assert above.word == "take"


@given(thicknesses, thicknesses, targets, tolerances, resolutions)
def test_more_cane_is_never_less_to_take(
    one: Decimal, two: Decimal, target: Decimal, tolerance: Decimal, resolution: Decimal
) -> None:
    def height(thickness: Decimal) -> int:
        found = verdict(thickness, target, tolerance, resolution)
        return {"take": 1, "leave": 0, "over": -1}[found.word] * found.amount

    thin, thick = sorted((one, two))
    assert height(thin) <= height(thick)


@pytest.mark.parametrize(
    ("step", "inches", "word"),
    [
        # A target of 18 with a tolerance of 0.5, read in steps of 0.001 in, which is 2.54.
        ("2.54", "0.007", "leave"),
        ("2.54", "0.008", "take 2"),
        ("2.54", "0.006", "over 3"),
        ("1.27", "0.0075", "take 1"),
        ("1.27", "0.0070", "leave"),
        ("1.27", "0.0065", "over 2"),
    ],
)
def test_a_coarse_indicator_in_inches(step: str, inches: str, word: str) -> None:
    thickness = Decimal(inches) * 2540
    found = verdict(thickness, Decimal(18), Decimal("0.5"), Decimal(step))
    assert str(found) == word


TAKE_3, TAKE_1, OVER_2, OVER_5 = (
    Verdict("take", 3), Verdict("take", 1), Verdict("over", 2), Verdict("over", 5)
)  # fmt: skip


@pytest.mark.parametrize(
    ("stations", "zone"),
    [
        ([], None),
        ([None], None),
        ([LEAVE, None], None),
        ([LEAVE], LEAVE),
        ([LEAVE, LEAVE], LEAVE),
        ([LEAVE, TAKE_1, None], TAKE_1),
        ([TAKE_1, TAKE_3, LEAVE], TAKE_3),
        ([TAKE_3, OVER_2, None], OVER_2),
        ([OVER_2, OVER_5, TAKE_3], OVER_5),
    ],
)
def test_a_zone_is_only_as_good_as_its_worst_station(
    stations: list[Verdict | None], zone: Verdict | None
) -> None:
    assert zone_verdict(stations) == zone
    assert zone_verdict(reversed(stations)) == zone
    assert zone_verdict(iter(stations)) == zone


verdicts = st.one_of(
    st.none(),
    st.just(LEAVE),
    st.builds(Verdict, st.sampled_from(["take", "over"]), st.integers(1, 40)),
)


@given(st.lists(verdicts))
def test_a_zone_is_left_only_when_every_station_is(stations: list[Verdict | None]) -> None:
    found = zone_verdict(stations)
    assert (found == LEAVE) == (bool(stations) and all(each == LEAVE for each in stations))
    assert found is None or found in stations
