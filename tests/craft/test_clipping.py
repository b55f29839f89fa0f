"""Clipping: ever smaller steps, never past the goal beyond the risk, never on a sharp reed."""

from __future__ import annotations

import random
from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft.clipping import (
    Crowed,
    Goal,
    Plan,
    Slope,
    goal_of_day,
    learn_slope,
    plan,
)
from gaugelink.craft.measured import CraftError
from gaugelink.craft.rules import Clipping

RULE = Clipping()
SHORTEST = Decimal(69)
GOAL = goal_of_day(RULE, 2)
SLOPE = learn_slope([], RULE)


def crowed(length: float | Decimal, cents: float) -> Crowed:
    return Crowed(Decimal(str(length)), Decimal(str(cents)))


def planned(
    *points: tuple[float, float], goal: Goal = GOAL, slope: Slope = SLOPE, risk: float = 0.05
) -> Plan:
    return plan([crowed(*each) for each in points], goal, slope, RULE, SHORTEST, risk)


def test_from_afar_the_largest_step_near_by_ever_smaller_ones() -> None:
    steps = [planned((73.0, cents)).step for cents in (-110, -60, -40, -30, -15, -7, -5, 0)]
    assert [None if step is None else float(step) for step in steps] == [
        2.0, 0.5, 0.5, 0.5, 0.25, 0.015625, None, None,
    ]  # fmt: skip


def test_words() -> None:
    clip = planned((71.0, -60))
    assert clip.why == "clip"
    assert clip.text.startswith("-60 cents at 71.0 mm: clip 1/2 mm; about -4")
    assert clip.text.endswith(" cents then. Crow it again")
    assert "clip 1/64 mm" in planned((70.15, -10), (70.14, -9.0), risk=0.3).text
    assert "on its goal" in planned((69.5, -4)).text
    assert planned((69.5, 9)).text == (
        "+9 cents at 69.5 mm: sharp of +0; do not clip, scraping brings it down"
    )
    assert planned((69.0, -30)).why == "shortest"
    assert "look elsewhere" in planned((69.01, -30)).text
    assert planned((70.0, -6), risk=0.01).text.endswith("play it, and let your ear decide")


def test_on_the_first_day_it_rests_flat() -> None:
    goal = goal_of_day(RULE, 1)
    assert (goal.cents, goal.within) == (Decimal("-16.5"), Decimal("1.5"))
    assert planned((70.5, -17), goal=goal).why == "on goal"
    assert planned((70.5, -12), goal=goal).why == "sharp"
    assert planned((72.5, -90), goal=goal).step == Decimal("0.5")


points = st.lists(
    st.tuples(st.decimals(65, 74, places=2), st.decimals(-150, 60, places=1)),
    min_size=1,
    max_size=8,
).map(lambda found: [Crowed(*each) for each in found])


@given(points, st.floats(0.001, 0.4), st.sampled_from([1, 2]))
def test_no_plan_passes_the_goal_by_more_than_the_risk_or_the_shortest_length(
    points: list[Crowed], risk: float, day: int
) -> None:
    goal = goal_of_day(RULE, day)
    found = plan(points, goal, SLOPE, RULE, SHORTEST, risk)
    newest = points[-1]
    if found.step is None:
        assert found.why != "clip"
        return
    assert newest.cents < goal.cents - goal.within
    assert newest.length - found.step >= SHORTEST
    assert found.chance is not None
    assert found.expected is not None
    assert found.chance <= risk
    assert found.expected <= goal.cents + goal.within
    assert found.step in RULE.steps
    more_careful = plan(points, goal, SLOPE, RULE, SHORTEST, risk / 4)
    assert more_careful.step is None or more_careful.step <= found.step


@given(points.filter(lambda found: found[-1].cents >= -5))
def test_at_the_goal_or_above_nothing_is_ever_clipped(points: list[Crowed]) -> None:
    assert plan(points, GOAL, SLOPE, RULE, SHORTEST, 0.4).step is None


def work(seed: int, per_mm: float, scatter: float = 3.0) -> tuple[list[Crowed], list[Plan], float]:
    """Clip a simulated reed as it is planned; the crows, the plans and where it truly ends."""
    draw = random.Random(seed)
    length, base = Decimal(73), -draw.uniform(60, 110)
    found: list[Crowed] = []
    plans: list[Plan] = []
    while True:
        true = base + per_mm * float(73 - length)
        found.append(crowed(length, round(true + draw.gauss(0, scatter), 1)))
        plans.append(plan(found, GOAL, SLOPE, RULE, SHORTEST, 0.05))
        step = plans[-1].step
        if step is None or len(plans) > 300:
            return found, plans, true
        length -= step


@pytest.mark.parametrize("per_mm", [15.0, 25.0, 38.0])
def test_steps_never_grow_and_few_reeds_end_sharp(per_mm: float) -> None:
    sharp = 0
    for seed in range(40):
        found, plans, true = work(seed, per_mm)
        steps = [each.step for each in plans if each.step is not None]
        assert all(before >= after for before, after in pairwise(steps))
        assert len(found) < 300
        assert min(each.length for each in found) >= SHORTEST
        sharp += true > 5
        if plans[-1].why in ("risk", "on goal"):
            assert true > -20
    # Several clips a reed, each with a chance of 1 in 20 at most.
    assert sharp <= 6


def test_a_clip_that_came_out_a_little_off_counts_as_the_step_it_was_meant_to_be() -> None:
    after_a_half = planned((73.0, -130), (72.46, -115))
    assert after_a_half.step == Decimal("0.5")
    after_an_eighth = planned((73.0, -130), (72.9, -128))
    assert after_an_eighth.step == Decimal("0.125")
    # Crowed twice at one length, and a length that was measured a little longer, are no clips.
    again = planned((73.0, -130), (73.0, -128), (73.02, -129))
    assert again.step == Decimal(2)


def test_the_reeds_own_points_outweigh_what_was_believed() -> None:
    steep = planned((73.0, -190), (72.0, -130), (71.0, -70))
    assert steep.step == Decimal("0.5")
    assert steep.expected == pytest.approx(-70 + 0.5 * 55, abs=8)
    flat = planned((73.0, -90), (72.0, -80), (71.0, -70))
    assert flat.step == Decimal(2)
    assert flat.expected == pytest.approx(-70 + 2 * 10, abs=8)


def test_crows_that_fall_with_the_clips_are_heard_again() -> None:
    found = planned((73.0, -30), (71.0, -90), (70.0, -130))
    assert found.step is None
    assert "did not rise with the clips; crow it again" in found.text


def test_the_slope_is_learned_from_earlier_reeds() -> None:
    draw = random.Random(6)
    reeds = []
    for _ in range(40):
        own = draw.gauss(36, RULE.per_mm_between)
        reeds.append(
            [
                crowed(73 - step / 2, round(own * step / 2 - 100 + draw.gauss(0, 4), 1))
                for step in range(6)
            ]
        )
    found = learn_slope(reeds, RULE)
    assert found.reeds == 40
    assert found.per_mm == pytest.approx(36, abs=2)
    # Reeds go on differing, however many were seen.
    assert RULE.per_mm_between < found.spread < SLOPE.spread
    assert SLOPE.per_mm == RULE.per_mm
    assert SLOPE.reeds == 0
    assert learn_slope([[crowed(70, -3)], [crowed(70, -3), crowed(70, -5)], []], RULE) == SLOPE


def test_one_reeds_slope_against_numerical_integration() -> None:
    from scipy.integrate import quad  # type: ignore[import-untyped]
    from scipy.stats import linregress, norm  # type: ignore[import-untyped]

    reed = [crowed(73, -80), crowed(72, -45), crowed(71.5, -41)]
    lengths = [float(each.length) for each in reed]
    slope = -linregress(lengths, [float(each.cents) for each in reed]).slope
    mean_length = sum(lengths) / 3
    own = (RULE.scatter**2 / sum((x - mean_length) ** 2 for x in lengths)) ** 0.5

    def density(mean: float) -> float:
        # The reed's slope is integrated out: normal about the mean, seen with its own error.
        seen = norm.pdf(slope, mean, (own**2 + RULE.per_mm_between**2) ** 0.5)
        return float(seen * norm.pdf(mean, RULE.per_mm, RULE.per_mm_spread))

    whole, _ = quad(density, -100, 150)
    mean, _ = quad(lambda each: each * density(each) / whole, -100, 150)
    assert learn_slope([reed], RULE).per_mm == pytest.approx(mean, rel=1e-6)


@pytest.mark.parametrize(
    ("length", "cents", "said"),
    [
        ("NaN", "0", "is no length of a reed"),
        ("0", "0", "is no length of a reed"),
        ("201", "0", "is no length of a reed"),
        ("70", "NaN", "too far from the goal"),
        ("70", "-2401", "too far from the goal"),
    ],
)
def test_impossible_crows_are_refused(length: str, cents: str, said: str) -> None:
    wrong = [Crowed(Decimal(length), Decimal(cents))]
    with pytest.raises(CraftError, match=said):
        plan(wrong, GOAL, SLOPE, RULE, SHORTEST, 0.05)
    with pytest.raises(CraftError, match=said):
        learn_slope([wrong], RULE)


def test_without_a_crow_or_a_risk_there_is_no_plan() -> None:
    with pytest.raises(CraftError, match="there is no crow to go by"):
        plan([], GOAL, SLOPE, RULE, SHORTEST, 0.05)
    with pytest.raises(CraftError, match="no risk to work by"):
        planned((70, -20), risk=0.5)
