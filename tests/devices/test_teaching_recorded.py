"""Teaching a recording, such as one that came with a bug report."""

from __future__ import annotations

import asyncio
import json
from decimal import Decimal
from pathlib import Path

import pytest

from gaugelink.devices import recording
from gaugelink.devices.link import LinkError
from gaugelink.devices.pipeline import Pipeline
from gaugelink.devices.recording import Entry, Header, Recording
from gaugelink.devices.teaching.listening import NotTaught, Teacher
from gaugelink.devices.teaching.recorded import line_of
from tests import recordings

FOLDER = Path(recordings.__file__).parent
FILES = sorted(FOLDER.glob("*.jsonl"))


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
async def test_recorded_values_are_read_as_they_were_meant(file: Path) -> None:
    said: list[str] = []
    async with asyncio.timeout(20):
        teacher = Teacher(f"replay:{file}", say=said.append)
        finding = await teacher.teach()
    played = recording.load(file)
    expected = json.loads(file.with_name(f"{file.stem}.expected.json").read_text())["readings"]
    pipeline = Pipeline(finding.description, "g")
    got = [each for chunk in played.chunks() for each in pipeline.feed(chunk.data, chunk.at)]
    got += pipeline.quiet(1e6)
    assert [each.hundredths for each in got] == [Decimal(value) for value, *_ in expected]
    assert teacher.tried.requests == []
    assert said == [], "no one has a spindle to move"


def test_the_line_is_the_one_that_was_recorded() -> None:
    def line(text: str, port: str = "/dev/ttyUSB0", *sent: str) -> tuple[int, str, str]:
        entries = [Entry(0.0, sent=each) for each in sent]
        found = line_of(Recording(Header(1, port, line=text), entries))
        return found.baud, found.sends, found.request

    assert line("4800 7E1") == (4800, "stream", "")
    assert line("") == line("fast") == line("0 8N1") == (9600, "stream", "")
    assert line("1200 8N1", "x", "?\r", "\r", "?\r") == (1200, "when-asked", "?\r")
    assert line("9600 8N1", "ble:C4:5A:1E:00:00:01") == (0, "stream", "")


async def test_what_makes_no_sense_or_is_no_recording_says_so(tmp_path: Path) -> None:
    file = tmp_path / "odd.jsonl"
    file.write_text('{"recording": 1, "port": "x", "line": "4800 8N1"}\n')
    with pytest.raises(NotTaught, match="nothing came while it recorded"):
        await Teacher(f"replay:{file}").teach()
    with file.open("a") as more:
        more.write('{"t": 0.0, "got": "hello\\r\\n"}\n')
    with pytest.raises(NotTaught, match=r"makes no sense; listened at 4800 \(7 bytes\)"):
        await Teacher(f"replay:{file}").teach()
    with pytest.raises(LinkError, match="cannot be read"):
        await Teacher(f"replay:{tmp_path / 'none'}").teach()
