"""The table of pedals: the defaults, what is refused with which words, and the help page."""

from __future__ import annotations

import tomllib
from typing import get_args

import pytest

from gaugelink.capture.gestures import Gestures
from gaugelink.capture.pedals.event import PedalEvent, pushed_button
from gaugelink.capture.pedals.mapping import (
    ONE_PEDAL,
    TWO_PEDALS,
    Action,
    Mapping,
    PedalsError,
    check,
    describe,
    parse,
)
from tests.capture.readings import reading

TABLE = """
[pedals]
hold = 0.8
[[pedals.pedal]]
name = "left"
codes = ["b", "one/cts"]
walk = { short = "back", long = "again" }
lists = { short = "previous", double = "leave" }
[[pedals.pedal]]
name = "right"
codes = ["c"]
walk = { short = "capture" }
lists = { short = "next", double = "choose" }
[pedals.together]
walk = "next-zone"
"""


def parsed(text: str) -> Mapping:
    return parse(tomllib.loads(text)["pedals"], "config.toml")


def test_a_table_is_a_mapping() -> None:
    mapping = parsed(TABLE)
    assert [pedal.name for pedal in mapping.pedal] == ["left", "right"]
    assert mapping.hold == 0.8
    assert (mapping.double, mapping.debounce) == (TWO_PEDALS.double, TWO_PEDALS.debounce)
    found = mapping.find("one", "cts")
    assert found is not None
    assert found.name == "left"
    assert mapping.find("two", "cts") is None
    gestures = Gestures(mapping)
    (meant,) = gestures.feed(PedalEvent("any", "c", True, 1.0))
    assert (meant.action, meant.pedal, meant.kind) == ("capture", "right", "short")


@pytest.mark.parametrize("mapping", [ONE_PEDAL, TWO_PEDALS])
def test_the_defaults_can_be_used_and_do_all_that_a_walk_and_a_list_need(mapping: Mapping) -> None:
    check(mapping, "default")
    walk = {
        action
        for pedal in mapping.pedal
        for action in (pedal.walk.short, pedal.walk.long, pedal.walk.double)
    }
    assert {"capture", "back"} <= walk
    lists = {
        action
        for pedal in mapping.pedal
        for action in (pedal.lists.short, pedal.lists.long, pedal.lists.double)
    }
    assert {"next", "choose", "leave"} <= lists
    without_holds = {
        action for pedal in mapping.pedal for action in (pedal.lists.short, pedal.lists.double)
    }
    assert {"next", "choose"} <= without_holds, "also with keys that tell of no release"


def test_any_code_is_the_one_pedals() -> None:
    for code in ("pagedown", "cts", "button", "key 777"):
        assert ONE_PEDAL.find("any", code) is ONE_PEDAL.pedal[0]
    assert TWO_PEDALS.find("any", "key 777") is None


@pytest.mark.parametrize(
    ("change", "path", "expected"),
    [
        (('"capture"', '"captur"'), "pedals.pedal[1].walk.short", "expected one of capture, ret"),
        (('"next"', '"capture"'), "pedals.pedal[1].lists.short", "expected one of choose, next"),
        (('"next-zone"', '"next"'), "pedals.together.walk", "expected one of capture"),
        (("hold = 0.8", "hold = '1 s'"), "pedals.hold", "Expected `float`"),
        (("hold = 0.8", "hold = 9"), "pedals.hold", "expected seconds from 0.3 to 5, not 9"),
        (("hold = 0.8", "hold = nan"), "pedals.hold", "expected seconds from 0.3 to 5"),
        (("hold = 0.8", "double = 0.05"), "pedals.double", "expected seconds from 0.1 to 1"),
        (("hold = 0.8", "debounce = 1"), "pedals.debounce", "expected seconds from 0 to 0.2"),
        (("hold = 0.8", "hold = 0.3"), "pedals.double", "lie between debounce and hold"),
        (("hold = 0.8", "held = 0.8"), "pedals", "unknown field `held`"),
        (('name = "right"', 'name = "left"'), "pedals.pedal[1].name", "a name of its own"),
        (('name = "right"', 'name = " "'), "pedals.pedal[1].name", "a name of its own"),
        (('name = "right"', ""), "pedals.pedal[1]", "missing required field `name`"),
        (('codes = ["c"]', ""), "pedals.pedal[1].codes", "more than one pedal"),
        (('codes = ["c"]', 'codes = ["b"]'), "pedals.pedal[1].codes", "belongs to 'left'"),
        (('codes = ["c"]', 'codes = "c"'), "pedals.pedal[1].codes", "Expected `array`"),
        ((', long = "again"', ""), "pedals.together.walk", "one with a long or double press"),
        (
            ('walk = { short = "capture" }', 'walk = { double = "skip", at_once = true }'),
            "pedals.pedal[1].walk.at_once",
            "expected no double press",
        ),
    ],
)
def test_what_cannot_be_used_is_refused_with_the_path_and_what_is_expected(
    change: tuple[str, str], path: str, expected: str
) -> None:
    assert change[0] in TABLE
    with pytest.raises(PedalsError) as caught:
        parsed(TABLE.replace(*change))
    said = str(caught.value)
    assert said.startswith("config.toml: ")
    assert path in said
    assert expected in said
    assert "\n" not in said


@pytest.mark.parametrize("table", [None, 3, [], {}, {"pedal": []}, {"pedal": [3]}])
def test_what_is_no_table_of_pedals_is_refused(table: object) -> None:
    with pytest.raises(PedalsError, match=r"^config.toml: "):
        parse(table, "config.toml")


def test_one_pedal_cannot_be_two_together() -> None:
    with pytest.raises(PedalsError, match=r"pedals.together.walk: expected a second pedal"):
        parse(
            {"pedal": [{"name": "p", "walk": {"long": "back"}}], "together": {"walk": "skip"}}, ""
        )


def test_the_help_page_says_every_press_in_plain_words() -> None:
    assert describe(TWO_PEDALS) == [
        "left pedal, short press: back to the station before",
        "left pedal, hold one second: pause the walk, or go on with it",
        "right pedal, short press: capture the station",
        "hold the left pedal and press the other: leave this station out",
        "in a list, left pedal, short press: back to the one before",
        "in a list, left pedal, pressed twice: leave the list",
        "in a list, right pedal, short press: on to the next one",
        "in a list, right pedal, pressed twice: choose this one",
    ]
    assert describe(ONE_PEDAL)[:2] == [
        "pedal, short press: capture the station",
        "pedal, hold one second: back to the station before",
    ]
    assert "left pedal, hold 0.8 seconds: another pass over what is left" in describe(parsed(TABLE))


def test_the_help_page_for_keys_says_nothing_of_holds() -> None:
    said = describe(TWO_PEDALS, has_release=False)
    assert "right pedal, short press: capture the station" in said
    assert not [line for line in said[:-1] if "hold" in line]
    assert said[-1] == "a key in the terminal cannot be held: however long, it is a short press"


def test_every_action_has_words() -> None:
    from gaugelink.capture.pedals.mapping import WORDS

    actions = {each for part in get_args(Action) for each in get_args(part)}
    assert set(WORDS) == actions
    assert len(set(WORDS.values())) == len(actions)


def test_a_pushed_reading_is_a_press_of_the_indicators_button_and_a_streams_is_none() -> None:
    pressed = pushed_button(reading(7.5, 43.0, pushed=True))
    assert pressed == PedalEvent("g", "button", True, 7.5, has_release=False)
    assert pushed_button(reading(7.5, 43.0)) is None
    gestures = Gestures(ONE_PEDAL, "lists")
    assert pressed is not None
    assert gestures.feed(pressed) == []
    (meant,) = gestures.due(9.0)
    assert meant.action == "next"
