"""What one quadrant asks of its mirrors: followed within the target, met only when asked for."""

from __future__ import annotations

from decimal import Decimal

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft.advice import safe_take
from gaugelink.craft.measured import trusted
from gaugelink.craft.mirroring import Proposal, follow, mirrors, settle_over
from gaugelink.craft.reed import Station
from gaugelink.craft.rules import Balancing, Risk
from tests.craft.values import LONG, Value, around, at_target, uncertainties

WINDOWS = LONG.stops("windows")
FINISH = LONG.stops("finish")
BY_KEY = {stop.station.key: stop for stop in [*WINDOWS, *FINISH]}
REMOVAL, RISK = 0.25, Risk()
STOP, MEET = Balancing(when_over="stop"), Balancing(when_over="meet")
LEFT, RIGHT = "crossed/53/-0.5", "crossed/53/+0.5"


def over(taken: dict[str, Value], rule: Balancing, unsure: float = 0.2) -> tuple[Proposal, ...]:
    return settle_over(WINDOWS, taken, unsure, REMOVAL, RISK, rule)


def test_a_place_has_three_mirrors_and_one_on_the_spine_one() -> None:
    found = mirrors(Station("crossed", 53, -0.5))
    assert [each.key for each in found] == [RIGHT, "uncrossed/53/+0.5", "uncrossed/53/-0.5"]
    assert [each.key for each in mirrors(Station("crossed", 58))] == ["uncrossed/58/+0"]


def test_what_was_done_to_one_quadrant_is_proposed_for_its_mirrors() -> None:
    before = at_target(WINDOWS, **{stop.station.key: 8.0 for stop in WINDOWS})
    now = before | {LEFT: Value(before[LEFT].hundredths - 4)}
    found = follow(WINDOWS, before, now, 0.2, REMOVAL, RISK)
    assert [(each.station.key, each.take) for each in found] == [
        (RIGHT, 4),
        ("uncrossed/53/-0.5", 4),
        ("uncrossed/53/+0.5", 4),
    ]
    assert found[0].text == "crossed, right, 53: take 4, as was done at crossed, left, 53"
    # What the mirror has lost too is not proposed again.
    even = now | {RIGHT: Value(before[RIGHT].hundredths - 3)}
    takes = {
        each.station.key: each.take for each in follow(WINDOWS, before, even, 0.2, REMOVAL, RISK)
    }
    assert takes == {RIGHT: 1, "uncrossed/53/-0.5": 4, "uncrossed/53/+0.5": 4}


def test_what_cannot_be_told_was_not_done() -> None:
    before = at_target(WINDOWS, **{stop.station.key: 8.0 for stop in WINDOWS})
    now = before | {LEFT: Value(before[LEFT].hundredths - 2)}
    assert follow(WINDOWS, before, now, 0.9, REMOVAL, RISK) == ()
    assert follow(WINDOWS, before, before, 0.1, REMOVAL, RISK) == ()


@given(around(FINISH), around(FINISH), uncertainties)
def test_following_never_thins_what_is_on_target_or_takes_more_than_is_safe(
    before: dict[str, Value], now: dict[str, Value], unsure: float
) -> None:
    for each in follow(FINISH, before, now, unsure, REMOVAL, RISK):
        stop, measured = BY_KEY[each.station.key], now[each.station.key]
        assert measured.hundredths > stop.target + stop.tolerance
        assert 0 < each.take <= measured.hundredths - stop.target
        lower, value = float(stop.target - stop.tolerance), float(measured.hundredths)
        most = safe_take(value, lower, trusted(measured, unsure), REMOVAL, RISK.under)
        assert each.take <= most + 1e-6
        lost = before[each.because.key].hundredths - now[each.because.key].hundredths
        assert each.take <= lost


def test_the_style_says_stop() -> None:
    found = over(at_target(WINDOWS, **{LEFT: -4.0}), STOP)
    assert [each.station.key for each in found] == [
        RIGHT,
        "uncrossed/53/-0.5",
        "uncrossed/53/+0.5",
    ]
    assert {(each.why, each.take) for each in found} == {("stop", 0)}
    assert found[0].text == (
        "crossed, left, 53 is over 4 and cannot be put back: "
        "stop crossed, right, 53 at its target, 40"
    )


def test_the_style_says_meet_within_limits() -> None:
    found = over(at_target(WINDOWS, **{LEFT: -4.0, RIGHT: 4.0}), MEET)
    right = next(each for each in found if each.station.key == RIGHT)
    assert (right.why, right.take) == ("meet", 4)
    assert right.text == (
        "crossed, left, 53 is over 4 and cannot be put back: take 4 at crossed, right, 53 "
        "to meet it, down to 38 at most, and they stay apart"
    )
    near = over(at_target(WINDOWS, **{LEFT: -1.5, RIGHT: 4.0}), MEET)
    assert next(each for each in near if each.station.key == RIGHT).text.endswith("down to 38.5")
    none = over(at_target(WINDOWS, **{LEFT: -4.0, RIGHT: -1.5}), MEET)
    right = next(each for each in none if each.station.key == RIGHT)
    assert right.take == 0
    assert right.text.endswith("cannot safely be brought nearer; leave it")


def test_the_thinnest_mirror_counts_and_what_is_alike_is_not_named() -> None:
    found = over(at_target(WINDOWS, **{LEFT: -3.0, "uncrossed/53/+0.5": -6.0}), STOP)
    because = {each.station.key: each.because.key for each in found}
    assert because == {
        LEFT: "uncrossed/53/+0.5",
        RIGHT: "uncrossed/53/+0.5",
        "uncrossed/53/-0.5": "uncrossed/53/+0.5",
    }
    assert over(at_target(WINDOWS, **{LEFT: -1.8}), STOP) == ()


@given(around(WINDOWS), uncertainties, st.integers(0, 5), st.sampled_from(["stop", "meet"]))
def test_meeting_keeps_to_its_limit_and_stopping_takes_nothing(
    taken: dict[str, Value], unsure: float, limit: int, choice: str
) -> None:
    rule = msgspec.structs.replace(STOP if choice == "stop" else MEET, meet_within=Decimal(limit))
    for each in over(taken, rule, unsure):
        stop, measured = BY_KEY[each.station.key], taken[each.station.key]
        assert each.why == choice
        assert measured.hundredths - each.take >= stop.target - limit or each.take == 0
        assert measured.hundredths - each.take >= taken[each.because.key].hundredths
        assert each.take == 0 or choice == "meet"


@pytest.mark.parametrize("rule", [STOP, MEET])
def test_nothing_over_nothing_to_say(rule: Balancing) -> None:
    assert over(at_target(WINDOWS, **{LEFT: 9.0}), rule) == ()
    assert over({}, rule) == ()
