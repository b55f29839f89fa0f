"""The shipped long-scrape style against what is said of long-scrape reeds.

The figures are common practice, no source; the order of the zones is published.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from gaugelink.craft.style import Style, Target, find
from tests.published.tables import table

PRACTICE = table("reed.toml", "long_scrape")
LONG = find("millrace-long")
TIP = ("tip-middle", "tip-sides", "corners")


def targets(style: Style, stage: str) -> dict[str, Target]:
    return {target.zone: target for target in style.stage(stage).targets}


def takes(target: Target, hundredths: int) -> bool:
    return abs(target.target - hundredths) <= target.tolerance


def test_windows_come_level_before_the_tip_is_begun() -> None:
    stages = [stage.name for stage in LONG.stages]
    first_tip = min(stages.index(stage.name) for stage in LONG.stages if tip_of(stage.name))
    assert stages.index("windows") < first_tip
    windows = targets(LONG, "windows")["windows"]
    assert windows.target == PRACTICE["windows_before_the_tip"]
    assert not takes(windows, PRACTICE["windows_still_to_come_down"])


def tip_of(stage: str) -> bool:
    return any(zone in TIP for zone in targets(LONG, stage))


def test_the_tip_line_and_the_lengths() -> None:
    lengths = LONG.lengths
    assert lengths.tip_line == PRACTICE["tip_line"]
    assert lengths.blank > PRACTICE["blank_above"]
    assert lengths.first_day == PRACTICE["first_day"]
    assert lengths.finished == PRACTICE["near_pitch"]


def test_stages_grow_shorter_as_the_reed_is_clipped() -> None:
    lengths = [stage.length for stage in LONG.stages if stage.length is not None]
    assert lengths == sorted(lengths, reverse=True)
    assert lengths[-1] == LONG.lengths.finished
    assert [stage.day for stage in LONG.stages] == sorted(stage.day for stage in LONG.stages)


def test_the_tip_lies_above_its_line_and_the_windows_below() -> None:
    for zone in TIP:
        assert min(LONG.zone(zone).heights) > PRACTICE["tip_line"]
    assert max(LONG.zone("windows").heights) < PRACTICE["tip_line"]


@pytest.mark.parametrize("zone", TIP)
def test_an_early_tip(zone: str) -> None:
    low, high = PRACTICE["early_tip"]
    target = targets(LONG, "tip")[zone]
    assert low <= target.target <= high
    if zone == "tip-middle":
        assert (target.target - target.tolerance, target.target + target.tolerance) == (low, high)


def test_a_finished_tip() -> None:
    finish = targets(LONG, "finish")
    for zone in ("tip-sides", "corners"):
        assert finish[zone].target == PRACTICE["sides_and_corners_finished"]
    middle = finish["tip-middle"]
    low, high = PRACTICE["middle_of_the_tip_finished"]
    assert (middle.target - middle.tolerance, middle.target + middle.tolerance) == (low, high)


def test_finished_zones_are_in_the_published_order() -> None:
    last: dict[str, Decimal] = {}
    for stage in LONG.stages:
        last.update({target.zone: target.target for target in stage.targets})
    thick = {**last, "tip": max(last[zone] for zone in TIP)}
    spine, heart, windows, blend, tip = (
        thick[zone] for zone in table("reed.toml", "zones")["thick_to_thin"]
    )
    assert spine >= heart > windows > blend > tip
