"""`gaugelink teach`, run as its user runs it: a process of its own over a real pseudo-terminal."""

from __future__ import annotations

import asyncio
import contextlib
import json
import math
import os
import pty
import sys
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest

from gaugelink.devices import catalog
from gaugelink.devices.description import Description, LinkSettings
from simulators.serial_pty import PseudoTerminal
from tests.devices.bluetooth_peer import PORT, needs_bus, running

RECORDINGS = Path(__file__).parents[1] / "recordings"


@contextlib.asynccontextmanager
async def sending(frame: Callable[[float], bytes], baud: int = 9600) -> AsyncIterator[str]:
    """The port of an indicator that sends `frame(millimetres)` twenty times a second."""
    port = PseudoTerminal(LinkSettings(baud=baud))
    path = port.plug()

    async def stream() -> None:
        index = 0
        while True:
            port.send(frame(3 + 2.9 * math.sin(index / 11)))
            index += 1
            await asyncio.sleep(0.05)

    task = asyncio.create_task(stream())
    try:
        yield path
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task
        port.unplug()


class Ended(msgspec.Struct):
    """How a run ended."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.out)
        return found


async def gaugelink(
    home: Path, *words: str, stdin: int | None = None, bus: str | None = None
) -> Ended:
    """Run a command to its end; `bus` is the message bus on which it finds Bluetooth."""
    async with asyncio.timeout(60):
        process = await asyncio.create_subprocess_exec(
            *(sys.executable, "-m", "gaugelink", "--home", str(home), *words),
            stdin=asyncio.subprocess.DEVNULL if stdin is None else stdin,
            stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.PIPE,
            env=os.environ if bus is None else os.environ | {"DBUS_SYSTEM_BUS_ADDRESS": bus},
        )
        out, err = await process.communicate()
    assert process.returncode is not None
    return Ended(process.returncode, out.decode(), err.decode())


async def test_json_holds_the_description_its_text_and_the_evidence(tmp_path: Path) -> None:
    async with sending(lambda mm: b"17;%+08.3f mm\r\n" % mm, baud=19200) as path:
        ended = await gaugelink(tmp_path, "teach", path, "--json", "--name", "dial")
    assert ended.code == 0, ended.err
    found = ended.json
    description = catalog.parse(found["toml"], "answer")
    assert msgspec.convert(found["description"], Description, strict=False) == description
    assert description.name == "dial"
    assert description.link.baud == 19200
    assert found["evidence"]
    assert found["sure"] > 0.9
    assert found["question"] is None
    assert found["alternatives"] is None
    assert found["tried"]["requests"] == []
    assert "move the spindle" in ended.err


async def test_what_was_saved_is_what_watch_then_recognises(tmp_path: Path) -> None:
    async with sending(lambda mm: b"<%07.3f|87>\r" % mm, baud=2400) as path:
        taught = await gaugelink(tmp_path, "teach", path, "--save", "--name", "odd-one")
        assert taught.code == 0, taught.err
        file = tmp_path / "config" / "descriptions" / "odd-one.toml"
        assert catalog.load(file).link.baud == 2400
        assert file.read_text().startswith("# Worked out by `gaugelink teach`")
        assert file.read_text() in taught.out + "\n"
        watched = await gaugelink(
            *(tmp_path, "watch", "--port", path, "--description", "odd-one", "--count", "5"),
            "--json",
        )
        assert watched.code == 0, watched.err
        assert len(watched.out.splitlines()) == 5
        before = file.read_bytes()
        again = await gaugelink(tmp_path, "teach", path, "--save", "--name", "odd-one")
    assert again.code == 1
    assert "is there already" in again.err
    assert file.read_bytes() == before


async def test_json_says_a_question_and_its_alternatives_without_asking(tmp_path: Path) -> None:
    async with sending(lambda mm: b"%5d\r" % round(100 * mm)) as path:
        ended = await gaugelink(tmp_path, "teach", path, "--json")
    assert ended.code == 0, ended.err
    found = ended.json
    assert "no unit is sent" in found["question"]
    assert found["sure"] < 0.9
    units = [each["description"]["unit"] for each in found["alternatives"]]
    assert units[0] == found["description"]["unit"] == "hundredths"
    assert "um" in units
    for each in found["alternatives"]:
        catalog.parse(each["toml"], each["answer"])


async def test_at_a_terminal_one_question_is_asked(tmp_path: Path) -> None:
    keys, terminal = pty.openpty()
    try:
        os.write(keys, b"2\n")
        async with sending(lambda mm: b"%5d\r" % round(100 * mm)) as path:
            ended = await gaugelink(tmp_path, "teach", path, "--name", "x", stdin=terminal)
    finally:
        os.close(keys)
        os.close(terminal)
    assert ended.code == 0, ended.err
    assert ended.out.count("Which") == 1
    assert 'unit = "um"' in ended.out


@needs_bus
async def test_a_bluetooth_device_is_taught_and_then_watched(tmp_path: Path) -> None:
    with running("--text", "marks-fields-xor") as simulator:
        taught = await gaugelink(tmp_path, "teach", PORT, "--save", "--json", bus=simulator.bus)
        assert taught.code == 0, taught.err
        found = taught.json
        assert found["description"]["name"] == "taught-bluetooth-crlf-mm"
        assert found["tried"]["speeds"] == []
        assert found["tried"]["bytes"] == sum(c["bytes"] for c in found["tried"]["characteristics"])
        assert "9600" not in found["toml"]
        watched = await gaugelink(
            *(tmp_path, "watch", "--port", PORT, "--description", "taught-bluetooth-crlf-mm"),
            *("--count", "5", "--json"),
            bus=simulator.bus,
        )
    assert watched.code == 0, watched.err
    assert len(watched.out.splitlines()) == 5


async def test_a_recording_is_taught_and_kept_beside_an_earlier_one(tmp_path: Path) -> None:
    port = f"replay:{RECORDINGS / 'marks-decimal-sum.jsonl'}"
    for name in ("taught-19200-8n1-marks-mm", "taught-19200-8n1-marks-mm-2"):
        ended = await gaugelink(tmp_path, "teach", port, "--save", "--json")
        assert ended.code == 0, ended.err
        assert ended.err == ""
        assert ended.json["description"]["name"] == name
        assert catalog.find(name, tmp_path / "config" / "descriptions").checksum is not None


async def test_a_failure_says_what_was_tried(tmp_path: Path) -> None:
    plain = await gaugelink(tmp_path, "teach", "/nowhere")
    assert (plain.code, plain.out) == (1, "")
    assert "no such port" in plain.err
    as_json = await gaugelink(tmp_path, "teach", "/nowhere", "--json")
    assert as_json.code == 1
    assert "no such port" in as_json.json["error"]
    assert as_json.json["tried"]["bytes"] == 0


@pytest.mark.parametrize("name", ["../out", "", "a/b", ".hidden"])
async def test_a_name_that_is_no_file_name_is_refused(tmp_path: Path, name: str) -> None:
    ended = await gaugelink(tmp_path, "teach", "x", "--name", name)
    assert ended.code == 2
    assert "--name" in ended.err
