"""Recorded lines come back as they came, and each shipped format has a recording that is read."""

from __future__ import annotations

import asyncio
import io
import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.devices.catalog import catalog, find
from gaugelink.devices.link import Chunk, LinkError
from gaugelink.devices.pipeline import Pipeline
from gaugelink.devices.recording import (
    FORMAT,
    Header,
    Recording,
    RecordingError,
    RecordingLink,
    load,
    parse,
)
from gaugelink.devices.replay_link import ReplayEnded, ReplayLink, replay_of

RECORDINGS = Path(__file__).parents[1] / "recordings"


class Said:
    """A link that says what it is given, then is lost."""

    port = "said"

    def __init__(self, chunks: list[Chunk]) -> None:
        self._chunks = iter(chunks)
        self.written: list[bytes] = []

    async def open(self) -> None: ...

    async def read(self) -> Chunk:
        for chunk in self._chunks:
            return chunk
        raise LinkError("said: unplugged")

    async def write(self, data: bytes) -> None:
        self.written.append(data)

    async def close(self) -> None: ...


def recorded(chunks: list[Chunk]) -> Recording:
    """What is written down of a link that says these chunks and is lost."""
    file = io.StringIO()

    async def record() -> None:
        link = RecordingLink(Said(chunks), file, Header(FORMAT, "said"))
        await link.open()
        await link.write(b"?\r")
        for _ in chunks:
            await link.read()
        with pytest.raises(LinkError):
            await link.read()

    asyncio.run(record())
    return parse(io.StringIO(file.getvalue(), newline="\n"), "file")


CHUNKS = st.lists(st.tuples(st.binary(min_size=1, max_size=20), st.floats(0, 2)), max_size=20)


@given(CHUNKS)
def test_any_bytes_come_back_with_their_times(given_chunks: list[tuple[bytes, float]]) -> None:
    at = 1000.0
    chunks = []
    for data, wait in given_chunks:
        at += wait
        chunks.append(Chunk(data, at))
    back = recorded(chunks)
    assert [each.data for each in back.chunks()] == [each.data for each in chunks]
    for chunk, original in zip(back.chunks(), chunks, strict=True):
        assert chunk.at == pytest.approx(original.at - chunks[0].at, abs=1e-5)
    assert [each.sent for each in back.entries if each.sent is not None] == ["?\r"]
    assert back.entries[0].open
    assert back.entries[-1].lost == "said: unplugged"


def write(path: Path, *lines: object) -> Path:
    path.write_text("".join(json.dumps(each) + "\n" for each in lines))
    return path


HEADER = {"recording": 1, "port": "p"}


async def test_it_plays_as_fast_as_possible_with_the_recorded_times(tmp_path: Path) -> None:
    file = write(
        tmp_path / "r",
        HEADER,
        {"t": 0, "got": "a"},
        {"t": 60, "got": "b"},
        {"t": 61, "lost": "unplugged"},
        {"t": 90, "got": "c"},
    )
    link = ReplayLink(file, 0, clock=lambda: 500.0)
    await link.open()
    assert [await link.read(), await link.read()] == [Chunk(b"a", 500.0), Chunk(b"b", 560.0)]
    with pytest.raises(LinkError, match="unplugged"):
        await link.read()
    # Opened again it goes on where it was, as a supervisor does it.
    await link.open()
    assert await link.read() == Chunk(b"c", 500.0)
    with pytest.raises(ReplayEnded):
        await link.read()
    with pytest.raises(ReplayEnded):
        await link.open()


async def test_at_its_speed_it_waits(tmp_path: Path) -> None:
    file = write(tmp_path / "r", HEADER, {"t": 0, "got": "a"}, {"t": 0.2, "got": "b"})
    loop = asyncio.get_running_loop()
    link = ReplayLink(file, 2.0, clock=loop.time)
    await link.open()
    await link.read()
    began = loop.time()
    await link.read()
    assert loop.time() - began >= 0.09


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ([], "is empty"),
        (["{}\n"], "line 1: Object missing required field `recording`"),
        (['{"recording": 9, "port": "p"}\n'], "of format 9"),
        (['{"recording": 1, "port": "p"}\n', "x\n"], "line 2"),
        (['{"recording": 1, "port": "p"}\n', '{"t": 0, "fot": "a"}\n'], "line 2"),
        (['{"recording": 1, "port": "p"}\n', '{"t": 2}\n', '{"t": 1}\n'], "line 3: t goes back"),
        (['{"recording": 1, "port": "p"}\n', '{"t": 2, "got": "€"}\n'], "stands for no byte"),
    ],
)
def test_what_is_no_recording_is_said_with_its_line(lines: list[str], said: str) -> None:
    with pytest.raises(RecordingError, match=said):
        parse(lines, "file")


def test_a_last_line_that_was_cut_off_is_left_out() -> None:
    back = parse(['{"recording": 1, "port": "p"}\n', '{"t": 0, "got": "a"}\n', '{"t": 1, "go'], "f")
    assert [each.data for each in back.chunks()] == [b"a"]


def test_a_port_names_a_recording_and_its_speed() -> None:
    assert replay_of("replay:a/b.jsonl").port == "replay:a/b.jsonl"
    assert replay_of("replay:a@b.jsonl@0").port == "replay:a@b.jsonl"
    with pytest.raises(LinkError, match="how much faster"):
        replay_of("replay:x@fast")


@pytest.mark.parametrize("name", sorted(catalog()))
def test_the_recording_of_each_shipped_description_is_read_as_expected(name: str) -> None:
    pipeline = Pipeline(find(name), "g")
    recording = load(RECORDINGS / f"{name}.jsonl")
    assert recording.header.description == name
    read = []
    at = 0.0
    for chunk in recording.chunks():
        at = chunk.at
        read += pipeline.feed(chunk.data, at)
    read += pipeline.quiet(at + 1)
    expected = json.loads((RECORDINGS / f"{name}.expected.json").read_text())
    assert [[str(each.hundredths), str(each.resolution), each.value] for each in read] == expected[
        "readings"
    ]
    assert dict(pipeline.refused) == expected["refused"]
