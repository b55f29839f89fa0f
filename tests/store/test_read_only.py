"""Reading beside a writer and without one, never leaving anything behind."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from gaugelink.store.errors import StoreError
from gaugelink.store.store import Store
from tests.store.sample import begin_walk, capture, files_in, open_store


def test_a_reader_beside_a_writer_sees_each_capture_at_once(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        walk = begin_walk(store)
        before = files_in(tmp_path)
        with open_store(tmp_path / "s.db", read_only=True) as reader:
            for count in (1, 2):
                store.add_capture(capture(walk), b"{}")
                assert reader.counts().captures == count
            assert reader.captures() == store.captures()
            assert files_in(tmp_path) == before
        # The reader's leaving has not let a second writer in, nor hurt the first.
        with pytest.raises(StoreError, match="in use"):
            open_store(tmp_path / "s.db")
        store.add_capture(capture(walk), b"{}")


def test_without_a_writer_nothing_is_created(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        store.add_capture(capture(begin_walk(store)), b"{}")
    assert files_in(tmp_path) == {"s.db", "s.db.lock"}
    with Store.open(tmp_path / "s.db", read_only=True) as reader:
        assert reader.counts().captures == 1
        assert reader.session is None
        assert files_in(tmp_path) == {"s.db", "s.db.lock"}
    assert files_in(tmp_path) == {"s.db", "s.db.lock"}


def test_a_writer_that_leaves_while_somebody_reads_leaves_the_reader_in_peace(
    tmp_path: Path,
) -> None:
    store = open_store(tmp_path / "s.db")
    walk = begin_walk(store)
    store.add_capture(capture(walk), b"{}")
    with open_store(tmp_path / "s.db", read_only=True) as reader:
        assert reader.counts().captures == 1
        store.close()
        assert reader.counts().captures == 1
        with open_store(tmp_path / "s.db") as store:
            store.add_capture(capture(walk), b"{}")
            assert reader.counts().captures == 2


def test_a_lone_copy_of_a_store_in_use_can_be_read(tmp_path: Path) -> None:
    (tmp_path / "copy").mkdir()
    with open_store(tmp_path / "s.db") as store:
        walk = begin_walk(store)
        store.add_capture(capture(walk), b"{}")
        begin_walk(store)  # this brings the capture from the WAL into the file itself
        shutil.copy(tmp_path / "s.db", tmp_path / "copy" / "s.db")
    with open_store(tmp_path / "copy" / "s.db", read_only=True) as reader:
        assert reader.counts().captures == 1
        assert files_in(tmp_path / "copy") == {"s.db"}


def test_a_reader_cannot_write(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        walk = begin_walk(store)
    with open_store(tmp_path / "s.db", read_only=True) as reader:
        with pytest.raises(StoreError, match="open for reading only"):
            reader.add_reed("amber 2", "long")
        with pytest.raises(StoreError, match="open for reading only"):
            reader.add_capture(capture(walk), b"{}")
        with pytest.raises(StoreError, match="open for reading only"):
            begin_walk(reader)


def test_no_store_an_empty_file_and_a_folder_are_said_to_be_that(tmp_path: Path) -> None:
    for path in (tmp_path / "no.db", tmp_path / "no" / "no.db", tmp_path):
        with pytest.raises(StoreError, match=r"there is no store at .* yet"):
            open_store(path, read_only=True)
    (tmp_path / "empty.db").touch()
    with pytest.raises(StoreError, match=r"nothing is in .* yet"):
        open_store(tmp_path / "empty.db", read_only=True)
    assert files_in(tmp_path) == {"empty.db"}


@pytest.mark.parametrize("name", ["a?b#c.db", "50% é.db", "a b.db"])
def test_any_file_name_will_do(tmp_path: Path, name: str) -> None:
    with open_store(tmp_path / "new" / "folders" / name) as store:
        store.add_reed("amber 1", "long")
        with open_store(tmp_path / "new" / "folders" / name, read_only=True) as reader:
            assert reader.path.name == name
            assert reader.counts().reeds == 1
    assert files_in(tmp_path / "new" / "folders") == {name, name + ".lock"}
