"""Defaults and shipped styles against what is said in the trade; each value says by whom."""

from __future__ import annotations

from math import log2

import pytest

from gaugelink.craft.clipping import goal_of_day
from gaugelink.craft.pitch import hertz
from gaugelink.craft.rules import Clipping, Scraping, Slipping
from gaugelink.craft.style import find
from tests.published.tables import table

CLIPPING = table("trade.toml", "clipping")
CANE = find("quayside-cane")


def test_steps_of_clipping_and_where_the_first_day_ends() -> None:
    assert [float(step) for step in Clipping().steps] == CLIPPING["steps"]
    goal = goal_of_day(Clipping(), 1)
    assert [-goal.cents - goal.within, -goal.cents + goal.within] == CLIPPING[
        "flat_on_the_first_day"
    ]
    low, high = CLIPPING["length_at_the_end"]
    assert low <= find("millrace-long").shortest <= high


def test_the_goal_is_a_c_with_its_octave() -> None:
    crow = table("trade.toml", "crow")
    assert hertz(Clipping().goal) == pytest.approx(crow["c5"], abs=0.005)
    assert 2 * hertz(Clipping().goal) == pytest.approx(crow["c6"], abs=0.005)
    assert Clipping().within <= crow["tolerance_cents"]


def test_a_millimetre_of_length_alone_is_25_cents() -> None:
    published = table("trade.toml", "clip_pitch")["cents_per_mm"]
    assert Clipping().per_mm == published == round(1200 * log2(70 / 69))


@pytest.mark.parametrize(("zone", "named"), [("middle", "gouge_middle"), ("sides", "gouge_sides")])
def test_gouged_cane(zone: str, named: str) -> None:
    (target,) = [each for each in CANE.stage("gouge").targets if each.zone == zone]
    low, high = table("trade.toml", named)["range"]
    assert float(target.target - target.tolerance) == pytest.approx(100 * low)
    assert float(target.target + target.tolerance) == pytest.approx(100 * high)
    assert CANE.soaking.soak == table("trade.toml", "gouge_middle")["soak_minutes"]


def test_a_slip_and_a_steep_blend() -> None:
    low, high = table("trade.toml", "slip")["range"]
    assert [float(Slipping().least), float(Slipping().most)] == [low, high]
    assert Scraping().steep > table("trade.toml", "blend")["hundredths_per_mm"][1]
