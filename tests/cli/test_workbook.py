"""The reed's workbook, the rack and batches, as commands run by their user."""

from __future__ import annotations

import json
import struct
import subprocess
import sys
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from gaugelink.craft.grades import PlayingTest
from gaugelink.craft.style import Stop
from tests.daemon.filled import Days, measure

REED = ("advice", "strokes", "crow", "clip", "play", "moved")
BATCH = ("sort", "best")


class Cli:
    """`gaugelink` with a home of its own."""

    def __init__(self, home: Path) -> None:
        self.home = home
        self.err = ""

    def __call__(self, *words: str, code: int = 0) -> str:
        done = subprocess.run(
            [sys.executable, "-m", "gaugelink", "--home", str(self.home), *words],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=60,
        )
        assert done.returncode == code, done.stderr
        self.err = done.stderr
        return done.stdout

    def json(self, *words: str) -> Any:
        return json.loads(self(*words, "--json"))


@pytest.fixture
def cli(tmp_path: Path) -> Cli:
    return Cli(tmp_path / "home")


@pytest.fixture
def measured(cli: Cli) -> Cli:
    """A home with a reed whose windows are measured."""

    def off(stop: Stop) -> float:
        return 5 if stop.station.blade == "crossed" else -3

    days = Days()
    with days.open(cli.home / "data" / "gaugelink.db") as store:
        measure(store, days, "R1", "windows", off)
        store.update_reed("R1", state="first day")
    return cli


@pytest.mark.parametrize(
    "words", [*(("reed", "R1", each) for each in REED), *(("batch", each) for each in BATCH)]
)
def test_every_help_shows_an_example(cli: Cli, words: tuple[str, ...]) -> None:
    shown = cli(*words, "--help")
    assert f"Example: gaugelink {words[0]} " in shown
    assert words[-1] in shown.split("Example:")[1].splitlines()[0]


def test_advice_is_in_words_and_in_json(measured: Cli) -> None:
    shown = measured("reed", "R1", "advice")
    assert shown.startswith("R1, Bring the windows level (each value ± ")
    assert "1. crossed, " in shown
    assert "cannot be put back" in shown
    assert "left and right, in hundredths:" in shown
    assert "crossed blade is thicker than uncrossed blade by 8.0 ± " in shown
    assert shown.splitlines()[-1] == "It is advice: your ear and judgement decide."
    found = measured.json("reed", "R1", "advice", "--uncertainty", "0.2")
    assert found["is"] == "advice"
    assert found["uncertainty"] == 0.2
    assert {each["word"] for each in found["stations"]} == {"take", "over"}


def test_strokes_are_noted_and_taken_back(measured: Cli) -> None:
    shown = measured("reed", "R1", "strokes", "windows", "12", "--side", "left")
    assert "noted: 12 strokes, windows, left" in shown
    assert "12 strokes since it was measured" in shown
    assert "assumed, until strokes are counted" in shown
    found = measured.json("reed", "R1", "strokes", "windows")
    assert {each["since"] for each in found["needed"]} == {0, 12}
    assert "taken back" in measured("reed", "R1", "strokes", "windows", "0", "--correct")
    found = measured.json("reed", "R1", "strokes", "windows")
    assert {each["since"] for each in found["needed"]} == {0}
    assert all(each["likely"] >= each["safe"] >= 0 for each in found["needed"])


def test_a_crow_and_a_length_give_the_next_clip(measured: Cli) -> None:
    assert "note its length, too" in measured("reed", "R1", "crow", "C5", "-90")
    assert "crow it" in measured("reed", "R1", "clip", "--length", "71,5")
    shown = measured("reed", "R1", "crow", "C5-90")
    assert "clip " in shown
    assert "71.5 mm" in shown
    found = measured.json("reed", "R1", "clip")
    assert (found["is"], found["why"], found["cents"]) == ("clip-plan", "clip", -90)
    found = measured.json("reed", "R1", "crow", "--hertz", "530", "--a4", "442", "--correct")
    assert found["why"] == "sharp"


def test_a_recorded_crow_is_heard(measured: Cli, tmp_path: Path) -> None:
    rate, hertz = 16_000, 518.0
    time = np.arange(rate) / rate
    wave = sum(np.sin(2 * np.pi * k * hertz * time) / k for k in range(1, 6))
    samples = (0.3 * 32767 * wave / np.max(np.abs(wave))).astype("<i2").tobytes()
    head = struct.pack(
        "<4sI4s4sIHHIIHH4sI",
        *(b"RIFF", 36 + len(samples), b"WAVE", b"fmt ", 16, 1, 1, rate, 2 * rate, 2, 16),
        *(b"data", len(samples)),
    )
    file = tmp_path / "crow.wav"
    file.write_bytes(head + samples)
    shown = measured("reed", "R1", "crow", "--wav", str(file), "--length", "70")
    # 1200 log2(518 / 523.2511) = -17.5 cents from C5.
    assert "heard 518.0 Hz" in shown
    assert "noted: crow C5 -17." in shown
    heard, plan = measured("reed", "R1", "crow", "--wav", str(file), "--json").splitlines()
    assert json.loads(heard)["hertz"] == pytest.approx(hertz, abs=0.2)
    assert json.loads(plan)["why"] == "on goal"
    file.write_bytes(head + bytes(len(samples)))
    measured("reed", "R1", "crow", "--wav", str(file), code=1)
    assert "nothing sounds" in measured.err


def test_how_it_plays_is_kept_by_day(measured: Cli) -> None:
    measured("reed", "R1", "play", "--response", "3", "--day", "2031-05-04")
    shown = measured("reed", "R1", "play", "--response", "4", "--tone", "5", "--note", "sings")
    first, second = shown.splitlines()
    assert first.startswith("2031-05-04  response 3")
    assert second.endswith("sings  mean 4.5")
    assert [each["mean"] for each in measured.json("reed", "R1", "play")] == [3, 4.5]


def test_the_rack_says_what_is_next_and_the_history_how_it_came(measured: Cli) -> None:
    measured("rack", "move", "R1", "resting", "--note", "15 flat")
    shown = measured("rack")
    assert "batch autumn" in shown
    assert "next: soak it and see what moved, then After the night, not before " in shown
    (entry,) = measured.json("rack")
    assert (entry["is"], entry["waits"], entry["next_stage"]) == ("rack-entry", True, "rested")
    measured("rack", "note", "R1", "better")
    history = measured("reed", "R1", "--history")
    assert "resting, windows: 15 flat" in history
    assert "resting, windows: better" in history
    assert history.count("pass 1") == 12
    lines = measured("reed", "R1", "--history", "--json").splitlines()
    assert json.loads(lines[0])["is"] == "reed-history"
    assert [each["note"] for each in json.loads(lines[1])][-2:] == ["15 flat", "better"]
    measured("rack", "move", "R1", "set aside", "--note", "leaks")
    assert "next: set aside: leaks" in measured("rack", "--all")


def test_batches_are_sorted_and_the_best_drafted(cli: Cli) -> None:
    days = Days()
    with days.open(cli.home / "data" / "gaugelink.db") as store:
        for number in range(4):
            measure(store, days, f"R{number}", "sort", {0: lambda _: 0.0}.get(number, _uneven))
            measure(store, days, f"R{number}", "finish")
            store.workbook.add_test(f"R{number}", "2031-05-04", PlayingTest(tone=4))
    shown = cli("batch", "sort", "autumn")
    assert shown.splitlines()[0].split()[:3] == ["1.", "R0", "sound"]
    assert "uneven by" in shown
    assert cli.json("batch", "sort", "autumn")[0]["name"] == "R0"
    shown = cli("batch", "best")
    assert shown.startswith("4 graded, 4 of them 4")
    assert "finish, crossed, left, 62: mean 44.0; 44.0 to 44.0" in shown
    assert cli.json("batch", "best")["free_needs"] == 46
    drafted = cli("batch", "best", "--draft", "mine")
    assert f"drafted: {cli.home / 'config' / 'styles' / 'mine.toml'}" in drafted
    assert "draft" in cli("styles", "mine")
    cli("batch", "best", "--draft", "mine", code=1)
    assert "already" in cli.err


def _uneven(stop: Stop) -> float:
    return 3.0 if stop.station.across < 0 else 0.0


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("reed", "R1", "dance"), 2, "known are advice, strokes"),
        (("batch", "dance"), 2, "known are sort"),
        (("reed", "R1", "crow"), 2, "one of them"),
        (("reed", "R1", "crow", "C5", "--hertz", "5"), 2, "one of them"),
        (("reed", "R1", "crow", "H5"), 1, "is no pitch"),
        (("reed", "R1", "clip", "--length", "long"), 2, "no length in millimetres"),
        (("reed", "R1", "clip", "--length", "700"), 1, "no length of a reed"),
        (("reed", "R1", "clip", "--correct"), 2, "no --length to note"),
        (("reed", "R1", "strokes", "windows", "-3"), 2, "-3"),
        (("reed", "R1", "strokes", "tail", "3"), 1, "has no zone 'tail'"),
        (("reed", "R1", "play", "--tone", "6"), 2, "6"),
        (("reed", "R1", "play", "--day", "2031-05-04"), 2, "nothing to note"),
        (("reed", "R1", "moved"), 1, "in one sitting only"),
        (("reed", "R9", "advice"), 1, "no reed is called 'R9'"),
        (("batch", "sort", "winter"), 1, "no reed on the rack is of batch 'winter'"),
        (("batch", "best"), 1, "no reed has a grade yet"),
    ],
)
def test_what_is_wrong_is_one_line(
    measured: Cli, words: tuple[str, ...], code: int, said: str
) -> None:
    assert measured(*words, code=code) == ""
    assert said in measured.err
    assert measured.err.startswith("gaugelink: ")
    assert measured.err.count("\n") == 1


def test_a_length_is_exact(measured: Cli) -> None:
    line = measured("reed", "R1", "clip", "--length", "70.457", "--json")
    assert json.loads(line, parse_float=Decimal)["length"] == Decimal("70.457")


def test_a_backup_is_made_and_put_back(measured: Cli, tmp_path: Path) -> None:
    file = tmp_path / "copy.db"
    assert "reeds 1, captures 12" in measured("backup", str(file))
    measured("rack", "add", "R2", "--style", "millrace-long")
    shown = measured("restore", str(file))
    assert f"restored from {file}: reeds 1, captures 12" in shown
    assert "as it was before: " in shown
    assert [each["name"] for each in measured.json("rack")] == ["R1"]
    measured("backup", str(file), code=1)
    assert "is there already" in measured.err
    measured("restore", str(tmp_path / "none.db"), code=1)
    assert "there is no file" in measured.err
