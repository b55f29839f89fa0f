"""Reeds, walks, gauges and sessions are kept and found again."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest

from gaugelink.store.errors import StoreError, UnknownReed
from gaugelink.store.records import OFF_THE_RACK, STATES, Counts
from gaugelink.store.store import utc_text
from tests.store.sample import NOON, Clock, begin_walk, capture, open_store


def test_a_reed_is_kept_with_when_it_was_added(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        added = store.add_reed("amber 1", "long", batch="amber", note="dense cane")
    with open_store(tmp_path / "s.db") as store:
        assert store.reed("amber 1") == added
        assert store.reeds() == [added]
    assert added.state == "blank"
    assert added.stage == ""
    assert added.captures == 0
    assert added.added_at == added.changed_at == "2031-05-04T12:00:00.000000Z"


@pytest.mark.parametrize("name", ["a,b", 'the "good" one', "two\nlines", " é ", "x\0y", "'; --"])
def test_any_name_is_kept_as_it_is(tmp_path: Path, name: str) -> None:
    with open_store(tmp_path / "s.db") as store:
        store.add_reed(name, "long")
        assert store.reed(name).name == name


def test_a_taken_an_empty_and_a_broken_name_are_refused(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        store.add_reed("amber 1", "long")
        with pytest.raises(StoreError, match="called 'amber 1' already"):
            store.add_reed("amber 1", "short")
        with pytest.raises(StoreError, match="needs a name"):
            store.add_reed("  ", "long")
        with pytest.raises(StoreError, match="is no text: nothing was saved"):
            store.add_reed("\udcff", "long")
        assert [reed.style for reed in store.reeds()] == ["long"]


def test_every_state_can_be_taken_and_the_history_tells_of_each(tmp_path: Path) -> None:
    clock = Clock()
    with open_store(tmp_path / "s.db", clock) as store:
        store.add_reed("amber 1", "long")
        for state in STATES[1:]:
            clock.seconds += 60
            assert store.update_reed("amber 1", state=state).state == state
        reed = store.update_reed("amber 1", note="sings")
        changes = store.changes("amber 1")
    assert [change.state for change in changes] == [*STATES, STATES[-1]]
    assert [change.at for change in changes[:2]] == [
        "2031-05-04T12:00:00.000000Z",
        "2031-05-04T12:01:00.000000Z",
    ]
    assert [change.note for change in changes[-2:]] == ["", "sings"]
    assert (reed.state, reed.note) == (STATES[-1], "sings")


def test_an_unknown_state_or_reed_changes_nothing(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        before = store.add_reed("amber 1", "long")
        with pytest.raises(StoreError, match=r"'burnt' is no state.*use one of blank, first day"):
            store.update_reed("amber 1", state="burnt")
        with pytest.raises(UnknownReed, match="no reed is called 'amber 2'"):
            store.update_reed("amber 2", state="resting")
        for ask in (store.reed, store.changes, store.captures):
            with pytest.raises(UnknownReed):
                ask("amber 2")
        assert store.reed("amber 1") == before


def test_the_rack_leaves_out_what_nobody_works_on(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        for state in STATES:
            store.add_reed(state, "long")
            store.update_reed(state, state=state)
        on_the_rack = [reed.name for reed in store.reeds()]
        everything = [reed.name for reed in store.reeds(all=True)]
    assert on_the_rack == [state for state in STATES if state not in OFF_THE_RACK]
    assert everything == list(STATES)


def test_an_unfinished_walk_is_found_as_it_was_saved_last(tmp_path: Path) -> None:
    clock = Clock()
    with open_store(tmp_path / "s.db", clock) as store:
        walk = begin_walk(store, state=b'{"place": 0}')
        clock.seconds += 5
        store.save_walk(walk, b'{"place": 3}')
    with open_store(tmp_path / "s.db") as store:
        found = store.unfinished_walk("amber 1", "long", "windows")
        assert found is not None
        assert (found.walk, found.state, found.ended_at) == (walk, b'{"place": 3}', None)
        assert found.started_at == "2031-05-04T12:00:00.000000Z"
        assert found.changed_at == "2031-05-04T12:00:05.000000Z"
        assert store.unfinished_walk("x", "long", "windows") is None
        assert store.unfinished_walk("amber 1", "long", "tip") is None
        assert store.unfinished_walk("amber 1", "short", "windows") is None


@pytest.mark.parametrize("length", [2, 4095, 4096, 4097, 100_000])
def test_a_state_of_any_length_comes_back_the_same(tmp_path: Path, length: int) -> None:
    state = b'"' + b"x" * (length - 2) + b'"'
    with open_store(tmp_path / "s.db") as store:
        walk = begin_walk(store, state=state)
        found = store.latest_walk("bench")
        assert found is not None
        assert found.state == state
        store.add_capture(capture(walk), state[:1] + b" " + state[1:])
        found = store.latest_walk("bench")
        assert found is not None
        assert found.state == state[:1] + b" " + state[1:]


def test_a_walk_that_has_ended_is_unfinished_again_when_it_goes_on(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        walk = begin_walk(store)
        store.save_walk(walk, b"{}", ended=True)
        assert store.unfinished_walk("amber 1", "long", "windows") is None
        latest = store.latest_walk("bench")
        assert latest is not None
        assert latest.ended_at == "2031-05-04T12:00:00.000000Z"
        store.resume_walk(walk, gauge="right", trigger="dwell")
        found = store.unfinished_walk("amber 1", "long", "windows")
        assert found is not None
        assert (found.walk, found.gauge, found.trigger) == (walk, "right", "dwell")


def test_beginning_anew_ends_the_walk_left_unfinished_but_no_other(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        begin_walk(store)
        kept = begin_walk(store, stage="tip")
        anew = begin_walk(store)
        store.save_walk(anew, b"{}", ended=True)
        assert store.unfinished_walk("amber 1", "long", "windows") is None
        found = store.unfinished_walk("amber 1", "long", "tip")
        assert found is not None
        assert found.walk == kept


def test_the_latest_walk_of_a_bench_is_the_one_last_gone_on_with(tmp_path: Path) -> None:
    clock = Clock()
    with open_store(tmp_path / "s.db", clock) as store:
        first = begin_walk(store)
        clock.seconds += 1
        begin_walk(store, stage="tip")
        elsewhere = begin_walk(store, bench="window seat")
        clock.seconds += 1
        store.add_capture(capture(first, at=clock.seconds), b"{}")
        for bench, walk in [("bench", first), ("window seat", elsewhere)]:
            found = store.latest_walk(bench)
            assert found is not None
            assert found.walk == walk
        assert store.latest_walk("attic") is None


def test_a_walk_needs_its_reed_and_a_change_its_walk(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        with pytest.raises(UnknownReed):
            store.start_walk(
                bench="bench",
                reed="amber 1",
                style="long",
                stage="windows",
                gauge="left",
                trigger="press",
                state=b"{}",
            )
        with pytest.raises(StoreError, match="there is no walk 7: begin one"):
            store.save_walk(7, b"{}")
        with pytest.raises(StoreError, match="there is no walk 7"):
            store.resume_walk(7, gauge="left", trigger="press")
        assert store.counts() == Counts(reeds=0, walks=0, captures=0)


def test_a_gauge_is_remembered_where_it_was_found_last(tmp_path: Path) -> None:
    clock = Clock()
    with open_store(tmp_path / "s.db", clock) as store:
        store.remember_gauge("left", "/dev/ttyUSB0", "digits-with-unit")
        store.remember_gauge("right", "/dev/ttyUSB1", "digits-with-unit")
        clock.seconds += 1
        store.remember_gauge("left", "/dev/ttyUSB2", "")
        left, right = store.gauges()
    assert (left.name, left.port, left.description) == ("left", "/dev/ttyUSB2", "")
    assert left.last_used == "2031-05-04T12:00:01.000000Z"
    assert right.name == "right"


def test_each_run_of_the_program_is_a_session_that_maps_its_clock_to_utc(tmp_path: Path) -> None:
    clock = Clock()
    for _ in range(2):
        open_store(tmp_path / "s.db", clock).close()
        clock.seconds += 3600
    with open_store(tmp_path / "s.db", clock) as store:
        walk = begin_walk(store)
        clock.seconds += 20
        record = store.add_capture(capture(walk, at=clock.seconds - 0.25), b"{}")
        sessions = store.sessions()
    assert [each.monotonic for each in sessions] == [1000, 4600, 8200]
    assert {each.version for each in sessions} == {"1.2.3"}
    assert record.session == sessions[-1].session
    mapped = datetime.fromisoformat(sessions[-1].started_at) + timedelta(
        seconds=record.at - sessions[-1].monotonic
    )
    assert utc_text(mapped) == record.taken_at == "2031-05-04T14:00:19.750000Z"


def test_a_capture_after_a_night_of_sleep_has_the_right_day(tmp_path: Path) -> None:
    clock = Clock()
    with open_store(tmp_path / "s.db", clock) as store:
        walk = begin_walk(store)
        clock.slept = timedelta(hours=22)
        record = store.add_capture(capture(walk, at=clock.seconds), b"{}")
    assert record.taken_at == "2031-05-05T10:00:00.000000Z"


def test_times_are_written_in_utc_whatever_their_zone() -> None:
    assert utc_text(NOON.astimezone()) == "2031-05-04T12:00:00.000000Z"
    with pytest.raises(ValueError, match="does not say its offset"):
        utc_text(NOON.replace(tzinfo=None))
