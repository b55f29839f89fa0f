"""Strokes: rates that are learned, strokes that are safe, a knife that grows dull."""

from __future__ import annotations

import math
import random

import msgspec
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft.measured import CraftError
from gaugelink.craft.regression import believed
from gaugelink.craft.rules import Scraping
from gaugelink.craft.strokes import (
    MOST,
    Knife,
    Pass,
    Rate,
    Strokes,
    assumed,
    knife,
    learn,
    removed_by,
    strokes,
)

RULE = Scraping()


def session(
    seed: int, count: int, rate: float = 0.6, zone: str = "windows", scatter: float = 0.5
) -> list[Pass]:
    draw = random.Random(seed)
    found = []
    for _ in range(count):
        number = draw.randint(3, 12)
        found.append(Pass(zone, number, rate * number + draw.gauss(0, scatter)))
    return found


def test_before_any_stroke_is_counted_the_style_is_believed() -> None:
    rate = assumed("windows", RULE)
    assert rate.per_stroke == RULE.per_stroke
    assert not rate.learned
    assert rate.text.startswith("windows: 0.50 ± ")
    assert "assumed, until strokes are counted" in rate.text


@pytest.mark.parametrize("true", [0.15, 0.6, 1.4])
def test_a_rate_is_found_whatever_was_believed(true: float) -> None:
    off = [
        abs(learn(session(9, count, true), RULE)["windows"].per_stroke - true)
        for count in (1, 5, 400)
    ]
    assert off[2] < 0.02
    assert off[2] <= max(off[0], off[1])
    spread = [
        learn(session(9, count, true), RULE)["windows"].uncertainty for count in (1, 5, 100, 400)
    ]
    assert spread == sorted(spread, reverse=True)
    # It narrows with the root of the passes.
    assert spread[3] / spread[2] == pytest.approx(1 / 2, rel=0.2)


def test_ninety_of_a_hundred_rates_lie_in_the_span_that_is_stated_for_them() -> None:
    inside = 0
    draw = random.Random(1)
    for seed in range(400):
        true = max(0.05, draw.gauss(RULE.per_stroke, RULE.per_stroke_spread / 2))
        rate = learn(session(seed, 6, true), RULE)["windows"]
        stated = rate.belief.at([1.0])
        inside += stated.quantile(0.05) <= true <= stated.quantile(0.95)
    # The stated scatter is twice the true one here, so more lie within rather than fewer.
    assert inside >= 0.88 * 400


def test_zones_are_learned_apart() -> None:
    rates = learn([*session(1, 9, 0.3, "tip"), *session(2, 9, 0.9, "windows")], RULE)
    assert rates["tip"].per_stroke < 0.45 < 0.75 < rates["windows"].per_stroke
    assert rates["tip"].passes == 9
    assert rates["tip"].text.endswith("a stroke, from 9 passes")


@given(st.floats(0.5, 20), st.floats(0, 10), st.floats(0.01, 0.4), st.integers(0, 50))
def test_the_safe_number_keeps_to_the_risk(
    remaining: float, below: float, risk: float, seed: int
) -> None:
    rate = learn(session(seed, 6), RULE)["windows"]
    room = remaining + below
    found = strokes(rate, remaining, room, risk)
    assert found.safe <= max(found.likely, 0)
    assert found.low <= (found.high if found.high is not None else MOST)
    if found.safe:
        assert 1 - removed_by(rate, found.safe).chance_below(room) <= risk + 1e-9
    assert found.likely * rate.per_stroke <= remaining + 1e-9
    if found.high is not None:
        assert 1 - removed_by(rate, found.high).chance_below(remaining) >= 0.95 - 1e-9
    careful = strokes(rate, remaining, room, risk / 2)
    assert careful.safe <= found.safe


def test_the_span_of_strokes_holds_what_strokes_really_take() -> None:
    rate = learn(session(3, 60, 0.6), RULE)["windows"]
    found = strokes(rate, 6.0, 8.0, 0.05)
    assert found.high is not None
    assert found.low < 10 < found.high
    assert found.likely in (9, 10)
    assert found.text == (
        f"about {found.likely} strokes ({found.low} to {found.high}); measure after {found.safe}"
    )


def test_nothing_to_take_no_stroke() -> None:
    rate = assumed("tip", RULE)
    assert strokes(rate, 0.0, 1.0, 0.05) == Strokes(0, 0, 0, 0)
    assert strokes(rate, -3.0, 1.0, 0.05) == Strokes(0, 0, 0, 0)
    assert (
        strokes(rate, 1.0, 1.0, 0.05).text == "no stroke is safe: measure again, and trust your ear"
    )


def test_very_light_strokes_end_at_the_most_that_is_advised() -> None:
    light = learn([Pass("tip", 100, 1.0)] * 50, RULE)["tip"]
    found = strokes(light, 40.0, 45.0, 0.05)
    assert (found.likely, found.safe, found.high) == (MOST, MOST, None)
    assert "to many" in found.text


@pytest.mark.parametrize(
    ("remaining", "risk"), [(math.nan, 0.05), (math.inf, 0.05), (3.0, 0.0), (3.0, 0.5)]
)
def test_impossible_numbers_are_refused(remaining: float, risk: float) -> None:
    with pytest.raises(CraftError, match="strokes need a finite thickness"):
        strokes(assumed("tip", RULE), remaining, 5.0, risk)


def test_impossible_passes_are_refused() -> None:
    for wrong in (Pass("tip", 0, 1.0), Pass("tip", 3, math.nan)):
        with pytest.raises(CraftError, match="tip: a pass needs a stroke at least"):
            learn([wrong], RULE)
    nothing = learn([Pass("tip", 10, -9.0)] * 9, RULE)["tip"]
    with pytest.raises(CraftError, match="tip: the passes show no removal"):
        strokes(nothing, 3.0, 5.0, 0.05)


def dulled(seed: int, share: float) -> Knife:
    earlier = [*session(seed, 6, 0.6, "windows"), *session(seed + 1, 4, 0.4, "tip")]
    newest = [*session(seed + 2, 2, share * 0.6), *session(seed + 3, 1, share * 0.4, "tip")]
    found = knife([*earlier, *newest], RULE)
    assert found is not None
    return found


def test_a_knife_that_takes_half_is_called_dull_whatever_the_zone() -> None:
    found = [dulled(seed, 0.5) for seed in range(0, 2000, 20)]
    assert sum(each.dull for each in found) >= 80
    assert sum(each.share for each in found) / 100 == pytest.approx(0.5, abs=0.1)
    sure = next(each for each in found if each.dull)
    assert sure.text.endswith("% sure): the knife may want sharpening")


def test_a_sharp_knife_is_seldom_called_dull() -> None:
    found = [dulled(seed, 1.0) for seed in range(0, 4000, 20)]
    # 1 in 20, and the stated scatter is larger than the true one here.
    assert sum(each.dull for each in found) <= 0.08 * 200
    assert {each.text for each in found if not each.dull} == {""}


def test_the_probability_is_that_of_draws_from_the_two_shares() -> None:
    passes = [*session(11, 6), *session(12, 3, 0.5)]
    found = knife(passes, RULE)
    assert found is not None
    # The same posterior, drawn from rather than integrated.
    rate = learn(passes[:-3], RULE)["windows"].per_stroke
    rows = [[each.strokes * rate, 0.0] for each in passes[:-3]]
    rows += [[0.0, each.strokes * rate] for each in passes[-3:]]
    prior = believed([1.0, 1.0], [0.5, 0.5], RULE.scatter, RULE.worth)
    belief = prior.learned(rows, [each.removed for each in passes])
    draw = np.random.default_rng(7)
    variance = belief.rate / draw.gamma(belief.shape, size=200_000)
    cover = np.linalg.inv(np.array(belief.precision))
    normal = draw.multivariate_normal((0.0, 0.0), cover, 200_000) * np.sqrt(variance)[:, None]
    shares = np.array(belief.mean) + normal
    assert found.chance == pytest.approx(float(np.mean(shares[:, 1] < shares[:, 0])), abs=0.005)


def test_a_knife_needs_a_past_to_be_judged() -> None:
    assert knife(session(1, 5), RULE) is None
    assert knife(session(1, 6), RULE) is not None
    assert knife([Pass("tip", 5, -8.0)] * 6, RULE) is None
    known: dict[str, Rate] = learn(session(1, 30, 1.2), RULE)
    against_known = knife(session(2, 6, 0.6), RULE, known)
    assert against_known is not None
    assert not against_known.dull, "it is the change within the session that counts"


@given(st.integers(0, 500), st.floats(0.2, 3.0))
def test_another_unit_of_thickness_says_the_same_of_the_knife(seed: int, scale: float) -> None:
    rule = msgspec.structs.replace(
        RULE,
        per_stroke=RULE.per_stroke * scale,
        per_stroke_spread=RULE.per_stroke_spread * scale,
        scatter=RULE.scatter * scale,
    )
    passes = session(seed, 8)
    scaled = [Pass(each.zone, each.strokes, each.removed * scale) for each in passes]
    one, other = knife(passes, RULE), knife(scaled, rule)
    assert one is not None
    assert other is not None
    assert other.chance == pytest.approx(one.chance, abs=1e-6)
