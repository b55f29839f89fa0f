"""One writer at a time, told who the other is; and never kept out by one that is dead."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from gaugelink.store.errors import StoreError
from tests.store import kill
from tests.store.sample import begin_walk, capture, files_in, open_store


def test_a_second_writer_is_told_who_the_first_is_until_that_is_killed(tmp_path: Path) -> None:
    process = kill.start(tmp_path / "s.db")
    try:
        assert process.stdout is not None
        assert process.stdout.readline() == "open\n"
        with pytest.raises(StoreError) as refused:
            open_store(tmp_path / "s.db")
    finally:
        kill.killed(process)
    assert str(refused.value) == (
        f"{tmp_path / 's.db'} is in use by process {process.pid}: "
        "join it at /run/invented.sock, or end it and try again"
    )
    with open_store(tmp_path / "s.db") as store:
        store.add_capture(capture(begin_walk(store)), b"{}")


def test_a_writer_in_the_same_process_is_refused_too(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db"):
        for path in (tmp_path / "s.db", tmp_path / "x" / ".." / "s.db"):
            with pytest.raises(StoreError, match=f"in use by process {os.getpid()}: end it"):
                open_store(path)
    with open_store(tmp_path / "s.db") as store:
        store.close()
        with open_store(tmp_path / "s.db") as other:
            other.add_reed("amber 1", "long")


def test_another_way_to_the_same_file_is_refused_too(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db"):
        (tmp_path / "link.db").symlink_to(tmp_path / "s.db")
        with pytest.raises(StoreError, match="in use by process"):
            open_store(tmp_path / "link.db")


@pytest.mark.parametrize("said", [None, b"", b'{"pid": "x"}', b"\xff\x00"])
def test_a_holder_that_did_not_say_who_it_is_is_another_process(
    tmp_path: Path, said: bytes | None
) -> None:
    with open_store(tmp_path / "s.db"):
        holder = tmp_path / "s.db.holder"
        if said is None:
            holder.unlink()
        else:
            holder.write_bytes(said)
        with pytest.raises(StoreError, match="in use by another process: end it"):
            open_store(tmp_path / "s.db")


def test_what_a_dead_holder_said_keeps_nobody_out(tmp_path: Path) -> None:
    (tmp_path / "s.db.holder").write_text('{"pid": 1}')
    with open_store(tmp_path / "s.db"):
        said = (tmp_path / "s.db.holder").read_text()
        assert f'"pid":{os.getpid()}' in said
    assert files_in(tmp_path) == {"s.db", "s.db.lock"}


def test_a_store_that_could_not_be_opened_lets_the_next_in(tmp_path: Path) -> None:
    (tmp_path / "s.db").write_text("Notes on cane. " * 100)
    with pytest.raises(StoreError, match="is not a gaugelink store"):
        open_store(tmp_path / "s.db")
    (tmp_path / "s.db").unlink()
    open_store(tmp_path / "s.db").close()


def test_a_lock_that_cannot_be_had_is_not_done_without(own_place: Path) -> None:
    (own_place / "s.db.lock").touch(mode=0o400)
    with pytest.raises(StoreError, match=r"s\.db\.lock is write-protected"):
        open_store(own_place / "s.db")


def test_stores_in_two_folders_do_not_get_in_each_others_way(tmp_path: Path) -> None:
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
    with open_store(tmp_path / "a" / "s.db"), open_store(tmp_path / "b" / "s.db") as store:
        store.add_reed("amber 1", "long")
    shutil.rmtree(tmp_path / "a")
