"""A full, failing, locked or protected disk: refused aloud, nothing half-written, then resumed."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from gaugelink.store import connection as files
from gaugelink.store.errors import StoreError
from gaugelink.store.records import CaptureRecord
from gaugelink.store.store import Store
from tests.store.kill import ROOT
from tests.store.sample import begin_walk, capture, open_store


def allow_pages(store: Store, pages: int) -> None:
    """Let the store's file grow to that many pages."""
    store._connection.execute(f"PRAGMA max_page_count = {pages:d}")


def test_a_full_disk_refuses_the_capture_and_takes_it_once_there_is_space(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        walk = begin_walk(store, state=b"0")
        (pages,) = store._connection.execute("PRAGMA page_count").fetchone()
        allow_pages(store, pages + 10)
        acknowledged: list[CaptureRecord] = []
        with pytest.raises(StoreError) as full:  # noqa: PT012 (the last of many is refused)
            while True:
                new = capture(walk, station=f"crossed/{len(acknowledged)}/+0")
                acknowledged.append(store.add_capture(new, b"%d" % len(acknowledged)))
        assert str(full.value) == (
            "the disk is full: nothing was saved; free some space and press again"
        )
        assert acknowledged
        assert store.captures() == acknowledged
        found = store.latest_walk("bench")
        assert found is not None
        assert found.state == b"%d" % (len(acknowledged) - 1)
        with pytest.raises(StoreError, match="free some space and try again"):
            store.add_reed("amber 2" * 1000, "long" * 10_000)
        allow_pages(store, 2**30)
        acknowledged.append(store.add_capture(capture(walk, station="after"), b"{}"))
    with open_store(tmp_path / "s.db") as store:
        assert store.captures() == acknowledged


def test_a_disk_that_refuses_a_write_half_way_leaves_no_half_capture(tmp_path: Path) -> None:
    path = tmp_path / "s.db"
    done = subprocess.run(
        [sys.executable, "-m", "tests.store.limited", str(path), "200000"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    refused, kept, again = map(json.loads, done.stdout.splitlines())
    acknowledged = refused["acknowledged"]
    assert refused["text"] == (
        f"the disk did not read or write {path}: "
        "nothing was saved; check its free space and its health, and press again"
    )
    assert acknowledged
    assert kept == {"kept": acknowledged, "state": str(len(acknowledged))}
    assert again == {"kept": [*acknowledged, len(acknowledged) + 1], "state": "-1"}
    with open_store(path) as store:
        assert [each.capture for each in store.captures()] == again["kept"]


def test_a_program_that_is_writing_to_the_file_is_named_as_the_reason(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(files, "PATIENCE", 0.01)
    with open_store(tmp_path / "s.db") as store:
        walk = begin_walk(store)
        with closing(sqlite3.connect(tmp_path / "s.db", isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            with pytest.raises(StoreError, match=r"is using .*: nothing was saved; close it and"):
                store.add_capture(capture(walk), b"{}")
            assert store.counts().captures == 0
        assert store.add_capture(capture(walk), b"{}").capture == 1


def test_a_damaged_store_says_so(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        walk = begin_walk(store)
        for _ in range(40):
            store.add_capture(capture(walk), b"{}")
    whole = (tmp_path / "s.db").read_bytes()
    page = files.PAGE_SIZE
    (tmp_path / "s.db").write_bytes(whole[: 2 * page] + b"\xff" * (len(whole) - 2 * page))
    with (
        pytest.raises(StoreError, match="is damaged: restore the newest backup"),
        open_store(tmp_path / "s.db", read_only=True) as store,
    ):
        store.captures()


def test_a_protected_folder_is_said_to_be_that(own_place: Path) -> None:
    (own_place / "shut").mkdir(mode=0o500)
    with pytest.raises(StoreError, match="folder is there and writable"):
        open_store(own_place / "shut" / "s.db")


def test_a_folder_that_cannot_be_made_is_said_to_be_that(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(StoreError, match=f"{tmp_path}/file/s.db: .*change that and try again"):
        open_store(tmp_path / "file" / "s.db")
