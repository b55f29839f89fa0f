"""Watching a zone: one alert as it comes on target, whatever the noise."""

from __future__ import annotations

import math
import random
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import linregress, theilslopes  # type: ignore[import-untyped]

from gaugelink.craft.measured import CraftError
from gaugelink.craft.watching import Watched, ZoneWatch, trend

TENTH = Decimal("0.1")
tenths = st.integers(300, 600).map(lambda each: Decimal(each) / 10)


def watch(unsure: float = 0.3) -> ZoneWatch:
    return ZoneWatch("windows", Decimal(40), Decimal(1), TENTH, unsure)


def feed(
    zone: ZoneWatch, values: list[float], every: float = 5.0, start: float = 0
) -> list[Watched]:
    return [
        zone.feed(start + every * index, Decimal(str(each))) for index, each in enumerate(values)
    ]


def alerts(found: list[Watched]) -> list[int]:
    return [index for index, each in enumerate(found) if each.alert]


def test_one_alert_when_it_comes_on_target() -> None:
    found = feed(watch(), [46, 45, 44, 43, 42, 41.5, 41, 40.8, 40.5, 40.2, 40])
    (once,) = alerts(found)
    # The median of three is one value behind: two that agree are needed.
    assert once == 7
    assert found[once].alert == "windows: on target, 41; stop and listen"
    assert [str(each.verdict) for each in found[-3:]] == ["leave", "leave", "leave"]
    assert found[3].remaining == 4
    assert found[-1].count == 11


def test_a_single_value_far_off_moves_nothing() -> None:
    for stray in (2.0, 39.0, 40.0, 300.0):
        found = feed(watch(), [46, 46, stray, 46, 46, 46])
        assert alerts(found) == []
        assert {each.estimate for each in found[2:]} == {Decimal(46)}
    assert alerts(feed(watch(), [40])) == []
    assert alerts(feed(watch(), [40, 46, 46])) == []
    assert alerts(feed(watch(), [40, 40])) == [1]


def test_it_is_said_anew_only_after_it_has_clearly_left() -> None:
    zone = watch()
    assert zone.clear == Decimal(42)
    assert alerts(feed(zone, [40, 40, 42, 42, 42, 40, 40, 40])) == [1]
    # Another place of the zone, thicker: and that comes on target too.
    assert alerts(feed(zone, [44, 44, 44, 40, 40, 40], start=100)) == [4]
    assert watch(1.0).clear == Decimal(44)


@given(st.lists(tenths, max_size=60), st.floats(0, 2))
def test_noise_about_the_limit_is_said_once_until_it_has_clearly_left(
    values: list[Decimal], unsure: float
) -> None:
    zone = watch(unsure)
    said = 0
    for index, each in enumerate(values):
        found = zone.feed(float(index), each)
        said += bool(found.alert)
        if found.estimate > zone.clear:
            said = 0
        assert said <= 1
        assert not found.alert or found.verdict.word != "take"


@given(st.lists(tenths.filter(lambda each: each <= 42), max_size=60))
def test_what_never_clearly_leaves_is_said_at_most_once(values: list[Decimal]) -> None:
    zone = watch()
    assert sum(bool(zone.feed(float(at), each).alert) for at, each in enumerate(values)) <= 1


def test_scraping_with_noise_is_said_once_and_in_time() -> None:
    seen = []
    for seed in range(200):
        draw = random.Random(seed)
        zone, thickness, found = watch(0.4), 48.0, []
        for index in range(40):
            thickness = max(38.0, thickness - 0.4)
            found.append(zone.feed(4.0 * index, Decimal(str(round(draw.gauss(thickness, 0.4), 1)))))
        assert len(alerts(found)) == 1
        seen.append(48.0 - 0.4 * (alerts(found)[0] + 1))
    # It comes about the upper limit, 41, and never as late as the lower one.
    assert min(seen) > 39
    assert sum(seen) / 200 == pytest.approx(40.7, abs=0.4)


def test_too_thin_is_said_as_such() -> None:
    found = feed(watch(), [46, 46, 46, 37, 37])
    assert found[-1].alert == "windows: over 3, put the knife down"


@given(st.lists(st.tuples(st.floats(0.1, 20), st.floats(-5, 5)), min_size=4, max_size=12))
def test_the_slope_is_that_of_theil_and_sen(steps: list[tuple[float, float]]) -> None:
    at, points = 0.0, []
    for later, off in steps:
        at += later
        points.append((at, Decimal(str(round(45 + off, 2)))))
    found = trend(points, 0.3)
    assert found is not None
    reference = theilslopes([float(y) for _, y in points], [x for x, _ in points])
    assert found.per_minute == pytest.approx(60 * reference[0], rel=1e-6, abs=1e-6)


def test_a_trend_is_told_when_it_is_there_and_seldom_when_it_is_not() -> None:
    told = {0.0: 0, -3.0: 0}
    slopes = []
    for per_minute in told:
        for seed in range(300):
            draw = random.Random(seed)
            points = [
                (
                    5.0 * index,
                    Decimal(str(round(45 + per_minute * index / 12 + draw.gauss(0, 0.3), 3))),
                )
                for index in range(12)
            ]
            found = trend(points, 0.3)
            assert found is not None
            told[per_minute] += found.told
            if not per_minute:
                slopes.append(found.per_minute / found.uncertainty)
    assert told[0.0] <= 0.08 * 300
    assert told[-3.0] >= 0.95 * 300
    # Of as few as twelve the median of slopes scatters a little more than of many.
    assert 0.9 < (sum(each**2 for each in slopes) / 300) ** 0.5 < 1.2


def test_the_uncertainty_is_near_that_of_least_squares() -> None:
    draw = random.Random(1)
    points = [(5.0 * i, Decimal(str(round(draw.gauss(45, 0.8), 2)))) for i in range(12)]
    found = trend(points, 0.8)
    assert found is not None
    fit = linregress([x for x, _ in points], [float(y) for _, y in points])
    assert found.uncertainty / 60 == pytest.approx(fit.stderr, rel=0.6)


def test_signs_and_gaps_of_the_trend() -> None:
    zone = watch()
    assert [each.trend for each in feed(zone, [46, 45, 44])] == [None, None, None]
    (falling,) = feed(zone, [43], start=15)
    assert falling.trend is not None
    assert falling.trend.per_minute == pytest.approx(-12)
    assert falling.trend.told
    # After a long pause, or with a clock that stepped back, it begins anew.
    assert feed(zone, [43], start=1000)[0].trend is None
    assert feed(zone, [43], start=2)[0].trend is None
    still = watch()
    assert [still.feed(1.0, Decimal(40)).trend for _ in range(6)][-1] is None


def test_impossible_numbers_are_refused() -> None:
    wrong: list[tuple[tuple[str, str, str, float], str]] = [
        (("NaN", "1", "0.1", 0.3), "is no target"),
        (("40", "-1", "0.1", 0.3), "is no target"),
        (("40", "1", "0", 0.3), "is no resolution"),
        (("40", "1", "0.1", math.nan), "give 0 or more"),
    ]
    for (target, tolerance, resolution, unsure), said in wrong:
        with pytest.raises(CraftError, match=said):
            ZoneWatch("tip", Decimal(target), Decimal(tolerance), Decimal(resolution), unsure)
    for at, value in ((math.nan, "40"), (0.0, "NaN")):
        with pytest.raises(CraftError, match="cannot be watched"):
            watch().feed(at, Decimal(value))
