"""Balance: mirrored places only, antisymmetric, and honest about what cannot be told."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from decimal import Decimal
from statistics import stdev

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft.balance import Balance, Difference, balance, difference_word, partner
from gaugelink.craft.reed import Station, other_blade, parse_key
from gaugelink.craft.rules import Balancing
from gaugelink.craft.style import Stop, Style
from tests.craft.values import LONG, STAGES, Value, around, at_target, uncertainties, value

BALANCE = LONG.stops("balance")
FINISH = LONG.stops("finish")
RULE = Balancing()
SWAPPED = {"thicker": "thinner", "thinner": "thicker"}


def mirrored(taken: dict[str, Value], mirror: Callable[[Station], Station]) -> dict[str, Value]:
    return {mirror(parse_key(key)).key: each for key, each in taken.items()}


def every(found: Balance) -> list[Difference]:
    return [*found.sides, *found.blades, *found.quadrants, *found.whole]


def by_parts(found: tuple[Difference, ...]) -> dict[tuple[object, ...], Difference]:
    return {(each.one, each.other, each.zone): each for each in found}


@pytest.mark.parametrize(("style", "stage"), STAGES, ids=lambda part: getattr(part, "name", part))
@given(data=st.data())
def test_turning_left_into_right_turns_every_sign(
    style: Style, stage: str, data: st.DataObject
) -> None:
    stops = style.stops(stage)
    taken, uncertainty = data.draw(around(stops)), data.draw(uncertainties)
    one = balance(stops, taken, uncertainty, RULE)
    other = balance(stops, mirrored(taken, Station.mirrored), uncertainty, RULE)
    assert len(one.sides) == len(other.sides)
    for here, there in zip(one.sides, other.sides, strict=True):
        assert there.hundredths == pytest.approx(-here.hundredths, abs=1e-9)
        assert there.uncertainty == pytest.approx(here.uncertainty)
        assert there.pairs == here.pairs
        # A difference that lies on a limit may fall to either side of it by rounding only.
        if abs(abs(here.hundredths) - 2) > 1e-6:
            assert there.word == SWAPPED.get(here.word, here.word)


@given(around(BALANCE), uncertainties)
def test_exchanging_the_blades_turns_every_sign(taken: dict[str, Value], unsure: float) -> None:
    one = balance(BALANCE, taken, unsure, RULE)
    turned = mirrored(taken, Station.opposite)
    other = balance(BALANCE, turned, unsure, RULE)
    for here, there in zip([*one.blades, *one.whole], [*other.blades, *other.whole], strict=True):
        assert there.hundredths == pytest.approx(-here.hundredths, abs=1e-9)
        assert there.uncertainty == pytest.approx(here.uncertainty)
    quadrants = by_parts(other.quadrants)
    for here in one.quadrants:
        first, second = (
            (other_blade(part[0]), {"left": "right", "right": "left"}[part[1]])
            for part in (here.one, here.other)
        )
        if (first, second, "") in quadrants:
            size = quadrants[first, second, ""].hundredths
        else:
            size = -quadrants[second, first, ""].hundredths
        assert size == pytest.approx(here.hundredths, abs=1e-9)


@given(around(FINISH))
def test_a_zero_that_is_off_changes_no_difference(taken: dict[str, Value]) -> None:
    shifted = {key: Value(each.hundredths + 7) for key, each in taken.items()}
    one, other = (balance(FINISH, each, 0.4, RULE) for each in (taken, shifted))
    assert [each.hundredths for each in every(one)] == pytest.approx(
        [each.hundredths for each in every(other)]
    )


def test_a_middle_that_is_thicker_by_design_is_no_fault() -> None:
    # The middle of the tip is meant to be 5.5 thicker than its sides.
    found = balance(FINISH, at_target(FINISH), 0.2, RULE)
    assert {each.word for each in every(found)} == {"alike"}
    spine = LONG.stops("rested")
    thick = at_target(spine, **{f"{blade}/58/+0": 25.0 for blade in ("crossed", "uncrossed")})
    assert {each.word for each in every(balance(spine, thick, 0.2, RULE))} == {"alike"}


def test_each_quadrant_is_told_from_the_others() -> None:
    off = {
        stop.station.key: 4.0
        for stop in BALANCE
        if stop.station.blade == "crossed" and stop.station.side == "left"
    }
    found = balance(BALANCE, at_target(BALANCE, **off), 0.3, RULE)
    words = {(each.one, each.other): each.word for each in found.quadrants}
    assert len(words) == 6
    for (one, other), word in words.items():
        assert word == ("thicker" if ("crossed", "left") in (one, other) else "alike")
        assert other != ("crossed", "left")
    assert {
        each.zone: each.word for each in found.sides if each.one[0] == "crossed"
    } == dict.fromkeys(("windows", "heart", "blend", "tip-sides", "corners"), "thicker")
    windows = found.sides[0]
    assert windows.text == "windows: crossed left is thicker than crossed right by 4.0 ± 0.5"
    assert windows.pairs == 3


def test_the_left_of_one_blade_lies_over_the_right_of_the_other() -> None:
    left = Station("crossed", 53, -0.5)
    assert partner(("crossed", "left"), ("crossed", "right"))(left).key == "crossed/53/+0.5"
    assert partner(("crossed", "left"), ("uncrossed", "right"))(left).key == "uncrossed/53/+0.5"
    assert partner(("crossed", "left"), ("uncrossed", "left"))(left).key == "uncrossed/53/-0.5"
    assert partner(("crossed", "whole"), ("uncrossed", "whole"))(left).key == "uncrossed/53/+0.5"


def test_the_uncertainty_is_that_of_simulated_differences() -> None:
    draw = random.Random(5)
    means = []
    stated = 0.0
    for _ in range(800):
        taken = {
            stop.station.key: value(round(draw.gauss(float(stop.target), 0.8), 3), "0.001")
            for stop in BALANCE
        }
        found = next(each for each in balance(BALANCE, taken, 0.8, RULE).sides if each.pairs == 3)
        means.append(found.hundredths)
        stated = found.uncertainty
    assert stated == pytest.approx(0.8 * math.sqrt(2 / 3))
    assert stdev(means) == pytest.approx(stated, rel=0.1)


@pytest.mark.parametrize(
    ("difference", "uncertainty", "word"),
    [
        (0.0, 0.5, "alike"),
        (1.0, 0.4, "alike"),  # told, and small enough
        (1.0, 0.6, "can't tell"),  # may be as much as 2.2
        (3.0, 1.6, "can't tell"),
        (3.0, 1.4, "thicker"),
        (-3.0, 1.4, "thinner"),
        (2.0, 0.1, "alike"),
        (2.1, 0.1, "thicker"),
    ],
)
def test_words_of_a_difference(difference: float, uncertainty: float, word: str) -> None:
    assert difference_word(difference, uncertainty, RULE) == word


def test_without_a_mirror_nothing_is_said() -> None:
    left = {key: each for key, each in at_target(BALANCE).items() if key.startswith("crossed/53/-")}
    assert every(balance(BALANCE, left, 0.3, RULE)) == []
    assert every(balance(BALANCE, {}, 0.3, RULE)) == []


def test_places_that_are_meant_to_differ_are_not_compared() -> None:
    stops = [
        Stop(Station("crossed", 60, across), "back", Decimal(target), Decimal(1))
        for across, target in ((-0.5, 40), (0.5, 44))
    ]
    assert every(balance(stops, at_target(stops), 0.1, RULE)) == []
