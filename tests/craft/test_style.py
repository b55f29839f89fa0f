"""Styles: the order of a walk, and what a wrong file is told."""

from __future__ import annotations

import re
from decimal import Decimal
from itertools import groupby
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft import style as craft
from gaugelink.craft.reed import BLADES
from gaugelink.craft.style import Style, StyleError, find, locate, parse

MINE = """
name = "mine"
title = "Mine"
[lengths]
tube = 47.0
blank = 73.0
tip_line = 66.0
first_day = 70.0
finished = 69.0
[settling]
still_for = 0.4
[walking]
gesture = 0.5
[[zones]]
name = "heart"
title = "heart"
heights = [62, 64]
across = [-0.4, 0.4]
[[zones]]
name = "tip"
title = "tip"
heights = [67.8]
blades = ["crossed", "uncrossed"]
[[stages]]
name = "rough"
title = "Rough"
length = 72
targets = [{ zone = "tip", target = 32.5, tolerance = 2 }, { zone = "heart", target = 46 }]
[[stages]]
name = "finish"
title = "Finish"
day = 2
targets = [{ zone = "tip", target = 20 }]
"""

FAULTS = [
    # What is there, what stands there instead, the path in the file, what was expected.
    ('name = "mine"', "", "$", "required field `name`"),
    ('title = "Mine"', "title = 1", "$.title", "Expected `str`, got `int`"),
    ('title = "Mine"', 'titel = "Mine"', "$", "unknown field `titel`"),
    ('title = "Mine"', 'title = "Mine"\nscrape = "middling"', "$.scrape", "Invalid enum value"),
    ("tube = 47.0", "", "$.lengths", "required field `tube`"),
    ("tube = 47.0", 'tube = "47"', "$.lengths.tube", "Expected `float`, got `str`"),
    ("tube = 47.0", "tube = 0", "lengths", "above 0"),
    ("tube = 47.0", "tube = 66.0", "zones[0].heights[0]", "62 is not on the cane, between"),
    ("tip_line = 66.0", "tip_line = 69.5", "lengths", "must grow from tube over tip_line"),
    ("tip_line = 66.0", "tip_line = nan", "lengths", "must grow from tube over tip_line"),
    ("blank = 73.0", "blank = inf", "lengths", "200 at most"),
    ("blank = 73.0", "blank = 69.5", "lengths", "must grow from tube over tip_line"),
    ("still_for = 0.4", "still_for = 0", "settling.still_for", "must lie from 0.05 to 10"),
    ("still_for = 0.4", "still_for = nan", "settling.still_for", "must lie from 0.05 to 10"),
    ("still_for = 0.4", "within = nan", "settling.within", "NaN must lie from 0 to 20"),
    ("still_for = 0.4", "within = -1", "settling.within", "-1 must lie from 0 to 20"),
    ("still_for = 0.4", "creep = inf", "settling.creep", "must lie from 0 to 20"),
    ("still_for = 0.4", "within = 6\nlift = 6", "settling.lift", "must be above within, 6"),
    ("still_for = 0.4", "stil = 1", "$.settling", "unknown field `stil`"),
    ("gesture = 0.5", "gesture = 6", "walking.gesture", "must lie from 0 to 5"),
    ("gesture = 0.5", "stale = 0", "walking.stale", "must lie from 0.05 to 60"),
    ("gesture = 0.5", "dwell = inf", "walking.dwell", "inf must lie from 0.1 to 30"),
    ("gesture = 0.5", "thinnest = 100\nthickest = 20", "walking.thickest", "above thinnest, 100"),
    ("heights = [62, 64]", "heights = []", "zones[0]", "must not be empty"),
    ("heights = [62, 64]", "heights = [62, 47]", "zones[0].heights[1]", "47 is not on the cane"),
    ("heights = [62, 64]", "heights = [73.1]", "zones[0].heights[0]", "73.1 is not on the cane"),
    ("heights = [62, 64]", "heights = [nan]", "zones[0].heights[0]", "nan is not on the cane"),
    ("heights = [62, 64]", "heights = [62, true]", "$.zones[0].heights[1]", "Expected `float`"),
    ("across = [-0.4, 0.4]", "across = []", "zones[0]", "must not be empty"),
    ("across = [-0.4, 0.4]", "across = [0, -1.01]", "zones[0].across[1]", "from -1 (left edge)"),
    ("across = [-0.4, 0.4]", "across = [nan]", "zones[0].across[0]", "from -1 (left edge)"),
    ('blades = ["crossed", "uncrossed"]', "blades = []", "zones[1]", "must not be empty"),
    ('blades = ["crossed", "uncrossed"]', 'blades = ["front"]', "$.zones[1].blades[0]", "Invalid"),
    ('blades = ["crossed", "uncrossed"]', 'blades = ["crossed", "crossed"]',
     "stages[0].targets[0].zone", "station crossed/67.8/+0 already belongs to tip"),
    ('name = "tip"', 'name = "heart"', "zones[1].name", "'heart' stands twice"),
    ('name = "finish"', 'name = "rough"', "stages[1].name", "'rough' stands twice"),
    ("day = 2", "day = 4", "$.stages[1].day", "Invalid enum value 4"),
    ("day = 2", "length = 47", "stages[1].length", "above the tube's"),
    ("day = 2", "length = nan", "stages[1].length", "above the tube's"),
    ("day = 2", "length = 1000", "stages[1].length", "200 at most"),
    ('[{ zone = "tip", target = 20 }]', "[]", "stages[1].targets", "at least one target"),
    ('[{ zone = "tip", target = 20 }]', '[{ zone = "tip" }]', "$.stages[1].targets[0]", "`target`"),
    ('[{ zone = "tip", target = 20 }]', '[{ zone = "back", target = 20 }]',
     "stages[1].targets[0].zone", "no zone is called 'back'"),
    ("target = 20", "target = 0", "stages[1].targets[0].target", "from 1 to 500"),
    ("target = 20", "target = 501", "stages[1].targets[0].target", "from 1 to 500"),
    ("target = 20", "target = nan", "stages[1].targets[0].target", "from 1 to 500"),
    ("target = 20", 'target = "thin"', "$.stages[1].targets[0].target", "Invalid decimal"),
    ("target = 20", "target = 20, tolerance = -1", "stages[1].targets[0].tolerance", "from 0 to"),
    ("target = 20", "target = 20, tolerance = inf", "stages[1].targets[0].tolerance", "from 0 to"),
    ("heights = [67.8]", "heights = [64]\nacross = [0.4]", "stages[0].targets[1].zone",
     "station crossed/64/+0.4 already belongs to tip"),
    ("heights = [62, 64]", "heights = [62, 62]", "stages[0].targets[1].zone",
     "station crossed/62/-0.4 already belongs to heart"),
]  # fmt: skip


def test_the_file_that_is_spoilt_below_is_sound() -> None:
    assert parse(MINE, "mine.toml").stage("finish").targets[0].target == 20


@pytest.mark.parametrize(
    ("what", "instead", "path", "said"), FAULTS, ids=lambda part: part[:30].strip()
)
def test_a_wrong_file_is_told_with_the_path_and_what_was_expected(
    what: str, instead: str, path: str, said: str
) -> None:
    assert what in MINE
    with pytest.raises(StyleError) as caught:
        parse(MINE.replace(what, instead), "folder/mine.toml")
    told = str(caught.value)
    assert told.startswith("folder/mine.toml: ")
    assert re.search(rf"(: |at `){re.escape(path)}(:|`)", told) or path == "$", told
    assert said in told
    assert "\n" not in told


@pytest.mark.parametrize(
    ("missing", "said"), [("zones", "at least one zone"), ("stages", "at least one stage")]
)
def test_an_empty_style_is_refused(missing: str, said: str) -> None:
    kept = [part for part in MINE.split("[[") if not part.startswith(missing)]
    with pytest.raises(StyleError, match=f"mine.toml: {missing}: a style needs {said}"):
        parse(f"{missing} = []\n" + "[[".join(kept), "mine.toml")


@pytest.mark.parametrize("text", ["name = ", "\x00", "[a", "n = " + "1" * 5000])
def test_what_is_no_toml_is_told_with_the_file(text: str) -> None:
    with pytest.raises(StyleError, match=r"^mine\.toml: not valid TOML: "):
        parse(text, "mine.toml")


@given(st.data())
def test_any_change_of_a_sound_file_is_sound_or_refused(data: st.DataObject) -> None:
    lines = MINE.splitlines()
    place = data.draw(st.integers(0, len(lines) - 1))
    values = ['""', "-1", "0", "1e300", "nan", "inf", "[]", "{}", "true", "[[1]]", '["heart"]']
    lines[place] = f"{lines[place].partition('=')[0]}= {data.draw(st.sampled_from(values))}"
    try:
        found = parse("\n".join(lines), "mine.toml")
    except StyleError as error:
        told = str(error)
    else:
        told = "mine.toml: sound"
        for stage in found.stages:
            keys = [stop.station.key for stop in found.stops(stage.name)]
            assert keys
            assert len(set(keys)) == len(keys)
    assert told.startswith("mine.toml: ")


def test_a_minus_before_the_zero_of_the_spine_changes_nothing() -> None:
    plain = parse(MINE.replace("[-0.4, 0.4]", "[0.0]"), "")
    minus = parse(MINE.replace("[-0.4, 0.4]", "[-0.0]"), "")
    assert [s.station.key for s in plain.stops("rough")] == [
        s.station.key for s in minus.stops("rough")
    ]


STYLES = craft.styles()
STAGES = [(name, stage.name) for name, style in STYLES.items() for stage in style.stages]
by_stage = pytest.mark.parametrize(("name", "stage"), STAGES)


@by_stage
def test_one_blade_is_walked_whole_before_the_reed_is_turned_over(name: str, stage: str) -> None:
    stops = STYLES[name].stops(stage)
    turns = [blade for blade, _ in groupby(stops, key=lambda stop: stop.station.blade)]
    assert turns == list(BLADES)


@by_stage
def test_on_each_blade_zones_come_in_the_stages_order_then_up_then_left_to_right(
    name: str, stage: str
) -> None:
    order = [target.zone for target in STYLES[name].stage(stage).targets]
    for blade in BLADES:
        stops = [stop for stop in STYLES[name].stops(stage) if stop.station.blade == blade]
        places = [(order.index(s.zone), s.station.height, s.station.across) for s in stops]
        assert places == sorted(places)


@by_stage
def test_every_stop_has_its_zones_target_and_both_blades_match(name: str, stage: str) -> None:
    style = STYLES[name]
    stops = style.stops(stage)
    targets = {target.zone: target for target in style.stage(stage).targets}
    for stop in stops:
        assert stop.station in style.zone(stop.zone).stations()
        assert stop.target == targets[stop.zone].target
        assert stop.tolerance == targets[stop.zone].tolerance
    by_key = {stop.station.key: stop for stop in stops}
    for stop in stops:
        for other in (stop.station.mirrored(), stop.station.opposite()):
            assert by_key[other.key].target == stop.target


@pytest.mark.parametrize("name", STYLES)
def test_a_shipped_style_is_an_invented_example(name: str) -> None:
    style = STYLES[name]
    assert "invented" in style.title
    assert "your ear decides" in style.note


def test_reeds_of_both_scrapes_are_made_over_two_days_and_cane_is_sorted_before() -> None:
    reeds = [style for style in STYLES.values() if style.cane is None]
    assert {style.scrape for style in reeds} == {"long", "short"}
    for style in reeds:
        assert {stage.day for stage in style.stages} == {1, 2}
    (cane,) = [style for style in STYLES.values() if style.cane is not None]
    assert {stage.day for stage in cane.stages} == {1}


@pytest.mark.parametrize("name", STYLES)
def test_a_target_only_falls_from_stage_to_stage(name: str) -> None:
    last: dict[str, Decimal] = {}
    for stage in STYLES[name].stages:
        for target in stage.targets:
            assert target.target <= last.get(target.zone, Decimal(500)), "cane cannot be put back"
            last[target.zone] = target.target


def test_short_scrape_is_one_slope_that_thins_towards_the_tip() -> None:
    finish = STYLES["quayside-short"].stage("finish").targets
    thickness = [target.target for target in finish]
    assert thickness == sorted(thickness, reverse=True)
    heights = [max(STYLES["quayside-short"].zone(target.zone).heights) for target in finish]
    assert heights == sorted(heights)


def test_stages_follow_one_another() -> None:
    style: Style = parse(MINE, "mine.toml")
    following = style.after("rough")
    assert following is not None
    assert following.name == "finish"
    assert style.after("finish") is None
    with pytest.raises(StyleError, match="has no stage 'polish'; its stages are rough, finish"):
        style.after("polish")
    with pytest.raises(StyleError, match="has no zone 'back'; it has heart, tip"):
        style.zone("back")


def test_ones_own_styles_come_last_and_any_editor_may_save_them(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text(MINE, encoding="utf-8-sig")
    (tmp_path / "b.toml").write_text(MINE.replace("mine", "millrace-long"))
    (tmp_path / "notes.txt").write_text("no style")
    found = craft.styles(tmp_path)
    assert set(found) == {*STYLES, "mine"}
    assert find("millrace-long", tmp_path).title == "Mine"
    assert find(str(tmp_path / "a.toml")) == found["mine"]
    assert craft.styles(tmp_path / "no such folder") == STYLES


def test_a_style_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    (tmp_path / "latin.toml").write_bytes(MINE.replace("Mine", "Späne").encode("latin-1"))
    for load in (lambda: craft.styles(tmp_path), lambda: find(str(tmp_path / "latin.toml"))):
        with pytest.raises(StyleError, match=r"latin\.toml: cannot be read: "):
            load()
    with pytest.raises(StyleError, match=r"missing\.toml: cannot be read: "):
        find(str(tmp_path / "missing.toml"))
    with pytest.raises(StyleError, match="no style is called 'none'; known are: millrace-long, qu"):
        find("none")


def test_a_broken_file_is_in_the_way_of_its_own_style_only(tmp_path: Path) -> None:
    (tmp_path / "x.toml").write_text("name=")
    assert find("millrace-long", tmp_path).name == "millrace-long"
    assert locate("millrace-long", tmp_path).endswith("millrace-long.toml")
    with pytest.raises(StyleError, match=r"x\.toml"):
        find("mine", tmp_path)
    # What was meant to replace a shipped style is not passed over for the shipped one.
    (tmp_path / "x.toml").write_text('name = "millrace-long"\ntitle = 3')
    with pytest.raises(StyleError, match=r"x\.toml"):
        find("millrace-long", tmp_path)
    assert find("quayside-short", tmp_path).name == "quayside-short"
