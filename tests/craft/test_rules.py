"""The optional tables of a style: old files go on, wrong ones are told by their path."""

from __future__ import annotations

from decimal import Decimal

import pytest

from gaugelink.craft.rules import (
    Balancing,
    Clipping,
    Risk,
    Scraping,
    Slipping,
    Soaking,
)
from gaugelink.craft.style import StyleError, find, parse
from tests.craft.test_style import MINE


def test_a_file_without_them_has_the_defaults() -> None:
    style = parse(MINE, "mine.toml")
    assert (style.risk, style.scraping, style.balancing) == (Risk(), Scraping(), Balancing())
    assert (style.clipping, style.soaking, style.slipping) == (Clipping(), Soaking(), Slipping())
    assert style.cane is None
    assert style.shortest == Decimal("69.0")


def test_the_defaults_that_the_shipped_style_shows_are_the_defaults() -> None:
    style = find("millrace-long")
    assert (style.risk, style.balancing, style.soaking) == (Risk(), Balancing(), Soaking())
    assert style.slipping == Slipping()
    shown = style.clipping
    assert shown == Clipping(shortest=shown.shortest)
    assert style.shortest == 69


def test_a_part_of_a_table_may_be_given() -> None:
    style = parse(MINE + "\n[clipping]\nsteps = [1, 0.1]\nshortest = 68.5", "mine.toml")
    assert style.clipping.steps == (Decimal(1), Decimal("0.1"))
    assert style.clipping.goal == "C5"
    assert style.shortest == Decimal("68.5")


def test_gouged_cane_is_folded_in_its_middle() -> None:
    assert parse(MINE + "\n[cane]\nlength = 146", "mine.toml").cane is not None
    cane = find("quayside-cane")
    assert cane.cane is not None
    assert {stop.station.blade for stop in cane.stops("gouge")} == {"crossed", "uncrossed"}
    assert max(stop.station.height for stop in cane.stops("gouge")) < cane.cane.length / 2


@pytest.mark.parametrize(
    ("table", "path", "said"),
    [
        ("[risk]\nunder = 0", "risk.under", "above 0 and below 0.5"),
        ("[risk]\nunder = 0.5", "risk.under", "above 0 and below 0.5"),
        ("[risk]\npast = nan", "risk.past", "above 0 and below 0.5"),
        ("[risk]\nover = 0.1", "$.risk", "unknown field `over`"),
        ("[scraping]\nremoval = -0.1", "scraping.removal", "from 0 to 1"),
        ("[scraping]\nsteep = nan", "scraping.steep", "from 0 to 200"),
        ("[scraping]\nper_stroke = 0", "scraping.per_stroke", "from 0.01 to 20"),
        ("[scraping]\nper_stroke_spread = 0", "scraping.per_stroke_spread", "from 0.01 to 20"),
        ("[scraping]\nscatter = inf", "scraping.scatter", "from 0.01 to 20"),
        ("[scraping]\nworth = 2", "scraping.worth", "from 3 to 1000"),
        ('[balancing]\nwhen_over = "weep"', "$.balancing.when_over", "Invalid enum value"),
        ("[balancing]\nmeet_within = -1", "balancing.meet_within", "from 0 to 50"),
        ("[balancing]\nwithin = nan", "balancing.within", "from 0 to 50"),
        ('[clipping]\ngoal = "H5"', "clipping.goal", "'H5' is no note"),
        ("[clipping]\ntuning = 300", "clipping.tuning", "from 380 to 480"),
        ("[clipping]\nfirst_day = -201", "clipping.first_day", "from -200 to 200"),
        ("[clipping]\nfirst_day_within = -1", "clipping.first_day_within", "from 0 to 100"),
        ("[clipping]\nwithin = 101", "clipping.within", "from 0 to 100"),
        ("[clipping]\nsteps = []", "clipping.steps", "needs at least one step"),
        ("[clipping]\nsteps = [1, 2]", "clipping.steps[1]", "above 0, and 1 at most"),
        ("[clipping]\nsteps = [1, 0]", "clipping.steps[1]", "above 0, and 1 at most"),
        ("[clipping]\nsteps = [nan]", "clipping.steps[0]", "above 0, and 10 at most"),
        ("[clipping]\nshortest = 66", "clipping.shortest", "above the tip line"),
        ("[clipping]\nshortest = 73.1", "clipping.shortest", "the blank's at most"),
        ("[clipping]\nshortest = nan", "clipping.shortest", "above the tip line"),
        ("[clipping]\nper_mm = 0", "clipping.per_mm", "from 1 to 500"),
        ("[clipping]\nper_mm_spread = 0", "clipping.per_mm_spread", "from 0.1 to 500"),
        ("[clipping]\nper_mm_between = -1", "clipping.per_mm_between", "from 0 to 500"),
        ("[clipping]\nscatter = 0", "clipping.scatter", "from 0.1 to 100"),
        ("[soaking]\nsoak = -1", "soaking.soak", "from 0 to 600"),
        ("[soaking]\nremind = 0", "soaking.remind", "from 0.1 to 600"),
        ("[soaking]\nwet_for = inf", "soaking.wet_for", "from 0.1 to 600"),
        ("[slipping]\nleast = -1", "slipping.least", "from 0 to 3"),
        ("[slipping]\nmost = nan", "slipping.most", "from 0 to 3"),
        ("[slipping]\nleast = 1", "slipping.most", "must not be below least, 1"),
        ("[cane]\nlength = 120", "cane.length", "twice the blank's 73 mm"),
        ("[cane]\nlength = nan", "cane.length", "twice the blank's 73 mm"),
    ],
)
def test_a_wrong_table_is_told(table: str, path: str, said: str) -> None:
    with pytest.raises(StyleError) as caught:
        parse(f"{MINE}\n{table}\n", "folder/mine.toml")
    told = str(caught.value)
    assert told.startswith("folder/mine.toml: ")
    assert path in told
    assert said in told
    assert "\n" not in told
