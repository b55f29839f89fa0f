"""From the hub's events to what is heard of them."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from pathlib import Path
from typing import get_args

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.capture.walk import UNTAKEN, Why
from gaugelink.craft.reed import parse_key
from gaugelink.craft.verdict import LEAVE, Verdict
from gaugelink.cues import cue
from gaugelink.cues.cue import Cue
from gaugelink.cues.phrases import Words, phrase
from gaugelink.cues.queue import CueQueue, begin, offer
from gaugelink.daemon import messages as m
from gaugelink.daemon.cueing import HUB, Hearing, hear, hub_back, hub_lost, measured_with
from tests.daemon.scripted import scene as hub_scene
from tests.daemon.scripted import settle
from tui import scene

ME = Hearing("bench", scene.GAUGE)
LOST, BACK = cue.LinkLost(scene.GAUGE), cue.LinkBack(scene.GAUGE)
ZONE = "windows"


def told(known: Hearing, *events: m.Event) -> tuple[Hearing, list[Cue]]:
    """What is known after these events, and all that was heard of them."""
    cues: list[Cue] = []
    for event in events:
        known, more = hear(known, event)
        cues.extend(more)
    return known, cues


def heard(*events: m.Event, known: Hearing = ME) -> list[Cue]:
    return told(known, *events)[1]


def next_at(walk: m.WalkEvent) -> cue.NextStation:
    """Where the walk goes now."""
    assert walk.at_stop is not None
    stop = walk.stops[walk.at_stop]
    title = next(zone.title for zone in walk.zones if zone.name == stop.zone)
    return cue.NextStation(parse_key(stop.station), title)


def with_zone(walk: m.WalkEvent, verdict: Verdict | None) -> m.WalkEvent:
    """The walk with another verdict on its windows."""
    zones = [
        msgspec.structs.replace(zone, verdict=verdict) if zone.name == ZONE else zone
        for zone in walk.zones
    ]
    return msgspec.structs.replace(walk, zones=zones)


def alert(verdict: Verdict = LEAVE) -> m.ZoneAlert:
    return m.ZoneAlert("bench", scene.REED, ZONE, "the windows", verdict)


def test_a_capture_is_told_with_place_zone_value_and_verdict() -> None:
    walk = scene.walk(1)
    *_, last = heard(scene.walk(0), scene.captured(walk, 0))
    assert last == cue.Captured(
        parse_key("crossed/53/-0.5"), "windows", Decimal(43), Verdict("take", 3)
    )


def test_the_zones_title_is_the_walks_and_its_name_where_there_is_no_walk() -> None:
    walk = scene.walk(1)
    titled = msgspec.structs.replace(
        walk, zones=[msgspec.structs.replace(zone, title=f"<{zone.name}>") for zone in walk.zones]
    )
    capture = scene.captured(walk, 0)
    _, said = heard(titled, capture)
    assert isinstance(said, cue.Captured)
    assert said.zone == f"<{capture.zone}>"
    (alone,) = heard(capture)
    assert isinstance(alone, cue.Captured)
    assert alone.zone == capture.zone


def test_a_move_is_told_once_however_often_the_walk_is() -> None:
    first, second = scene.walk(0), scene.walk(1)
    wet = msgspec.structs.replace(second, still_for=0.7)
    assert heard(first, first, second, wet, second) == [next_at(first), next_at(second)]


def test_a_new_pass_and_a_return_are_moves_and_a_pause_is_none() -> None:
    walk, done = scene.walk(4), msgspec.structs.replace(scene.walk(4), at_stop=None)
    again = msgspec.structs.replace(walk, in_pass=2)
    assert heard(walk, done, walk) == [next_at(walk)] * 2
    assert heard(walk, again) == [next_at(walk)] * 2
    assert heard(walk, msgspec.structs.replace(walk, paused=True), walk) == [next_at(walk)]
    elsewhere = msgspec.structs.replace(scene.walk(5), paused=True)
    assert heard(walk, elsewhere) == [next_at(walk)], "nobody is to go there yet"
    assert heard(walk, elsewhere, scene.walk(5)) == [next_at(walk), next_at(scene.walk(5))]


def test_after_a_watch_it_is_told_where_the_walk_goes_on() -> None:
    walk = scene.walk(4)
    watching = msgspec.structs.replace(walk, watching=ZONE)
    assert heard(walk, watching, watching, walk) == [next_at(walk)] * 2


@pytest.mark.parametrize("alert_first", [False, True])
def test_a_zone_on_target_is_told_once_and_before_the_next_station(alert_first: bool) -> None:
    before, after = with_zone(scene.walk(0), None), with_zone(scene.walk(1), LEAVE)
    follows: list[m.Event] = [alert(), after] if alert_first else [after, alert()]
    _, _, *cues = heard(before, scene.captured(after, 0), *follows)
    assert [each.kind for each in cues] == ["zone", "next"]
    queue = CueQueue()
    for each in cues:
        queue = offer(queue, each, 1.0)
    spoken = []
    while (queue := begin(queue, 1.0)).sounding is not None:
        spoken.append(queue.sounding.kind)
    assert spoken == ["zone", "next"], "neither takes the other's place"


def test_a_zone_comes_on_target_again_after_it_was_not() -> None:
    off, on = with_zone(scene.walk(1), Verdict("take", 2)), with_zone(scene.walk(1), LEAVE)
    capture = scene.captured(on, 0)
    cues = heard(off, capture, on, alert(), capture, off, capture, on, alert())
    assert [each.kind for each in cues].count("zone") == 2


def test_a_zone_that_stays_on_target_is_not_told_again() -> None:
    on = with_zone(scene.walk(1), LEAVE)
    assert [each.kind for each in heard(on, scene.captured(on, 0), on)] == ["next", "take"]


def test_a_walk_that_is_joined_with_zones_on_target_is_not_told_as_news() -> None:
    on = with_zone(scene.walk(1), LEAVE)
    other = with_zone(scene.walk(1, stage="windows"), LEAVE)
    kinds = [each.kind for each in heard(on, scene.captured(on, 0), other)]
    assert kinds == ["next", "take", "next"]


def test_a_watched_zone_is_told_on_target_or_how_far_below() -> None:
    walk = scene.walk(4)
    assert heard(walk, alert())[1:] == [cue.OnTarget("the windows")]
    (below,) = heard(walk, alert(Verdict("over", 2)))[1:]
    assert below.kind == "over"
    assert phrase(below, Words()) == "the windows, over two"


@pytest.mark.parametrize("why", get_args(Why))
def test_a_refusal_is_told_with_what_it_was_meant_to_be(why: Why) -> None:
    cues = heard(m.Refused("bench", why, "hold still"))
    if why == "too soon":
        assert cues == []
    else:
        assert cues == [cue.Refused("hold still", capture=why in UNTAKEN)]


def test_what_was_meant_to_capture() -> None:
    """By hand: a maker who hears `not taken` places the spindle anew."""
    assert {"moving", "stale", "same contact", "not cane", "not saved"} < UNTAKEN
    assert not {"paused", "done", "nowhere", "too soon"} & UNTAKEN


def test_nothing_left_at_a_complete_stage_is_no_refusal() -> None:
    done = m.Refused("bench", "done", "nothing is left to take at this stage")
    assert heard(scene.walk(34, offsets=(0,)), done) == []
    assert heard(scene.walk(34), done) == [cue.Refused(done.text, capture=False)]


def test_a_loss_is_told_once_however_often_it_is_tried_again() -> None:
    down, opening, up = scene.gauge("down", "gone", 1.0), scene.gauge("opening"), scene.gauge()
    assert heard(up, down, opening, down, opening, down) == [LOST]
    assert heard(up, down, opening, up, up, down, up) == [LOST, BACK, LOST, BACK]
    assert heard(opening, up) == []
    assert heard(down) == [LOST], "also when it was never there"


def test_a_gauge_let_go_of_is_lost_until_it_is_up_again() -> None:
    gone = m.GaugeGone(scene.GAUGE)
    assert heard(scene.gauge(), gone, gone, scene.gauge("opening"), scene.gauge()) == [LOST, BACK]


def test_a_gauge_by_another_name_is_the_same_gauge() -> None:
    big = m.GaugeGone(scene.GAUGE, renamed="big")
    named = msgspec.structs.replace(scene.gauge("down", "gone"), name="big")
    up = msgspec.structs.replace(named, link="up")
    assert heard(scene.gauge(), big, up, named) == [cue.LinkLost("big")]
    assert heard(scene.gauge("down", "gone"), big, named, up) == [LOST, cue.LinkBack("big")]
    walk = scene.walk(4)
    assert heard(walk, big, named) == [next_at(walk), cue.LinkLost("big")]


def test_another_gauge_is_heard_once_it_is_the_benchs_own() -> None:
    other = msgspec.structs.replace(scene.gauge("down", "gone"), name="window")
    known, cues = told(ME, other)
    assert cues == []
    known, now = measured_with(known, "window")
    assert now == (cue.LinkLost("window"),)
    known, back = measured_with(known, scene.GAUGE)
    assert back == ()
    walking, _ = told(known, scene.walk(0))
    assert measured_with(walking, "window")[1] == (), "a walk goes on with the one it has"


def test_other_benches_are_not_heard() -> None:
    walk = scene.walk(1)
    events: Iterable[m.AtBench] = (
        walk,
        scene.captured(walk, 0),
        alert(),
        m.Refused("bench", "moving", "hold still"),
        m.SoakReminder("bench", "R1", 20),
    )
    for event in events:
        assert heard(event) != []  # type: ignore[arg-type]
        elsewhere = msgspec.structs.replace(event, bench="window")
        assert told(ME, elsewhere) == (ME, [])  # type: ignore[arg-type]


def test_a_reed_that_has_been_dry_for_long_is_told() -> None:
    assert heard(m.SoakReminder("bench", "R07", 20)) == [cue.SoakReminder("R07", 20)]


def test_the_hubs_own_loss_is_told_once_and_its_walk_anew() -> None:
    walk = scene.walk(4)
    known, _ = told(ME, scene.gauge(), walk)
    known, first = hub_lost(known)
    known, second = hub_lost(known)
    assert (first, second) == ((cue.LinkLost(HUB),), ())
    known, back = hub_back(known)
    assert back == (cue.LinkBack(HUB),)
    assert hub_back(known)[1] == ()
    assert heard(walk, scene.gauge("down", "gone"), known=known) == [next_at(walk), LOST]


def test_stations_that_are_nowhere_are_passed_over() -> None:
    walk = scene.walk(3)
    stops = [msgspec.structs.replace(stop, station="somewhere") for stop in walk.stops]
    odd = msgspec.structs.replace(walk, stops=stops)
    capture = msgspec.structs.replace(scene.captured(walk, 0), station="somewhere")
    assert heard(odd, capture, msgspec.structs.replace(walk, at_stop=99)) == []


LINKS = st.sampled_from(["up", "down", "opening"])
GAUGES = st.builds(
    lambda name, link: msgspec.structs.replace(scene.gauge(link), name=name),
    st.sampled_from([scene.GAUGE, "window"]),
    LINKS,
)
WALKS = st.builds(
    lambda done, gauge: msgspec.structs.replace(scene.walk(done), gauge=gauge),
    st.integers(0, 3),
    st.sampled_from([scene.GAUGE, "window"]),
)
GONE = st.builds(m.GaugeGone, st.sampled_from([scene.GAUGE, "window"]))


@given(st.lists(st.one_of(GAUGES, WALKS, GONE)))
def test_the_last_word_on_the_link_is_always_true(events: list[m.Event]) -> None:
    """Whatever comes: of the gauge in use the newest cue says whether it can be heard."""
    known, last = ME, ""
    links: dict[str, str] = {}
    for event in events:
        before = known.in_use
        if isinstance(event, m.GaugeGone):
            links[event.name] = "down"
        elif isinstance(event, m.GaugeEvent) and event.link != "opening":
            links[event.name] = event.link
        known, cues = hear(known, event)
        if known.in_use != before:
            last = ""
        for each in cues:
            if each.kind in ("lost", "back"):
                assert each in (cue.LinkLost(known.in_use), cue.LinkBack(known.in_use))
                assert each.kind != last, "never twice"
                last = each.kind
        down = links.get(known.in_use) == "down"
        assert (last == "lost") == down


@given(st.lists(WALKS))
def test_next_is_told_exactly_when_the_station_is_another(walks: list[m.WalkEvent]) -> None:
    stations = [walk.stops[walk.at_stop].station for walk in walks if walk.at_stop is not None]
    moves = [new for old, new in zip([None, *stations], stations, strict=False) if old != new]
    cues = [each for each in heard(*walks) if isinstance(each, cue.NextStation)]
    assert [each.station.key for each in cues] == moves


async def test_a_walk_on_a_hub_is_heard_in_its_order(tmp_path: Path) -> None:
    async with hub_scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        walk = await bench.walk()
        for index in range(len(walk.stops)):
            await bench.place(40 + index % 2)
            assert isinstance(await bench.press(), m.Captured)
        assert isinstance(await bench.press(), m.Refused)
        bench.link.lose()
        await settle()
        events = list(bench.events)
    kinds = [each.kind for each in heard(*events, known=Hearing("bench", "g"))]
    steps = ["leave", "next"] * (len(walk.stops) - 1)
    assert kinds == ["next", *steps, "leave", "zone", "lost"]
