"""The spine: where its ridge runs, as far as places beside it show."""

from __future__ import annotations

import random
from decimal import Decimal
from statistics import mean, stdev

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft.reed import Station
from gaugelink.craft.spine import spines
from gaugelink.craft.style import Stop
from tests.craft.values import LONG, Value, value

RESTED = LONG.stops("rested")


def ridge(top: float, across: float, height: float = 50.0, steep: float = 40.0) -> float:
    """A blade whose spine is a parabola with its top at `top`."""
    return height - steep * (across - top) ** 2


def blade(top: float, stops: list[Stop] = RESTED) -> dict[str, Value]:
    return {
        stop.station.key: value(round(ridge(top, stop.station.across), 3), "0.001")
        for stop in stops
        if stop.station.blade == "crossed" and stop.zone in ("windows", "spine")
    }


@pytest.mark.parametrize(
    ("top", "word"),
    [(0.0, "middle"), (0.1, "leans right"), (-0.1, "leans left"), (0.005, "middle")],
)
def test_where_the_ridge_runs(top: float, word: str) -> None:
    found = spines(RESTED, blade(top), 0.3)
    # The spine's heights lie between those of the windows, which are joined by lines.
    assert [each.station.key for each in found] == ["crossed/54.5/+0", "crossed/58/+0"]
    for each in found:
        assert each.word == word
        assert each.across == pytest.approx(top, abs=1e-3)


def test_words() -> None:
    assert spines(RESTED, blade(0.1), 0.3)[0].text == (
        "crossed, 54.5: the spine leans right by 0.10 ± 0.01 of half the width"
    )
    assert spines(RESTED, blade(0.0), 0.3)[0].text == (
        "crossed, 54.5: the spine is in the middle (0.00 ± 0.01 of half the width)"
    )
    flat = {key: value(40) for key in blade(0)}
    assert {each.text for each in spines(RESTED, flat, 0.3)} == {
        "crossed, 54.5: no ridge stands out; can't tell where the spine runs",
        "crossed, 58: no ridge stands out; can't tell where the spine runs",
    }


@given(st.floats(-0.3, 0.3), st.floats(0.05, 1.0))
def test_the_lean_turns_with_the_blade(top: float, unsure: float) -> None:
    taken = blade(top)
    turned = {
        stop.station.key: taken[stop.station.mirrored().key]
        for stop in RESTED
        if stop.station.key in taken
    }
    other = {"leans left": "leans right", "leans right": "leans left"}
    for here, there in zip(
        spines(RESTED, taken, unsure), spines(RESTED, turned, unsure), strict=True
    ):
        assert there.word == other.get(here.word, here.word)
        if here.across is not None:
            assert there.across == pytest.approx(-here.across, abs=1e-9)
            assert there.uncertainty == pytest.approx(here.uncertainty)


def test_the_uncertainty_is_that_of_simulated_blades() -> None:
    draw = random.Random(2)
    exact = blade(0.1)
    tops, stated = [], []
    for _ in range(3000):
        taken = {
            key: value(round(draw.gauss(float(each.hundredths), 0.5), 3), "0.001")
            for key, each in exact.items()
        }
        each = spines(RESTED, taken, 0.5)[0]
        assert each.across is not None
        assert each.uncertainty is not None
        tops.append(each.across)
        stated.append(each.uncertainty)
    assert mean(tops) == pytest.approx(0.1, abs=0.003)
    assert stdev(tops) == pytest.approx(mean(stated), rel=0.08)


def test_without_places_beside_it_nothing_is_said() -> None:
    taken = blade(0.2)
    middle_only = {key: each for key, each in taken.items() if key.endswith("/+0")}
    assert spines(RESTED, middle_only, 0.3) == ()
    assert spines(RESTED, {key: taken[key] for key in list(taken)[:1]}, 0.3) == ()
    # Beyond the last place beside it no line is drawn.
    low = {key: each for key, each in taken.items() if "/59/" not in key}
    assert [each.station.height for each in spines(RESTED, low, 0.3)] == [54.5]


def test_the_nearest_places_beside_it_are_used() -> None:
    stops = [
        Stop(Station("crossed", 60, across), "back", Decimal(40), Decimal(1))
        for across in (-0.8, -0.4, 0.0, 0.4, 0.8)
    ]
    taken = {
        stop.station.key: value(
            round(ridge(0.1, stop.station.across), 3) - (9 if stop.station.across == 0.8 else 0)
        )
        for stop in stops
    }
    (found,) = spines(stops, taken, 0.2)
    assert found.across == pytest.approx(0.1)


@given(st.tuples(*[st.floats(-1, 1)] * 3), st.floats(0.1, 2))
def test_noise_alone_is_seldom_a_lean(off: tuple[float, float, float], unsure: float) -> None:
    stops = [
        Stop(Station("crossed", 60, across), "back", Decimal(40), Decimal(1))
        for across in (-0.5, 0.0, 0.5)
    ]
    taken = {
        stop.station.key: value(round(40 + each * unsure, 2), "0.01")
        for stop, each in zip(stops, off, strict=True)
    }
    (found,) = spines(stops, taken, unsure)
    assert found.word == "can't tell"
