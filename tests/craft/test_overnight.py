"""The night: wet against wet, largest first, and silence about the rest."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft.overnight import Condition, overnight
from gaugelink.craft.soaking import Wetness
from tests.craft.values import LONG, around, uncertainties

RESTED = LONG.stops("rested")
TENTH = Decimal("0.1")
STATES: tuple[Wetness, ...] = ("wet", "dry", "unknown")


def day(state: Wetness = "wet", off: Mapping[str, float] = {}) -> dict[str, Condition]:
    return {
        stop.station.key: Condition(
            stop.target + Decimal(str(off.get(stop.station.key, 0))), TENTH, state
        )
        for stop in RESTED
    }


@st.composite
def conditions(draw: st.DrawFn) -> dict[str, Condition]:
    return {
        key: Condition(each.hundredths, each.resolution, draw(st.sampled_from(STATES)))
        for key, each in draw(around(RESTED)).items()
    }


@given(conditions(), conditions(), uncertainties)
def test_only_wet_is_compared_with_wet_and_every_place_is_accounted_for(
    before: dict[str, Condition], after: dict[str, Condition], unsure: float
) -> None:
    found = overnight(RESTED, before, after, unsure)
    named = [each.station.key for each in found.moved]
    named += [each.station.key for each in found.not_compared]
    assert sorted(named) == sorted(stop.station.key for stop in RESTED)
    for each in found.moved:
        key = each.station.key
        assert before[key].state == after[key].state == "wet"
        assert each.hundredths == pytest.approx(
            float(after[key].hundredths - before[key].hundredths)
        )
        assert (each.word == "can't tell") == (abs(each.hundredths) <= 2 * each.uncertainty)
        assert each.uncertainty >= unsure * 2**0.5 - 1e-12
    for silent in found.not_compared:
        assert silent.why
    order = [(each.word == "can't tell", -abs(each.hundredths)) for each in found.moved]
    assert order == sorted(order)


@given(conditions(), conditions(), uncertainties)
def test_the_days_exchanged_turn_every_sign(
    before: dict[str, Condition], after: dict[str, Condition], unsure: float
) -> None:
    there = {each.station.key: each for each in overnight(RESTED, before, after, unsure).moved}
    back = {each.station.key: each for each in overnight(RESTED, after, before, unsure).moved}
    assert set(there) == set(back)
    for key, each in there.items():
        assert back[key].hundredths == pytest.approx(-each.hundredths)


def test_words() -> None:
    after = day(off={"crossed/53/-0.5": 3, "uncrossed/58/+0": -5, "crossed/62/+0.4": 1})
    found = overnight(RESTED, day(), after, 0.6)
    assert [each.text for each in found.moved[:3]] == [
        "uncrossed, middle, 58: thinner by 5.0 ± 1.7",
        "crossed, left, 53: thicker by 3.0 ± 1.7",
        "crossed, right, 62: can't tell, it moved 1.0 ± 1.7",
    ]


@pytest.mark.parametrize(
    ("first", "second", "why"),
    [
        ("wet", "dry", "wet then, dry now; only wet is compared with wet"),
        ("dry", "wet", "dry then, wet now; only wet is compared with wet"),
        ("dry", "dry", "dry on both days; soak it and measure it wet"),
        ("unknown", "wet", "not known whether it was wet then; soak it, and say so"),
        ("wet", "unknown", "not known whether it was wet now; soak it, and say so"),
        ("unknown", "unknown", "not known whether it was wet then and now; soak it, and say so"),
    ],
)
def test_why_a_place_is_not_compared(first: Wetness, second: Wetness, why: str) -> None:
    found = overnight(RESTED, day(first), day(second), 0.5)
    assert found.moved == ()
    assert {each.why for each in found.not_compared} == {why}


def test_a_place_that_was_not_measured_is_named() -> None:
    missing = overnight(RESTED, {}, day(), 0.5)
    assert {each.why for each in missing.not_compared} == {"not measured on the first day"}
    today = overnight(RESTED, day(), {}, 0.5)
    assert {each.why for each in today.not_compared} == {"not measured on this day"}
