"""The score of a lesson: what counts, what was lost, and by which stroke."""

from __future__ import annotations

from decimal import Decimal

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft.clipping import Crowed, goal_of_day
from gaugelink.craft.lessons import lessons
from gaugelink.craft.rules import Balancing
from gaugelink.craft.scoring import Captured, Clipped, Event, History, Score, Scraped, score
from tests.craft.values import LONG

LEVEL, CLIP = lessons()["level-windows"], lessons()["clip-to-pitch"]
STOPS = tuple(LONG.stops("windows"))
KEYS = [stop.station.key for stop in STOPS]
GOAL = goal_of_day(LONG.clipping, 2)
A = "crossed/56/-0.5"


def scored(*events: Event) -> Score:
    return score(LEVEL, History(STOPS, GOAL, events))


def clipped(*events: Event) -> Score:
    return score(CLIP, History((), GOAL, events))


def measured(hundredths: float = 40, **other: float) -> list[Event]:
    """A pass: every place at `hundredths`, but for those that `other` names by their key."""
    return [Captured(key, Decimal(str(other.get(key, hundredths)))) for key in KEYS]


def points(found: Score) -> dict[str, float]:
    return {part.name: part.points for part in found.parts}


def crow(length: float, cents: float) -> Crowed:
    return Crowed(Decimal(str(length)), Decimal(str(cents)))


def test_a_lesson_that_went_as_well_as_it_can() -> None:
    strokes = [
        Scraped(f"{blade}/56/{across}0.5", "windows", 6)
        for blade in ("crossed", "uncrossed")
        for across in "-+"
    ]
    found = scored(*measured(44), *strokes, *measured(40.4))
    assert found.points == 100
    assert found.lost == ()
    assert found.good == (
        "12 of 12 places are on target",
        "12 of 12 mirrored pairs are alike",
        "no cane was lost",
        "4 of 4 goes of strokes began from fresh values",
    )
    assert found.lines[0] == "100 of 100 points"


def test_nothing_done_is_worth_nothing() -> None:
    assert scored().points == 0
    assert clipped().points == 0
    # Measured only: nothing was lost, and the places are alike, but none is on target.
    assert points(scored(*measured(44))) == {"target": 0, "balance": 20, "cane": 30, "care": 0}


def test_the_stroke_by_which_cane_was_lost() -> None:
    pass_after = measured(40, **{A: 38.2})
    found = scored(*measured(44), Scraped(A, "", 8), *pass_after)
    # From 44 to 38.2 in 8 strokes, 0.725 each: the limit of 39 was passed by the seventh.
    (lost,) = found.lost
    assert (lost.where, lost.stroke) == (A, 7)
    assert lost.amount == pytest.approx(0.8)
    assert lost.text == (
        "crossed, left, 56: 0.8 under its limit of 39, lost at about stroke 7 of 8 after it had "
        "measured 44"
    )
    assert points(found)["cane"] == pytest.approx(30 * 11 / 12)
    assert lost.text in found.lines


def test_what_was_lost_stays_lost_by_the_stroke_that_lost_it() -> None:
    events = [*measured(44), Scraped(A, "", 8), *measured(40, **{A: 38}), Scraped(A, "", 2)]
    found = scored(*events, *measured(40, **{A: 37}))
    (lost,) = found.lost
    assert (lost.stroke, lost.amount) == (7, 2)
    assert "2 under its limit of 39, lost at about stroke 7 of 8" in lost.text


def test_lost_before_it_was_measured() -> None:
    (blind,) = scored(Scraped(A, "", 9), Captured(A, Decimal(37))).lost
    assert blind.stroke is None
    assert blind.text.endswith("lost before its first value")
    (thin,) = scored(Captured(A, Decimal(37))).lost
    assert thin.text.endswith("from the start")


def test_what_was_scraped_after_its_last_value_is_not_measured() -> None:
    found = scored(*measured(40), Scraped(A, "windows", 1))
    assert points(found)["target"] == pytest.approx(40 * 9 / 12)
    assert "3 not measured at the end" in found.parts[0].text


def test_care_is_measuring_before_a_go_of_strokes() -> None:
    # Two scrapes without a value in between are one go; then one that began without values.
    go: list[Event] = [Scraped(A, "windows", 3), Scraped(A, "windows", 2)]
    once = scored(*measured(44), *go, *measured(42))
    assert points(once)["care"] == 10
    blind: list[Event] = [Captured(A, Decimal(42)), Scraped(A, "windows", 3)]
    # Only one of the three places had a value since the first go.
    twice = scored(*measured(44), *go, *blind, *measured(40))
    assert points(twice)["care"] == 5
    # The place alone had its value.
    alone = scored(*measured(44), *go, Captured(A, Decimal(42)), Scraped(A, "", 3))
    assert points(alone)["care"] == 10


def test_balance_counts_mirrored_pairs() -> None:
    found = scored(*measured(40, **{A: 42.5}))
    # It stands against its mirror on the blade, and against what lies over it.
    assert points(found)["balance"] == pytest.approx(20 * 10 / 12)
    assert "are 2.5 apart" in found.parts[1].text
    wide = History(STOPS, GOAL, tuple(measured(40, **{A: 42.5})), Balancing(within=Decimal(3)))
    assert points(score(LEVEL, wide))["balance"] == 20


def test_clipping_with_care_to_the_goal() -> None:
    found = clipped(
        crow(72, -40), Clipped(Decimal("0.5")), crow(71.5, -20), Clipped(Decimal("0.25")),
        crow(71.25, -4),
    )  # fmt: skip
    assert found.points == 100
    assert found.good[0] == "it crows -4 cents, the goal is +0 within 5"


def test_the_clip_that_went_past_the_goal() -> None:
    found = clipped(
        crow(72, -20), Clipped(Decimal("0.25")), crow(71.75, -14), Clipped(Decimal(1)),
        crow(70.75, 17), crow(70.75, 15),
    )  # fmt: skip
    # 15 off, where 5 is worth all 70 points and 25 none; one clip of the two was larger.
    assert points(found) == {"crow": 35, "care": 15}
    (lost,) = found.lost
    assert (lost.where, lost.stroke, lost.amount) == ("length", 2, 10)
    assert lost.text == (
        "length: 10 cents past its goal, lost at clip 2, 1 mm after it had crowed -14"
    )


def test_a_crow_that_scattered_past_the_goal_and_came_back_is_no_loss() -> None:
    found = clipped(crow(72, -9), Clipped(Decimal("0.25")), crow(71.75, 8), crow(71.75, 2))
    assert found.lost == ()
    assert found.points == 100


def test_a_clip_without_a_crow_since_the_last_is_careless() -> None:
    found = clipped(crow(72, -9), Clipped(Decimal("0.25")), Clipped(Decimal("0.25")))
    assert points(found) == {"crow": 0, "care": 15}
    assert found.parts[0].text == "it was not crowed after the last clip"


captures = st.builds(
    Captured, st.sampled_from(KEYS), st.integers(300, 500).map(lambda tenths: Decimal(tenths) / 10)
)
scrapes = st.builds(
    Scraped, st.sampled_from(KEYS), st.sampled_from(["", "windows"]), st.integers(1, 30)
)
clips = st.builds(Clipped, st.decimals("0.01", 2, places=2))
crows = st.builds(Crowed, st.decimals(67, 73, places=1), st.decimals(-99, 99, places=1))
runs = st.lists(captures | scrapes | clips | crows, max_size=60)


@given(runs, st.sampled_from([LEVEL, CLIP]))
def test_a_score_is_between_none_and_all_and_adds_up(run: list[Event], lesson: object) -> None:
    found = score(LEVEL if lesson is LEVEL else CLIP, History(STOPS, GOAL, tuple(run)))
    assert 0 <= found.points <= 100
    for part in found.parts:
        assert 0 <= part.points <= part.most
    assert found.points == int(sum(part.points for part in found.parts) + 1e-9)
    assert sum(part.most for part in found.parts) == 100
    amounts = [each.amount for each in found.lost]
    assert amounts == sorted(amounts, reverse=True)
    assert all(each.stroke is None or each.stroke >= 1 for each in found.lost)
    assert all("\n" not in line for line in found.lines)
    assert msgspec.json.decode(msgspec.json.encode(found), type=Score) == found


@given(runs)
def test_a_place_is_lost_just_when_its_last_value_says_so(run: list[Event]) -> None:
    found = scored(*run)
    last = {event.station: event.hundredths for event in run if isinstance(event, Captured)}
    under = {key for key, value in last.items() if value < 39}
    assert {each.where for each in found.lost} == under


@given(runs, captures)
def test_measuring_once_more_never_hides_a_loss(run: list[Event], more: Captured) -> None:
    before = {each.where for each in scored(*run).lost}
    after = {each.where for each in scored(*run, more).lost}
    assert before - {more.station} == after - {more.station}
