"""Cues in words: as a person would say them across the bench."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft import style
from gaugelink.craft.reed import Station
from gaugelink.craft.verdict import LEAVE, Verdict
from gaugelink.cues import phrases
from gaugelink.cues.cue import (
    EXAMPLES,
    KINDS,
    Captured,
    Cue,
    LinkBack,
    LinkLost,
    NextStation,
    OnTarget,
    Refused,
    SoakReminder,
)
from gaugelink.cues.phrases import Words, fields, number, phrase, place, spelled
from tui import words as screen

LEFT = Station("crossed", 53, -0.5)


@pytest.mark.parametrize(
    ("value", "said"),
    [
        ("0", "zero"),
        ("-0.04", "zero"),
        ("0.5", "a half"),
        ("-0.5", "minus a half"),
        ("0.3", "zero point three"),
        ("1", "one"),
        ("13", "thirteen"),
        ("20", "twenty"),
        ("43", "forty-three"),
        ("43.0", "forty-three"),
        ("43.5", "forty-three and a half"),
        ("43.3", "forty-three point three"),
        ("43.26", "forty-three point three"),
        ("43.04", "forty-three"),
        ("99.96", "one hundred"),
        ("100", "one hundred"),
        ("101.5", "one hundred and one and a half"),
        ("117", "one hundred and seventeen"),
        ("199.9", "one hundred and ninety-nine point nine"),
        ("340", "three hundred and forty"),
        ("1270.2", "1270 point two"),
        ("-12.1", "minus twelve point one"),
        ("4E+1", "forty"),
    ],
)
def test_a_number_as_it_is_said(value: str, said: str) -> None:
    assert number(Decimal(value)) == said


ONES = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
TEENS = {"ten": 10, "eleven": 11, "twelve": 12, "thirteen": 13, "fifteen": 15, "eighteen": 18}
TENS = {"twenty": 20, "thirty": 30, "forty": 40, "fifty": 50, "eighty": 80}


def heard(said: str) -> Decimal:
    """The number that somebody who hears it would write down."""
    sign = -1 if said.startswith("minus ") else 1
    said = said.removeprefix("minus ")
    if said == "a half":
        return sign * Decimal("0.5")
    half = said.endswith(" and a half")
    said, _, rest = said.removesuffix(" and a half").partition(" point ")
    total = Decimal(0)
    for word in said.replace("-", " ").split():
        if word == "hundred":
            total *= 100
        elif word in ONES:
            total += ONES.index(word)
        elif word in TEENS:
            total += TEENS[word]
        elif word.endswith("teen"):
            total += 10 + ONES.index(word.removesuffix("teen"))
        elif word in TENS:
            total += TENS[word]
        elif word.endswith("ty"):
            total += 10 * ONES.index(word.removesuffix("ty"))
        else:
            assert word == "and"
    digits = "".join(str(ONES.index(word)) for word in rest.split())
    return sign * (total + Decimal(f"0.{digits or 0}") + (Decimal("0.5") if half else 0))


@given(st.decimals(-999, 999, places=2))
def test_whoever_hears_a_number_writes_down_what_the_screen_shows(value: Decimal) -> None:
    assert heard(number(value)) == Decimal(screen.number(value))
    assert heard(spelled(value)) == value


@pytest.mark.parametrize(
    ("across", "title", "said"),
    [
        (-0.5, "windows", "left window"),
        (0.5, "windows", "right window"),
        (-0.5, "tip sides", "left tip side"),
        (0.85, "corners", "right corner"),
        (0.4, "heart", "right heart"),
        (-0.5, "cross", "left cross"),
        (-0.5, "", "left"),
        (0.0, "spine", "spine"),
        (0.0, "middle of the tip", "middle of the tip"),
        (-0.5, "middle of the slope", "middle of the slope, left"),
        (0.0, "top of the slope", "top of the slope, middle"),
        (0.0, "blank", "middle blank"),
        (0.0, "", "middle"),
    ],
)
def test_side_and_zone_as_one_says_them(across: float, title: str, said: str) -> None:
    assert place(Station("crossed", 53, across), title) == said


@pytest.mark.parametrize(
    ("cue", "said"),
    [
        (
            Captured(LEFT, "windows", Decimal(43), Verdict("take", 3)),
            "crossed, left window, forty-three, take three",
        ),
        (
            Captured(Station("uncrossed", 58), "spine", Decimal("40.5"), LEAVE),
            "uncrossed, spine, forty and a half, leave",
        ),
        (
            Captured(LEFT.mirrored(), "heart", Decimal(38), Verdict("over", 2)),
            "crossed, right heart, thirty-eight, over two",
        ),
        (
            Refused("not settled yet: hold still and press again"),
            "not taken, not settled yet: hold still and press again",
        ),
        (Refused("this is the first station", capture=False), "this is the first station"),
        (OnTarget("windows"), "windows on target, leave it"),
        (
            NextStation(Station("uncrossed", 66.5, 0.5), "blend"),
            "next, uncrossed, right blend, sixty-six and a half",
        ),
        (LinkLost("gauge2"), "gauge2, link down"),
        (LinkBack("gauge2"), "gauge2, link up again"),
        (SoakReminder("R07", 25), "soak R07 again, it is twenty-five minutes out of the water"),
    ],
)
def test_every_kind_of_cue_in_its_own_words(cue: Cue, said: str) -> None:
    assert phrase(cue, Words()) == said


def test_ones_own_wording_with_every_field() -> None:
    wording = "{blade}|{side}|{zone}|{place}|{height}|{station}|{value}|{verdict}|{amount}"
    cue = Captured(Station("crossed", 53.25, -0.5), "windows", Decimal(43), Verdict("take", 3))
    assert phrase(cue, Words(take=wording)) == (
        "crossed|left|windows|left window|fifty-three point two five|"
        "crossed, left, fifty-three point two five|forty-three|take three|three"
    )


def test_an_empty_field_leaves_no_mark_behind() -> None:
    cue = Refused("", capture=False)
    assert phrase(cue, Words(refused="{lead}, {text}; · {lead}:")) == ""
    assert phrase(cue, Words(refused="so ,{lead},  {text} ; it is")) == "so, it is"


def test_the_words_are_those_of_the_screen() -> None:
    for verdict in (Verdict("take", 12), LEAVE, Verdict("over", 1)):
        said, shown = phrases.verdict(verdict).split(), str(verdict).split()
        assert said[0] == shown[0]
        assert [heard(each) for each in said[1:]] == [Decimal(each) for each in shown[1:]]
    blade, side, height = screen.place(LEFT.key).split(", ")
    said = fields(NextStation(LEFT, "windows"))["station"].split(", ")
    assert said[:2] == [blade, side]
    assert heard(said[2]) == Decimal(height)


def test_of_every_kind_there_is_an_example_and_a_wording() -> None:
    assert tuple(EXAMPLES) == KINDS == Words.__struct_fields__
    assert [cue.kind for cue in EXAMPLES.values()] == list(KINDS)


@pytest.mark.parametrize("shipped", style.styles().values(), ids=lambda each: each.name)
def test_no_two_places_of_a_shipped_walk_are_announced_alike(shipped: style.Style) -> None:
    for stage in shipped.stages:
        said = [
            phrase(NextStation(stop.station, shipped.zone(stop.zone).title), Words())
            for stop in shipped.stops(stage.name)
        ]
        assert len(set(said)) == len(said)
        assert all(len(each.split()) <= 12 for each in said)
