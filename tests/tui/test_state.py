"""What the bench knows after each event."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import msgspec
import pytest

from gaugelink.capture.walk import Why
from gaugelink.craft.reed import Station
from gaugelink.craft.verdict import Verdict
from gaugelink.daemon.messages import (
    Event,
    GaugeGone,
    RawEvent,
    Refused,
    Taught,
    TeachingEvent,
    ZoneAlert,
)
from tui import scene
from tui.gauged import measured_with
from tui.state import (
    BenchState,
    Notice,
    gone,
    hushed,
    scraped,
    see,
    wants_placing,
    why_not_next,
)

HERE = replace(BenchState(gauge=scene.GAUGE), hub="here")
REFUSED = Refused("bench", "moving", "not settled yet: hold still and press again")


def test_the_live_verdict_is_against_the_present_station() -> None:
    state = see(see(HERE, scene.walk(0)), scene.reading("43", "settled", 0.5))
    assert state.stop is not None
    assert (state.stop.station, state.stop.target) == ("crossed/53/-0.5", Decimal(40))
    assert state.verdict == Verdict("take", 3)


def test_a_spindle_in_the_air_and_the_bare_tongue_get_no_verdict() -> None:
    state = see(HERE, scene.walk(0))
    assert see(state, scene.reading("900", "settled", 2)).verdict is None
    assert see(state, scene.reading("0", "settled", 2)).verdict is None


def test_a_lost_link_takes_the_reading_away() -> None:
    state = see(see(HERE, scene.gauge()), scene.reading("43", "settled", 0.5))
    down = scene.gauge("down", "unplugged", 2.0)
    after = see(state, down)
    assert after.reading is None
    assert not after.linked


def test_a_hub_that_went_away_leaves_no_reading_but_the_walk_as_it_was_last_known() -> None:
    state = see(see(HERE, scene.walk(4)), scene.reading("43"))
    after = gone(state, "the connection ended.")
    assert (after.hub, after.reading, after.walk) == ("gone", None, state.walk)


def test_other_benches_and_other_gauges_change_nothing() -> None:
    state = see(HERE, scene.walk(0))
    assert see(state, msgspec.structs.replace(scene.walk(5), bench="window")) is state
    assert see(state, msgspec.structs.replace(scene.reading("43"), gauge="other")) is state
    alert = ZoneAlert("window", "R1", "tip", "tip")
    assert see(state, alert) is state


def test_a_refusal_stands_until_the_walk_moves() -> None:
    state = see(HERE, scene.walk(0))
    refused = see(state, REFUSED)
    assert refused.notice is not None
    assert refused.notice.text == f"NOT TAKEN · {REFUSED.text}"
    assert see(refused, scene.walk(0)).notice == refused.notice
    assert see(refused, scene.walk(1)).notice is None


@pytest.mark.parametrize("why", ["nowhere", "paused", "done"])
def test_a_refused_move_is_not_said_to_be_a_reading_not_taken(why: Why) -> None:
    state = see(HERE, scene.walk(0))
    refused = Refused("bench", why, "this is the first station")
    after = see(state, refused)
    assert after.notice == Notice("refused", "this is the first station")


def test_a_bounce_is_said_beside_the_capture() -> None:
    walk = scene.walk(1)
    state = see(see(HERE, walk), scene.captured(walk, 0))
    bounce = Refused("bench", "too soon", "second press: not taken")
    after = see(state, bounce)
    assert after.notice == Notice(
        "captured", "43, take 3 · crossed, left, 53", "second press: not taken"
    )
    assert see(after, bounce).notice == after.notice


def test_how_sure_a_verdict_is_stands_beside_it() -> None:
    walk = scene.walk(1)
    unsure = "can't tell yet: measure twice more"
    capture = msgspec.structs.replace(scene.captured(walk, 0, supersedes=1), sure=unsure)
    notice = see(see(HERE, walk), capture).notice
    assert notice is not None
    assert notice.aside == f"{unsure} · takes the place of the last"


def test_a_bounce_alone_is_said_plainly() -> None:
    state = see(HERE, scene.walk(4))
    after = see(state, Refused("bench", "too soon", "second press: gone one station only"))
    assert after.notice == Notice("plain", "", "second press: gone one station only")


def test_what_was_captured_is_no_verdict_on_the_next_station() -> None:
    walk = scene.walk(1)
    capture = scene.captured(walk, 0)
    at = capture.at
    state = see(see(HERE, walk), capture)

    def stood(since: float, until: float) -> BenchState:
        event = scene.reading("43", "settled", until - since)
        return see(state, msgspec.structs.replace(event, at=at + until))

    still_there = stood(since=-0.5, until=0.3)
    assert still_there.spent
    assert still_there.verdict is None
    anew = stood(since=0.6, until=1.1)
    assert not anew.spent
    assert anew.verdict == Verdict("take", 3)
    again = see(still_there, scene.walk(0))
    assert not again.spent, "back at the station that it was captured at"


def test_a_pushed_reading_is_never_late_and_is_spent_by_its_capture() -> None:
    walk = scene.walk(1)
    pushed = scene.reading("43", "settled", pushed=True)
    state = see(see(HERE, walk), pushed)
    assert hushed(state) is state
    assert hushed(see(state, scene.reading("43"))).quiet
    capture = msgspec.structs.replace(scene.captured(walk, 0), at=pushed.at)
    assert see(state, capture).spent
    again = scene.reading("42", "settled", seq=2, pushed=True)
    assert not see(see(state, capture), again).spent


def test_strokes_at_one_station_add_up_until_the_walk_goes_on() -> None:
    walk = scene.walk(0)
    state = see(HERE, walk)
    state = scraped(scraped(state, walk.stops[0], 1), walk.stops[0], 5)
    assert state.scraped is not None
    assert state.scraped.said == "6 strokes · windows, crossed side, left"
    one = scraped(state, walk.stops[1], 1).scraped
    assert one is not None
    assert one.said == "1 stroke · windows, crossed side, right"
    assert see(state, scene.walk(1)).scraped is None
    assert see(state, scene.captured(scene.walk(1), 0)).scraped is None


@pytest.mark.parametrize(
    ("why", "lifted", "wanted"),
    [
        ("same contact", False, True),
        ("not cane", False, True),
        ("moving", False, False),
        ("moving", True, True),
        ("too soon", True, False),
        ("done", True, False),
    ],
)
def test_practice_sets_the_spindle_down_when_that_is_what_a_capture_lacks(
    why: Why, lifted: bool, wanted: bool
) -> None:
    state = see(HERE, scene.walk(0))
    assert wants_placing(Refused("bench", why, "no"), state, lifted) == wanted
    assert not wants_placing(Refused("window", why, "no"), state, lifted)


def test_an_alert_ends_with_its_pass() -> None:
    state = see(HERE, scene.walk(34))
    state = see(state, ZoneAlert("bench", scene.REED, "corners", "corners"))
    assert see(state, scene.walk(34)).alert == "corners"
    assert see(state, scene.walk(34, in_pass=2)).alert == ""


def test_why_no_stage_can_follow() -> None:
    assert why_not_next(scene.walk(34)) is None
    early, last = why_not_next(scene.walk(4)), why_not_next(scene.walk(99, stage="finish"))
    assert early == Notice("trouble", "this pass is not done yet: 4 of 34")
    assert last == Notice("plain", "this was the last stage: nothing follows it")


def test_nothing_left_at_a_complete_stage_is_no_refusal() -> None:
    state = see(HERE, scene.walk(34, offsets=(0,)))
    done = Refused("bench", "done", "nothing is left to take at this stage")
    after = see(state, done)
    assert after.notice is None
    assert see(see(state, REFUSED), done).notice is None
    told = replace(state, notice=Notice("plain", "this was the last stage: nothing follows it"))
    assert see(told, done) == told


def test_readings_left_out_are_counted() -> None:
    state = see(HERE, msgspec.structs.replace(scene.reading("43"), missed=3))
    assert see(state, msgspec.structs.replace(scene.reading("44"), missed=2)).missed == 5


def test_another_stage_begins_with_a_clean_slate() -> None:
    walk = scene.walk(3)
    state = see(see(HERE, walk), scene.captured(walk, 2))
    assert len(state.captures) == 1
    assert see(state, scene.walk(0, stage="finish")).captures == ()


def test_odd_walks_are_survived() -> None:
    empty = msgspec.structs.replace(scene.walk(0), stops=[], zones=[], at_stop=5, next_stop=9)
    state = see(HERE, empty)
    assert (state.stop, state.next_stop, state.station, state.verdict) == (None, None, None, None)
    strange = msgspec.structs.replace(scene.walk(0).stops[0], station="nowhere")
    state = see(HERE, msgspec.structs.replace(empty, stops=[strange], at_stop=0))
    assert state.station is None
    assert state.at(Station("crossed", 53)) is None


def test_a_gauge_that_goes_by_another_name_is_still_the_benchs_own() -> None:
    other = msgspec.structs.replace(scene.gauge(), name="window")
    before = see(see(see(HERE, scene.gauge()), other), scene.reading("43", "settled", 0.5))
    for state in (before, see(before, scene.walk(3))):
        gone = GaugeGone(scene.GAUGE, renamed="big")
        after = see(state, gone)
        assert (after.gauge, after.in_use) == ("big", "big")
        assert list(after.gauges) == ["big", "window"], "it keeps its place"
        assert after.link == msgspec.structs.replace(scene.gauge(), name="big")
        assert after.reading is not None
        assert (after.reading.gauge, after.live) == ("big", state.live)
        assert after.linked


def test_the_new_name_may_be_heard_before_the_old_one_is_gone() -> None:
    renamed = msgspec.structs.replace(scene.gauge(status="battery low"), name="big")
    state = see(see(see(HERE, scene.gauge()), renamed), GaugeGone(scene.GAUGE, renamed="big"))
    assert state.gauges == {"big": renamed}
    again = see(state, GaugeGone(scene.GAUGE, renamed="big"))
    assert again.gauges == {"big": renamed}


def test_a_gauge_let_go_of_leaves_no_reading() -> None:
    state = see(see(HERE, scene.gauge()), scene.reading("43", "settled", 0.5))
    gone_now = GaugeGone(scene.GAUGE)
    after = see(state, gone_now)
    assert (after.reading, after.link, after.without, after.linked) == (None, None, True, False)
    assert see(after, scene.gauge()).linked
    assert not gone(after, "the connection ended.").without
    named_anew = see(after, GaugeGone("window", renamed=scene.GAUGE))
    assert not named_anew.without


def test_another_gauge_let_go_of_changes_nothing_here() -> None:
    state = see(see(HERE, scene.gauge()), scene.reading("43", "settled", 0.5))
    after = see(state, GaugeGone("window"))
    assert after.linked
    assert after.reading == state.reading


@pytest.mark.parametrize(
    "event",
    [
        RawEvent(scene.GAUGE, 1.0, "2b"),
        TeachingEvent(scene.GAUGE, "move the spindle slowly up and down"),
        Taught(scene.GAUGE, failed="nothing came"),
    ],
)
def test_what_only_the_page_of_the_gauges_is_told_changes_nothing(event: Event) -> None:
    state = see(HERE, scene.gauge())
    assert see(state, event) is state


def test_another_gauge_takes_the_reading_with_it_unless_a_walk_goes_on() -> None:
    state = see(see(HERE, scene.gauge()), scene.reading("43", "settled", 0.5))
    assert measured_with(state, scene.GAUGE).reading is not None
    other = measured_with(state, "window")
    assert (other.in_use, other.reading) == ("window", None)
    walking = measured_with(see(state, scene.walk(0)), "window")
    assert (walking.gauge, walking.in_use, walking.reading) == (
        "window",
        scene.GAUGE,
        state.reading,
    )
