"""The command line, run as its user runs it: as a process, over a real pseudo-terminal."""

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from gaugelink import __version__
from gaugelink.cli import COMMANDS
from tests.devices.pty_port import PtyPort

QUICK = """
name = "quick"
title = "Two stations (invented)"
lengths = { tube = 47.0, blank = 73.0, tip_line = 66.0, first_day = 70.0, finished = 69.0 }
settling = { still_for = 0.1 }
walking = { dwell = 0.15, gesture = 0.05 }
[[zones]]
name = "w"
title = "windows"
heights = [53]
across = [0.5]
[[stages]]
name = "w"
title = "Windows"
targets = [{ zone = "w", target = 40 }]
"""


class Indicator(threading.Thread):
    """An indicator whose spindle is lifted, for as long as a hand needs, and set down for ever.

    Fifty readings a second.
    """

    def __init__(self, port: PtyPort, values: tuple[int, ...]) -> None:
        super().__init__(daemon=True)
        self._port = port
        self._values = values
        self._ended = threading.Event()

    def run(self) -> None:
        while True:
            for value in self._values:
                for hundredths in (*(900, 940, 910) * 12, *[value] * 40):
                    if self._ended.wait(0.02):
                        return
                    self._port.send(b"%+08.3fmm\r" % (hundredths / 100))

    def end(self) -> None:
        self._ended.set()
        self.join()


@pytest.fixture
def indicator() -> Iterator[str]:
    """The port of an indicator that measures 43 and 40 in turn."""
    with PtyPort() as port:
        sending = Indicator(port, (43, 40))
        sending.start()
        yield port.path
        sending.end()


class Cli:
    """`gaugelink` with a home of its own."""

    def __init__(self, home: Path) -> None:
        self.home = home
        (home / "config" / "styles").mkdir(parents=True)
        (home / "config" / "styles" / "quick.toml").write_text(QUICK)

    def command(self, *words: str) -> list[str]:
        return [sys.executable, "-m", "gaugelink", "--home", str(self.home), *words]

    def __call__(self, *words: str, code: int = 0, stdin: str = "") -> str:
        done = subprocess.run(
            self.command(*words), input=stdin, capture_output=True, text=True, timeout=60
        )
        assert done.returncode == code, done.stderr
        self.err = done.stderr
        return done.stdout

    def lines(self, *words: str, stdin: str = "") -> list[dict[str, Any]]:
        return [json.loads(line) for line in self(*words, stdin=stdin).splitlines()]


@pytest.fixture
def cli(tmp_path: Path) -> Cli:
    return Cli(tmp_path / "home")


def test_version_and_help(cli: Cli) -> None:
    assert cli("--version") == f"gaugelink {__version__}\n"
    shown = cli("--help")
    for name in COMMANDS:
        assert name in shown


@pytest.mark.parametrize("name", [*COMMANDS, "rack add", "rack move", "rack note"])
def test_every_commands_help_shows_an_example(cli: Cli, name: str) -> None:
    assert f"Example: gaugelink {name}" in cli(*name.split(), "--help")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("dance",), "known are practice, bench"),
        (("watch", "--count", "0"), "--count"),
        (("walk", "--port", "x"), "--style"),
        (("practice", "--json"), "--headless"),
        (("rack", "add", "R1"), "--style"),
        (("export",), "--format"),
    ],
)
def test_a_wrong_call_ends_with_2(cli: Cli, words: tuple[str, ...], said: str) -> None:
    assert cli(*words, code=2) == ""
    assert said in cli.err
    assert cli.err.startswith("gaugelink: ")
    assert cli.err.count("\n") == 1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("watch",), "give the indicator's --port"),
        (("watch", "--port", "/nowhere", "--description", "bare-decimal-lf"), "no such port"),
        (("watch", "--port", "/nowhere"), "no such port"),
        (("watch", "--port", "/nowhere", "--description", "x"), "no description is called 'x'"),
        (("reed", "R1"), "R1"),
        (("styles", "x"), "no style is called 'x'"),
        (("rack", "add", "R1", "--style", "x"), "no style is called 'x'"),
        (("export", "--format", "csv"), "there is no store yet"),
        (("practice", "--headless", "--stage", "x"), "its stages are"),
        (("practice", "--headless", "--style", "x"), "no style is called 'x'"),
    ],
)
def test_a_failure_is_one_line_and_ends_with_1(cli: Cli, words: tuple[str, ...], said: str) -> None:
    assert cli(*words, code=1) == ""
    assert said in cli.err
    assert cli.err.startswith("gaugelink: ")
    assert cli.err.count("\n") == 1


def test_a_wrong_style_file_is_named_with_the_path_inside(cli: Cli) -> None:
    file = cli.home / "config" / "styles" / "quick.toml"
    file.write_text(QUICK.replace("target = 40", 'target = "forty"'))
    cli("styles", code=1)
    assert str(file) in cli.err
    assert "$.stages[0].targets[0].target" in cli.err


def test_watch_prints_a_line_a_reading(cli: Cli, indicator: str) -> None:
    lines = cli.lines("watch", "--port", indicator, "--count", "60", "--json")
    assert len(lines) == 60
    for line in lines:
        assert {"hundredths", "resolution", "unit", "value", "settled", "at"} <= line.keys()
        assert line["unit"] == "mm"
        assert line["resolution"] == 0.1
        assert line["hundredths"] == pytest.approx(float(line["value"]) * 100)
    assert any(line["settled"] and line["settled_hundredths"] in (43, 40) for line in lines)
    assert any(not line["settled"] for line in lines)
    assert [line["seq"] for line in lines] == list(range(1, 61))
    assert "signed-decimal-unit-cr" in cli.err


def test_a_dwell_walk_captures_each_station_once(cli: Cli, indicator: str) -> None:
    *lines, summary = cli.lines(
        *("walk", "--port", indicator, "--description", "signed-decimal-unit-cr"),
        *("--style", "quick", "--stage", "w", "--reed", "R1", "--trigger", "dwell", "--json"),
    )
    captured = [line for line in lines if line["is"] == "captured"]
    assert [line["station"] for line in captured] == ["crossed/53/+0.5", "uncrossed/53/+0.5"]
    assert {line["hundredths"] for line in captured} == {43, 40}
    assert summary["is"] == "summary"
    assert summary["done"]
    assert summary["verdicts"] == {"take": 1, "leave": 1}
    assert summary["to_go"] == 3

    table = list(csv.DictReader(io.StringIO(cli("export", "--format", "csv", "--reed", "R1"))))
    assert [float(row["hundredths"]) for row in table] == [c["hundredths"] for c in captured]
    whole = json.loads(cli("export", "--format", "json"))
    assert [each["station"] for each in whole["captures"]] == [c["station"] for c in captured]
    shown = cli("reed", "R1")
    assert "take 3" in shown
    assert "leave" in shown
    assert json.loads(cli("reed", "R1", "--json"))["reed"]["captures"] == 2
    assert "R1" in cli("rack")


def test_a_lines_walk_captures_on_each_line_and_resumes(cli: Cli, indicator: str) -> None:
    walk = (
        *("walk", "--port", indicator, "--description", "signed-decimal-unit-cr"),
        *("--style", "quick", "--stage", "w", "--reed", "R1", "--trigger", "lines", "--json"),
    )
    with subprocess.Popen(
        cli.command(*walk), stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdin
        assert process.stdout
        said: list[dict[str, Any]] = []
        while not any(line["is"] == "captured" for line in said):
            time.sleep(0.15)
            process.stdin.write("\n")
            process.stdin.flush()
            said.append(json.loads(process.stdout.readline()))
        process.stdin.close()
        said += [json.loads(line) for line in process.stdout]
    assert process.returncode == 0
    assert {line["is"] for line in said[:-1]} <= {"captured", "refused"}
    assert said[-1]["captured"] == 1
    assert not said[-1]["done"]
    # Again: the station that was captured is not asked for a second time.
    *_, summary = cli.lines(*walk[:-2], "dwell", "--json")
    assert summary["captured"] == 1
    assert summary["done"]


def test_a_running_hub_is_joined_and_ends_cleanly(cli: Cli, indicator: str) -> None:
    serve = cli.command(
        *("serve", "--port", indicator, "--description", "signed-decimal-unit-cr", "--json")
    )
    with subprocess.Popen(serve, stdout=subprocess.PIPE, text=True) as hub:
        assert hub.stdout
        assert json.loads(hub.stdout.readline())["is"] == "serving"
        assert len(cli.lines("watch", "--count", "5", "--json")) == 5
        assert len(cli.lines("watch", "--port", indicator, "--count", "5", "--json")) == 5
        found = json.loads(cli("diagnose", "--json"))
        assert found["gauges"][0]["link"] == "up"
        assert found["gauges"][0]["readings"] > 0
        assert "link up" in cli("diagnose")
        cli("rack", "add", "R", "--count", "3", "--style", "quick", "--batch", "autumn")
        assert [each["name"] for each in json.loads(cli("rack", "--json"))] == ["R01", "R02", "R03"]
        cli("rack", "add", "R", "--count", "1", "--style", "quick")
        assert json.loads(cli("rack", "--json"))[-1]["name"] == "R04"
        cli("rack", "move", "R02", "set aside", "--note", "leaks")
        assert "R02" not in cli("rack")
        assert "leaks" in cli("rack", "--all")
        cli("serve", code=1)
        assert "already serving" in cli.err
        hub.terminate()
        hub.wait(10)
    assert hub.returncode == 0
    assert "R03" in cli("rack")


def test_a_second_writer_is_refused_by_name(cli: Cli) -> None:
    with subprocess.Popen(cli.command("serve", "--json"), stdout=subprocess.PIPE, text=True) as hub:
        assert hub.stdout
        hub.stdout.readline()
        # Its socket is gone, as when another user's hub holds the store.
        (cli.home / "run" / "hub.sock").unlink()
        cli("rack", code=1)
        assert str(hub.pid) in cli.err
        hub.terminate()


def test_styles_are_listed_shown_and_placed(cli: Cli) -> None:
    listed = cli("styles")
    for name in ("millrace-long", "quayside-short", "quick"):
        assert name in listed
    assert "66" in cli("styles", "millrace-long")
    assert json.loads(cli("styles", "quayside-short", "--json"))["scrape"] == "short"
    assert cli("styles", "--where").strip() == str(cli.home / "config" / "styles")


def test_headless_practice_repeats_by_its_seed(cli: Cli) -> None:
    runs = []
    for _ in range(2):
        *lines, summary = cli.lines(
            *("practice", "--headless", "--json", "--seed", "3", "--style", "quick"),
        )
        captured = [line for line in lines if line["is"] == "captured"]
        assert summary["is"] == "summary"
        assert summary["captured"] == summary["stations"] == len(captured) == 2
        assert summary["done"]
        runs.append({line["station"]: line["hundredths"] for line in captured})
    first, second = runs
    assert first.keys() == second.keys()
    # The reed and the hand are the same; which of the trembling readings a press falls on is up to
    # how busy the machine is.
    for station, hundredths in first.items():
        assert second[station] == pytest.approx(hundredths, abs=1)
    assert not (cli.home / "data").exists(), "practice never touches the maker's store"


def test_a_closed_pipe_is_no_crash(cli: Cli, indicator: str) -> None:
    watch = cli.command(
        *("watch", "--port", indicator, "--description", "signed-decimal-unit-cr", "--json")
    )
    with subprocess.Popen(watch, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout
        assert process.stderr
        process.stdout.readline()
        process.stdout.close()
        assert process.wait(10) in (0, 1)
        assert process.stderr.read() == b""
    assert os.path.exists(indicator)


def test_what_is_recorded_is_played_again(cli: Cli, indicator: str, tmp_path: Path) -> None:
    file = str(tmp_path / "line.jsonl")
    recorded = cli.lines(
        *("watch", "--port", indicator, "--description", "signed-decimal-unit-cr"),
        *("--record", file, "--count", "60", "--json"),
    )
    for port in (f"replay:{file}@0", f"replay:{file}@20"):
        played = cli.lines("watch", "--port", port, "--json")
        assert "signed-decimal-unit-cr" in cli.err
        assert len(played) >= len(recorded)
        for then, now in zip(recorded, played, strict=False):
            assert then["value"] == now["value"]
            assert then["standing"] == now["standing"]
            assert then["settled_hundredths"] == now["settled_hundredths"]
    cli("watch", "--port", indicator, "--record", file, code=1)
    assert "cannot be made" in cli.err
    cli("watch", "--record", file, code=2)


def test_find_says_what_is_in_use_and_by_what(cli: Cli, indicator: str) -> None:
    serve = cli.command("serve", "--port", indicator, "--description", "signed-decimal-unit-cr")
    with subprocess.Popen(serve, stdout=subprocess.PIPE, text=True) as hub:
        assert hub.stdout
        hub.stdout.readline()
        found = [
            each
            for each in cli.lines("find", "--serial-only", "--json")
            if each["port"] == indicator
        ]
        assert found[0]["gauge"] == "gauge"
        assert found[0]["description"] == "signed-decimal-unit-cr"
        assert any(str(hub.pid) in each for each in found[0]["holders"])
        assert "gauge 'gauge'" in cli("find", "--serial-only")
        hub.terminate()


async def test_the_bench_finds_the_gauge_of_the_day_before_again(
    tmp_path: Path, indicator: str
) -> None:
    from gaugelink.cli.common import reach
    from gaugelink.daemon import messages as m
    from gaugelink.folders import folders

    home = folders(tmp_path)
    async with reach(home) as client:
        await client.ask(m.AddGauge(port=indicator, description="signed-decimal-unit-cr"))
    async with reach(home) as client:
        assert await client.ask(m.Gauges()) == []
    async with reach(home, remembered=True) as client:
        (gauge,) = await client.ask(m.Gauges())
        assert (gauge.name, gauge.port) == ("gauge", indicator)
