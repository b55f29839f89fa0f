"""What the bench knows after each event."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import msgspec

from gaugelink.craft.reed import Station
from gaugelink.craft.verdict import Verdict
from gaugelink.daemon.messages import Refused, ZoneAlert
from tui import scene
from tui.state import BenchState, gone, rings, see

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


def test_a_lost_link_takes_the_reading_away_and_rings_once() -> None:
    state = see(see(HERE, scene.gauge()), scene.reading("43", "settled", 0.5))
    down = scene.gauge("down", "unplugged", 2.0)
    after = see(state, down)
    assert after.reading is None
    assert not after.linked
    assert rings(state, down, after)
    assert not rings(after, down, see(after, down))


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
    assert not rings(state, alert, state)


def test_a_refusal_rings_and_stands_until_the_walk_moves() -> None:
    state = see(HERE, scene.walk(0))
    refused = see(state, REFUSED)
    assert rings(state, REFUSED, refused)
    assert refused.notice is not None
    assert refused.notice.text == REFUSED.text
    assert see(refused, scene.walk(0)).notice == refused.notice
    assert see(refused, scene.walk(1)).notice is None


def test_nothing_left_at_a_complete_stage_is_no_refusal() -> None:
    state = see(HERE, scene.walk(34, offsets=(0,)))
    done = Refused("bench", "done", "nothing is left to take at this stage")
    after = see(state, done)
    assert after.notice is None
    assert not rings(state, done, after)


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
