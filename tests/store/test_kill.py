"""A process that is killed while it captures loses nothing that it had acknowledged."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.store import kill
from tests.store.sample import begin_walk, capture, files_in, open_store

TIMES = 10


def test_what_was_acknowledged_is_there_once_after_each_kill(tmp_path: Path) -> None:
    outcome = kill.run(TIMES, seed=20310504, folder=tmp_path)
    assert outcome.acknowledged > TIMES
    assert 0 <= outcome.unacknowledged <= TIMES


def test_the_check_would_notice_a_capture_that_is_missing(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        number = store.add_capture(capture(begin_walk(store)), b"1").capture
    assert kill.check(tmp_path / "s.db", [number]) == 1
    with pytest.raises(AssertionError, match=r"not there once: \[2\]"):
        kill.check(tmp_path / "s.db", [number, number + 1])


def test_what_a_killed_writer_left_can_be_read_without_creating_a_file(tmp_path: Path) -> None:
    process = kill.start(tmp_path / "s.db")
    assert process.stdout is not None
    while (line := process.stdout.readline()) != "7\n":
        assert line
    kill.killed(process)
    before = files_in(tmp_path)
    assert "s.db-wal" in before
    for _ in range(2):
        with open_store(tmp_path / "s.db", read_only=True) as reader:
            assert reader.counts().captures >= 7
        assert files_in(tmp_path) == before
