"""Scrape advice: never more than is safe, never on what is on target, worst first."""

from __future__ import annotations

import math
import random
from decimal import Decimal
from itertools import pairwise
from statistics import NormalDist

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import brentq  # type: ignore[import-untyped]

from gaugelink.craft.advice import Advice, advise, chance_under, safe_take
from gaugelink.craft.measured import CraftError, trusted
from gaugelink.craft.reed import Station
from gaugelink.craft.rules import Risk, Scraping
from gaugelink.craft.style import Stop, Style
from tests.craft.values import LONG, STAGES, Value, around, at_target, uncertainties, value

WINDOWS = LONG.stops("windows")
FINISH = LONG.stops("finish")
RISK, SCRAPING = Risk(), Scraping()
risks = st.floats(0.001, 0.45)


def advice(stops: list[Stop], taken: dict[str, Value], uncertainty: float = 0.3) -> Advice:
    return advise(stops, taken, uncertainty, RISK, SCRAPING)


@given(st.floats(0, 60), uncertainties, st.floats(0, 1), risks)
def test_the_safe_amount_has_just_the_chance_that_is_risked(
    room: float, uncertainty: float, removal: float, risk: float
) -> None:
    take = safe_take(20 + room, 20, uncertainty, removal, risk)
    assert 0 <= take <= room + 1e-9
    if take == 0:
        assert room <= NormalDist().inv_cdf(1 - risk) * uncertainty + 1e-9
        return
    assume(math.hypot(uncertainty, removal * take) > 1e-6)
    assert chance_under(20 + room, take, 20, uncertainty, removal) == pytest.approx(risk, abs=1e-6)


@given(st.floats(0.5, 60), st.floats(0.01, 3), st.floats(0, 1), risks)
def test_the_safe_amount_is_what_a_root_finder_finds(
    room: float, uncertainty: float, removal: float, risk: float
) -> None:
    def too_risky(take: float) -> float:
        return chance_under(room, take, 0.0, uncertainty, removal) - risk

    assume(too_risky(0.0) < -1e-9)
    assume(too_risky(room) > 0)
    found = brentq(too_risky, 0.0, room, xtol=1e-12)
    assert safe_take(room, 0.0, uncertainty, removal, risk) == pytest.approx(found, abs=1e-6)


def test_of_a_hundred_thousand_scrapes_the_risked_share_ends_too_thin() -> None:
    draw = random.Random(8)
    take = safe_take(46.0, 39.0, 0.8, 0.25, 0.05)
    ends = [draw.gauss(46.0, 0.8) - draw.gauss(take, 0.25 * take) for _ in range(100_000)]
    # The standard error of the share is 0.0007.
    assert sum(end < 39.0 for end in ends) / 100_000 == pytest.approx(0.05, abs=0.003)


@given(st.floats(0, 60), uncertainties, st.floats(0, 1), risks, st.floats(0.01, 3))
def test_more_doubt_and_less_risk_never_ask_for_more(
    room: float, uncertainty: float, removal: float, risk: float, more: float
) -> None:
    take = safe_take(room, 0, uncertainty, removal, risk)
    slack = take + 1e-9
    assert safe_take(room, 0, uncertainty + more, removal, risk) <= slack
    assert safe_take(room, 0, uncertainty, removal + more, risk) <= slack
    assert safe_take(room, 0, uncertainty, removal, risk / (1 + more)) <= slack
    assert safe_take(room + more, 0, uncertainty, removal, risk) >= take - 1e-9


def test_known_exactly_everything_down_to_the_limit_is_safe() -> None:
    assert safe_take(46, 39, 0, 0, 0.05) == 7
    assert safe_take(39, 39, 0, 0, 0.05) == 0
    assert chance_under(46, 7, 39, 0, 0) == 0
    assert chance_under(46, 7.1, 39, 0, 0) == 1


@pytest.mark.parametrize(
    ("numbers", "said"),
    [
        ((46, 39, 0.5, 0.2, 0), "no risk to work by"),
        ((46, 39, 0.5, 0.2, 0.5), "no risk to work by"),
        ((46, 39, 0.5, 0.2, math.nan), "no risk to work by"),
        ((math.nan, 39, 0.5, 0.2, 0.05), "not finite"),
        ((46, 39, math.inf, 0.2, 0.05), "not finite"),
    ],
)
def test_impossible_numbers_are_refused(numbers: tuple[float, ...], said: str) -> None:
    with pytest.raises(CraftError, match=said):
        safe_take(*numbers)


@pytest.mark.parametrize("uncertainty", [-0.1, math.nan, math.inf])
def test_an_impossible_uncertainty_is_refused(uncertainty: float) -> None:
    with pytest.raises(CraftError, match="give 0 or more"):
        advice(WINDOWS, at_target(WINDOWS), uncertainty)


def test_repeats_that_show_one_digit_prove_no_more_than_the_digit() -> None:
    assert trusted(value(40, "1"), 0.0) == pytest.approx(1 / math.sqrt(12))
    assert trusted(value(40, "1"), 0.5) == 0.5


@pytest.mark.parametrize(("style", "stage"), STAGES, ids=lambda part: getattr(part, "name", part))
@given(data=st.data())
def test_advice_keeps_to_target_and_risk(style: Style, stage: str, data: st.DataObject) -> None:
    stops = style.stops(stage)
    taken = data.draw(around(stops))
    uncertainty = data.draw(uncertainties)
    found = advise(stops, taken, uncertainty, RISK, SCRAPING)
    assert [each.station for each in found.stations] == [stop.station for stop in stops]
    for stop, each in zip(stops, found.stations, strict=True):
        measured = taken.get(stop.station.key)
        if measured is None:
            assert (each.word, each.take, each.verdict) == ("not measured", 0, None)
            continue
        assert (each.word == "take") == (each.take > 0)
        if measured.hundredths <= stop.target + stop.tolerance:
            assert each.take == 0
            assert each.word in ("leave", "over")
        assert each.take <= max(Decimal(0), measured.hundredths - stop.target)
        if each.take:
            lower = float(stop.target - stop.tolerance)
            spread = trusted(measured, uncertainty)
            most = safe_take(float(measured.hundredths), lower, spread, SCRAPING.removal, 0.05)
            assert each.take <= most + 1e-6
            assert each.chance <= RISK.under + 1e-9
    advised = {each.station.key for step in found.steps for each in step.stations if each.take}
    assert advised == {each.station.key for each in found.stations if each.take}
    assert all("\n" not in step.text for step in found.steps)


@given(around(FINISH), uncertainties)
def test_worst_comes_first_where_nothing_has_to_wait(
    taken: dict[str, Value], uncertainty: float
) -> None:
    steps = advice(FINISH, taken, uncertainty).steps
    waiting = {above for step in steps for above in step.before}
    worst = [
        max(each.excess or 0.0 for each in step.stations if each.word == "take")
        for step in steps
        if step.take and not step.before and step.zone not in waiting
    ]
    assert worst == sorted(worst, reverse=True)
    # What cannot be taken safely comes after all that can.
    takes = [bool(step.take) for step in steps]
    assert takes == sorted(takes, reverse=True)


@given(around(FINISH), uncertainties)
def test_a_steep_fall_is_blended_before_what_lies_above_it(
    taken: dict[str, Value], uncertainty: float
) -> None:
    steps = advice(FINISH, taken, uncertainty).steps
    order = [(step.zone, step.blade, step.side) for step in steps]
    for place, step in enumerate(steps):
        for above in step.before:
            assert order.index((above, step.blade, step.side)) > place


def test_blend_before_corners_though_the_corners_need_more() -> None:
    blend, tip = "crossed/66.5/-0.5", "crossed/67.8/-0.5"
    # 36 - 22 over 1.3 mm is 10.8 a millimetre: no steeper than a blend is.
    gentle = advice(FINISH, at_target(FINISH, **{blend: 5, tip: 6}))
    assert [step.zone for step in gentle.steps] == ["tip-sides", "blend"]
    # 44 - 24 over 1.3 mm is 15.4.
    steep = advice(FINISH, at_target(FINISH, **{blend: 13, tip: 6, "crossed/68.6/-0.85": 20}))
    assert [step.zone for step in steep.steps] == ["corners", "blend", "tip-sides"]
    assert steep.steps[1].before == ("tip-sides",)
    assert "before tip-sides: the blade falls 15 a millimetre there" in steep.steps[1].text
    # Nothing is thinned for a step alone.
    alone = advice(FINISH, at_target(FINISH, **{tip: 20}))
    assert [step.zone for step in alone.steps] == ["tip-sides"]


def test_a_fall_that_the_targets_have_is_meant() -> None:
    stops = [
        Stop(Station("crossed", 60, 0.5), "heart", Decimal(46), Decimal(1)),
        Stop(Station("crossed", 61, 0.5), "tip", Decimal(20), Decimal(1)),
    ]
    for off, waits in ((5, ()), (9, ("tip",))):
        taken = {stops[0].station.key: value(46 + off), stops[1].station.key: value(26)}
        steps = {step.zone: step for step in advice(stops, taken).steps}
        assert steps["heart"].before == waits


def test_zones_that_lie_across_one_another_end_too() -> None:
    stops = [
        Stop(Station("crossed", height, 0.5), zone, Decimal(target), Decimal(1))
        for height, zone, target in ((60, "a", 40), (61, "b", 40), (62, "a", 40), (63, "b", 40))
    ]
    heights = [(stop.station.key, 100 - 20 * index) for index, stop in enumerate(stops)]
    found = advice(stops, {key: value(height) for key, height in heights})
    assert [step.zone for step in found.steps] == ["a", "b"]


def test_words() -> None:
    off = {"crossed/53/-0.5": 3, "crossed/56/-0.5": 7, "crossed/59/-0.5": -3}
    taken = at_target(WINDOWS, **off)
    del taken["uncrossed/53/+0.5"]
    found = advice(WINDOWS, taken)
    (step,) = found.steps
    assert (step.zone, step.blade, step.side, step.take) == ("windows", "crossed", "left", 5)
    assert step.text == ("crossed, left, windows: take 2 at 53, 5 at 56; already over, stay off 59")
    assert found.lines == (
        step.text,
        "not measured: 1 of 12 places",
        "It is advice: your ear and judgement decide.",
    )
    assert advice(WINDOWS, at_target(WINDOWS)).lines[0] == "nothing to take"
    (zone,) = found.zones
    assert (str(zone.verdict), zone.take, zone.measured, zone.stations) == ("over 3", 5, 11, 12)


def test_too_thick_but_not_sure_enough_is_measured_again() -> None:
    found = advice(WINDOWS, at_target(WINDOWS, **{"crossed/53/-0.5": 2}), uncertainty=2.5)
    (step,) = found.steps
    assert step.take == 0
    assert "no amount is safe: measure again at 53" in step.text
    assert found.stations[0].word == "unsure"


def test_the_more_is_left_the_more_is_taken() -> None:
    takes = []
    for excess in range(40):
        found = advice(WINDOWS, at_target(WINDOWS, **{"crossed/53/-0.5": excess}))
        takes.append(found.stations[0].take)
    assert all(before <= after for before, after in pairwise(takes))
    assert takes[0] == 0
    # Halving the distance each time comes to the target without passing it.
    assert takes[20] > 10


def test_following_the_advice_reaches_the_target_and_seldom_passes_it() -> None:
    draw = random.Random(3)
    over = 0
    for _ in range(400):
        thickness, passes = 52.0, 0
        while passes < 20:
            passes += 1
            seen = Value(Decimal(str(round(draw.gauss(thickness, 0.4), 1))))
            (stop,) = WINDOWS[:1]
            (each,) = advise([stop], {stop.station.key: seen}, 0.4, RISK, SCRAPING).stations
            if each.word != "take":
                break
            thickness -= draw.gauss(each.take, 0.25 * each.take)
        assert passes < 10
        over += thickness < 39
    # Three or four scrapes, each with a chance of 1 in 20 at most.
    assert over / 400 < 0.2
