"""The process itself: started as a person would, read through pyserial over a real pty."""

from __future__ import annotations

import asyncio
import json
import os
import sys
from asyncio.subprocess import PIPE
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest
import serial

from gaugelink.devices.catalog import find
from gaugelink.devices.pipeline import Pipeline
from gaugelink.reading import Reading

ROOT = Path(__file__).parents[2]
DEADLINE = 20
"""Seconds for a whole test; a loaded machine takes a while to start Python."""

PLACE = "crossed/53/-0.5"


class Simulator:
    """A running simulator and its lines."""

    def __init__(self, process: asyncio.subprocess.Process, path: str) -> None:
        self.process = process
        self.path = path

    async def line(self) -> dict[str, Any]:
        """The next line that it says."""
        assert self.process.stdout is not None
        line = await self.process.stdout.readline()
        found: dict[str, Any] = json.loads(line)
        return found

    async def do(self, **command: object) -> dict[str, Any]:
        """The answer to a command."""
        assert self.process.stdin is not None
        self.process.stdin.write(json.dumps(command).encode() + b"\n")
        return await self.line()


async def start(*options: str, stdin: int = PIPE) -> asyncio.subprocess.Process:
    return await asyncio.create_subprocess_exec(
        *(sys.executable, "-m", "simulators", "serial", *options),
        cwd=ROOT,
        stdin=stdin,
        stdout=PIPE,
        stderr=PIPE,
    )


@asynccontextmanager
async def simulator(*options: str, stdin: int = PIPE) -> AsyncIterator[Simulator]:
    """A simulator until the end of the block; it must end well when it is told to."""
    async with asyncio.timeout(DEADLINE):
        process = await start(*options, stdin=stdin)
        try:
            assert process.stdout is not None
            path = (await process.stdout.readline()).decode().strip()
            yield Simulator(process, path)
        finally:
            if process.returncode is None:
                process.terminate()
            _, said = await process.communicate()
        assert (process.returncode, said) == (0, b"")


def opened(path: str, baud: int = 9600) -> serial.Serial:
    return serial.Serial(path, baud, timeout=5)


async def read(port: serial.Serial, count: int) -> bytes:
    return await asyncio.to_thread(port.read, count)


async def read_for_ever(port: serial.Serial) -> None:
    while True:
        await read(port, 1000)


async def readings(port: serial.Serial, name: str, count: int) -> list[Reading]:
    """The next readings that a port gives; raises TimeoutError by the test's deadline."""
    pipeline = Pipeline(find(name), "test")
    found: list[Reading] = []
    at = 0.0
    while len(found) < count:
        at += 0.01
        found += pipeline.feed(await read(port, 1), at)
    return found


async def test_it_walks_by_itself_and_ends_on_sigterm() -> None:
    async with simulator("--rate", "200", stdin=asyncio.subprocess.DEVNULL) as simulated:
        assert simulated.path.startswith("/dev/")
        with opened(simulated.path) as port:
            found = await readings(port, "signed-decimal-unit-cr", 400)
        shown = [float(each.hundredths) for each in found]
        assert max(shown) > 500
        assert 40 < min(shown) < 60


@pytest.mark.parametrize("ending", ["terminate", "interrupt", "quit"])
async def test_it_ends_well_and_leaves_no_link(ending: str, tmp_path: Path) -> None:
    link = tmp_path / "gauge"
    async with simulator("--link", str(link)) as simulated:
        assert simulated.path == str(link)
        assert link.is_symlink()
        if ending == "quit":
            assert await simulated.do(do="quit") == {"is": "done", "do": "quit"}
        else:
            simulated.process.send_signal({"terminate": 15, "interrupt": 2}[ending])
        assert await simulated.process.wait() == 0
        assert os.listdir(tmp_path) == []


async def test_the_wrong_speed_gives_garbage() -> None:
    async with simulator("--rate", "200") as simulated:
        with opened(simulated.path, 4800) as port:
            garbage = await read(port, 200)
        with opened(simulated.path, 9600) as port:
            assert len(await readings(port, "signed-decimal-unit-cr", 3)) == 3
    pipeline = Pipeline(find("signed-decimal-unit-cr"), "test")
    assert len(garbage) == 200
    assert pipeline.feed(garbage, 0) == []


async def test_parity_arrives_in_bit_7() -> None:
    name = "seven-bit-even-crlf"
    async with simulator("--description", name) as simulated:
        link = find(name).link
        with opened(simulated.path, link.baud) as port:
            (found,) = await readings(port, name, 1)
        assert found.unit == "in"


@pytest.mark.parametrize(
    ("name", "baud", "request_sent"),
    [
        ("asked-question-cr", 4800, b"?\r"),
        ("asked-query-scientific", 9600, b"READ?\n"),
    ],
)
async def test_it_answers_when_asked(name: str, baud: int, request_sent: bytes) -> None:
    async with simulator("--description", name, "--rate", "100") as simulated:
        with opened(simulated.path, baud) as port:
            for _ in range(3):
                port.write(request_sent)
                assert len(await readings(port, name, 1)) == 1
            port.timeout = 0.2
            assert await read(port, 1) == b""


async def test_a_button_sends_one_value() -> None:
    async with simulator("--description", "button-hundredths-crlf") as simulated:
        with opened(simulated.path, 1200) as port:
            assert (await simulated.do(do="button"))["is"] == "done"
            (found,) = await readings(port, "button-hundredths-crlf", 1)
            assert found.pushed
            port.timeout = 0.2
            assert await read(port, 1) == b""


async def test_commands_are_answered_in_order_and_wrong_ones_refused() -> None:
    async with simulator() as simulated:
        assert await simulated.do(do="place", station=PLACE) == {"is": "done", "do": "place"}
        truth = await simulated.do(do="thickness", station=PLACE)
        gone = await simulated.do(do="scrape", station=PLACE, zone="windows", strokes=4)
        left = await simulated.do(do="thickness", station=PLACE)
        assert truth["hundredths"] - gone["removed"] == pytest.approx(left["hundredths"], abs=0.001)
        for wrong in ({"do": "dance"}, {"do": "place", "station": "x"}, {"do": "button"}):
            assert (await simulated.do(**wrong))["is"] == "error"
        assert simulated.process.stdin is not None
        simulated.process.stdin.write(b"x" * 200_000 + b"\n\n")
        assert "bytes long" in (await simulated.line())["text"]
        assert await simulated.do(do="lift") == {"is": "done", "do": "lift"}


async def test_the_end_of_its_commands_is_not_its_own_end() -> None:
    async with simulator("--rate", "100") as simulated:
        assert simulated.process.stdin is not None
        simulated.process.stdin.close()
        with opened(simulated.path) as port:
            assert len(await readings(port, "signed-decimal-unit-cr", 30)) == 30


async def test_it_ends_with_its_commands_when_told_to() -> None:
    async with simulator("--until-eof") as indicator:
        assert indicator.process.stdin is not None
        indicator.process.stdin.close()
        assert await indicator.process.wait() == 0


async def test_it_ends_when_no_one_can_hear_its_answers() -> None:
    reading_end, writing_end = os.pipe()
    async with asyncio.timeout(DEADLINE):
        process = await asyncio.create_subprocess_exec(
            *(sys.executable, "-m", "simulators", "serial"),
            cwd=ROOT,
            stdin=PIPE,
            stdout=writing_end,
            stderr=PIPE,
        )
        os.close(writing_end)
        with os.fdopen(reading_end, "rb") as first:
            assert (await asyncio.to_thread(first.readline)).startswith(b"/dev/")
        _, said = await process.communicate(b'{"do": "lift"}\n')
        assert (process.returncode, said) == (0, b"")


async def test_a_visit_ends_in_a_press() -> None:
    async with simulator("--rate", "50") as simulated:
        assert (await simulated.do(do="visit", station=PLACE))["is"] == "done"
        assert await simulated.line() == {"is": "press", "station": PLACE}


@pytest.mark.parametrize("fault", ["unplug", "cut"])
async def test_unplugging_is_an_error_and_the_link_follows_the_new_port(
    fault: str, tmp_path: Path
) -> None:
    link = tmp_path / "gauge"
    async with simulator("--link", str(link), "--rate", "100") as simulated:
        with opened(str(link)) as port:
            await readings(port, "signed-decimal-unit-cr", 3)
            old = link.readlink()
            assert await simulated.do(do=fault) == {"is": "done", "do": fault}
            assert not link.is_symlink()
            with pytest.raises(serial.SerialException):
                await read_for_ever(port)
            # The old port is still held open, so the new one has another number.
            assert await simulated.do(do="replug") == {"is": "plugged", "path": str(link)}
            assert link.readlink() != old
        with opened(str(link)) as port:
            assert len(await readings(port, "signed-decimal-unit-cr", 3)) == 3


async def test_what_no_one_reads_is_lost_and_blocks_nothing() -> None:
    async with simulator("--rate", "2000") as simulated:
        with opened(simulated.path) as port:
            while port.in_waiting < 3000:
                assert (await simulated.do(do="thickness", station=PLACE))["is"] == "thickness"
            # Full: from here on a writer that waited would answer no more.
            for _ in range(200):
                assert (await simulated.do(do="thickness", station=PLACE))["is"] == "thickness"
            assert port.in_waiting <= 4095
            found = await readings(port, "signed-decimal-unit-cr", 500)
        assert len(found) == 500


async def test_a_link_does_not_replace_a_file(tmp_path: Path) -> None:
    file = tmp_path / "notes"
    file.write_text("kept")
    code, said = await failed("--link", str(file))
    assert code == 2
    assert "is not a link" in said
    assert file.read_text() == "kept"


async def failed(*options: str) -> tuple[int | None, str]:
    """How a simulator that cannot be started ends: its exit code and its one line."""
    async with asyncio.timeout(DEADLINE):
        process = await start(*options, stdin=asyncio.subprocess.DEVNULL)
        out, said = await process.communicate()
    assert out == b""
    assert said.count(b"\n") == 1
    return process.returncode, said.decode()


async def test_a_wrong_script_is_one_line_and_exit_2(tmp_path: Path) -> None:
    file = tmp_path / "script.jsonl"
    file.write_text('{"at": 0, "do": "lift"}\n{"at": 1, "do": "jump"}\n')
    code, said = await failed("--script", str(file))
    assert code == 2
    assert "line 2" in said
    assert "jump" in said


@pytest.mark.parametrize(
    ("option", "said"),
    [
        ("--description", "no description is called 'none'"),
        ("--style", "no style is called 'none'"),
        ("--stage", "has no stage 'none'"),
    ],
)
async def test_a_wrong_name_is_one_line_and_exit_2(option: str, said: str) -> None:
    code, line = await failed(option, "none")
    assert code == 2
    assert said in line


async def test_a_script_is_done_and_answered(tmp_path: Path) -> None:
    file = tmp_path / "script.jsonl"
    file.write_text(
        f'{{"at": 0, "do": "place", "station": "{PLACE}"}}\n'
        '{"at": 0.2, "do": "unplug"}\n{"at": 0.3, "do": "replug"}\n{"at": 0.4, "do": "quit"}\n'
    )
    async with simulator("--script", str(file)) as simulated:
        assert [(await simulated.line())["is"] for _ in range(4)] == [
            *("done", "done", "plugged", "done")
        ]
        assert await simulated.process.wait() == 0


async def test_a_lesson_gives_the_reed_its_state() -> None:
    async with simulator("--lesson", "level-windows") as one:
        thick = {}
        for place in ("crossed/53/-0.5", "crossed/53/0.5", "uncrossed/53/0.5"):
            thick[place] = (await one.do(do="thickness", station=place))["hundredths"]
    # Four above 40; three more on the left of the crossed side, one less over it.
    assert thick["crossed/53/-0.5"] == pytest.approx(47, abs=0.3)
    assert thick["crossed/53/0.5"] == pytest.approx(44, abs=0.3)
    assert thick["uncrossed/53/0.5"] == pytest.approx(43, abs=0.3)


async def test_a_lesson_goes_with_its_own_stage_only() -> None:
    process = await start("--lesson", "level-windows", "--stage", "tip")
    async with asyncio.timeout(DEADLINE):
        _, said = await process.communicate()
    assert process.returncode == 2
    assert b"--lesson level-windows is of millrace-long, stage windows" in said


async def test_a_hand_that_misses_shows_it_in_the_blend() -> None:
    async def stands(*options: str) -> list[float]:
        found = []
        async with simulator("--stage", "balance", "--rate", "50", *options) as one:
            with serial.Serial(one.path, 9600, timeout=2) as port:
                pipeline = Pipeline(find("signed-decimal-unit-cr"), "test")
                for _ in range(3):
                    await one.do(do="visit", station="crossed/66.5/-0.5")
                    while (await one.line())["is"] != "press":
                        pass
                    port.reset_input_buffer()
                    got: list[Reading] = []
                    while not got:
                        got = pipeline.feed(await asyncio.to_thread(port.read, 40), 0.0)
                    found.append(float(got[-1].hundredths))
        return found

    exact, missing = await stands("--seed", "3"), await stands("--seed", "3", "--off-by", "0.8")
    assert max(exact) - min(exact) <= 2
    assert max(missing) - min(missing) > max(exact) - min(exact)
