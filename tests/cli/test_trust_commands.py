"""Proving and studying a gauge from the command line, over a real pseudo-terminal."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from gaugelink.cli.diagnose import proved
from gaugelink.daemon.messages import GaugeCounts
from tests.cli.standing import Spindle, command, lines, run
from tests.cli.test_commands import QUICK
from tests.devices.pty_port import PtyPort

DESCRIPTION = ("--description", "signed-decimal-unit-cr")
SHIM = """
title = "one shim (invented)"
[[standards]]
nominal = 0.20
tolerance = 0.001
[limits]
error = 0.02
repeatability = 0.02
"""


@pytest.fixture
def home(tmp_path: Path) -> Path:
    return tmp_path / "home"


@pytest.fixture
def shim(tmp_path: Path) -> str:
    file = tmp_path / "shim.toml"
    file.write_text(SHIM)
    return str(file)


def test_a_gauge_is_proved_by_standing_still_and_its_proof_is_kept(home: Path, shim: str) -> None:
    prove = ("--standards", shim, "--repeats", "2")
    # Up 20.5, down 20.7: from the second zero on it comes round again.
    with PtyPort() as port, Spindle(port, (0, 20.5, 20.7)):
        *taken, proof = lines(
            home, "prove", "--gauge", "left", "--port", port.path, *DESCRIPTION, *prove, "--json"
        )
    assert [each["hundredths"] for each in taken] == [0, 20.5, 20.7, 0, 20.5, 20.7, 0]
    assert [each["number"] for each in taken] == list(range(7))
    assert proof["gauge"] == "left"
    assert proof["outcome"] == "pass"
    assert proof["proof"]["greatest_error"] == pytest.approx(0.7)
    assert proof["proof"]["hysteresis"] == pytest.approx(0.2)
    (kept,) = lines(home, "prove", "--list", "--json")
    assert kept == proof
    assert "pass: error 0.7" in run(home, "prove", "--list", "--gauge", "left")[0]
    assert "no gauge was proved yet" in run(home, "prove", "--list", "--gauge", "x")[0]


def test_a_gauge_of_a_running_hub_is_proved_and_it_is_said_in_words_first(
    home: Path, shim: str
) -> None:
    with PtyPort() as port, Spindle(port, (0, 24.0)):
        serve = command(home, "serve", "--port", port.path, *DESCRIPTION, "--json")
        with subprocess.Popen(serve, stdout=subprocess.PIPE, text=True) as hub:
            assert hub.stdout
            hub.stdout.readline()
            prove = ("prove", "--gauge", "gauge", "--standards", shim, "--repeats", "2")
            assert "never proved: gaugelink prove --gauge gauge" in run(home, "diagnose")[0]
            said, _ = run(home, *prove)
            assert "proved on 2" in run(home, "diagnose")[0]
            hub.terminate()
    assert "next (1 of 7): the bare tongue" in said
    assert "next (2 of 7): the 0.2 mm standard, going up, round 1" in said
    assert "it fails (error 4 against 2)" in said
    assert said.index("at worst it shows 4 too much, at 20") < said.index("combined")


def test_a_study_alone_is_planned_left_gone_on_with_and_solved(home: Path) -> None:
    plan = ("plan", "--gauge", "left", "--alone", "--station", "crossed/53/+0.5")
    (planned,) = lines(
        home, "study", *plan, "--placings", "2", "--lifts", "2", "--seed", "1", "--json"
    )
    assert (planned["series"], planned["of"], planned["kind"]) == (1, 4, "placing")
    with PtyPort() as port, Spindle(port, (40.1, 40.3, 41.2, 41.4), still=0.7):
        where = ("study", "run", "1", "--port", port.path, *DESCRIPTION)
        with subprocess.Popen(
            command(home, *where, "--trigger", "lines", "--json"),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        ) as process:
            assert process.stdin
            assert process.stdout
            said: list[dict[str, Any]] = []
            while not any(each["is"] == "taken" for each in said):
                time.sleep(0.15)
                process.stdin.write("\n")
                process.stdin.flush()
                said.append(json.loads(process.stdout.readline()))
            process.stdin.close()
            assert process.wait(30) == 0
        assert {each["is"] for each in said} <= {"taken", "refused"}
        assert "1 of 4 readings" in run(home, "study")[0]
        run(home, "study", "solve", "1", code=1)
    with PtyPort() as port, Spindle(port, (40.1, 40.3, 41.2, 41.4)):
        *taken, study = lines(
            home, "study", "run", "1", "--port", port.path, *DESCRIPTION, "--json"
        )
    assert [each["number"] for each in taken] == [1, 2, 3]
    assert study["study"]["gauge"]["deviation"] > 0
    assert study["says"][0].startswith("two readings that differ by less than")
    said_again = run(home, "study", "solve", "1")[0]
    assert study["says"][0] in said_again
    assert "repeatability" in said_again
    assert json.loads(run(home, "study", "solve", "1", "--json")[0]) == study
    assert study["says"][0] in run(home, "study")[0]


def test_a_study_of_several_takes_its_stations_from_a_stage(home: Path) -> None:
    people = ("--person", "Ines", "--person", "Otto", "--trials", "2")
    stage = ("--style", "millrace-long", "--stage", "windows")
    (planned,) = lines(home, "study", "plan", "--gauge", "g", *people, *stage, "--json")
    steps = planned["plan"]["steps"]
    stations = {each["station"] for each in steps}
    assert planned["kind"] == "crossed"
    assert "crossed/53/+0.5" in stations
    assert planned["of"] == len(steps) == len(stations) * 4


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("prove", "--gauge", "g"), "--standards"),
        (("prove", "--standards", "s.toml"), "--gauge, or the --port"),
        (("prove", "--gauge", "g", "--standards", "s.toml", "--repeats", "1"), "--repeats"),
        (("study", "plan", "--gauge", "g", "--alone"), "Name each --station"),
        (("study", "plan", "--gauge", "g", "--style", "x"), "go together"),
        (
            ("study", "plan", "--gauge", "g", "--alone", "--station", "a", "--person", "b"),
            "one person",
        ),
        (("study", "run"), "NUMBER"),
    ],
)
def test_a_wrong_call_ends_with_2(home: Path, words: tuple[str, ...], said: str) -> None:
    out, err = run(home, *words, code=2)
    assert out == ""
    assert said in err
    assert err.count("\n") == 1


def test_a_failure_is_one_line_and_ends_with_1(home: Path, shim: str) -> None:
    for words, said in (
        (("prove", "--gauge", "left", "--standards", "none.toml"), "none.toml: cannot be read"),
        (("prove", "--gauge", "left", "--standards", shim), "no gauge is called 'left'"),
        (("study", "run", "1", "--port", "/nowhere"), "there is no series 1"),
        (("study", "solve", "1"), "there is no series 1"),
        (("study", "plan", "--gauge", "g", "--station", "a", "--person", "b"), "two people"),
    ):
        out, err = run(home, *words, code=1)
        assert out == ""
        assert said in err
        assert err.count("\n") == 1


def test_the_end_of_the_input_leaves_a_proof_unfinished(home: Path, shim: str) -> None:
    with PtyPort() as port, Spindle(port, (0,)):
        where = ("prove", "--port", port.path, *DESCRIPTION, "--standards", shim)
        _, err = run(home, *where, "--trigger", "lines", code=1)
    assert "the proof is left at 0 of 10 readings" in err
    assert "left at 0 of 10 readings" in run(home, "prove", "--list")[0]


@pytest.mark.parametrize(
    ("proved_at", "old", "said"),
    [
        ("", False, "never proved: gaugelink prove --gauge left --standards FILE.toml"),
        ("2031-05-04T12:00:00Z", False, "proved on 2031-05-04"),
        ("2031-05-04T12:00:00Z", True, "too long ago to rely on: gaugelink prove --gauge left"),
    ],
)
def test_diagnose_reminds_to_prove(proved_at: str, old: bool, said: str) -> None:
    counts = GaugeCounts(
        *("left", "p", "d", "up", 1, 0.0, None, {}, "", 0), proved_at=proved_at, proof_old=old
    )
    assert said in proved(counts)
    assert old == ("too long ago" in proved(counts))


IDLE = ("scipy.special", "scipy.stats", "scipy.integrate", "gaugelink.metrology.plans")
"""What the analysis is made with. pint looks for a bare numpy and scipy by itself."""


@pytest.mark.parametrize(
    ("words", "names"),
    [
        (["--version"], ("scipy", "numpy", *IDLE)),
        (["diagnose"], ("scipy", "numpy", *IDLE)),
        (["rack"], ("scipy", "numpy", *IDLE)),
        (["practice", "--headless", "--json", "--style", "quick"], IDLE),
    ],
)
def test_the_analysis_is_not_imported_by_what_does_not_use_it(
    home: Path, words: list[str], names: tuple[str, ...]
) -> None:
    (home / "config" / "styles").mkdir(parents=True)
    (home / "config" / "styles" / "quick.toml").write_text(QUICK)
    program = (
        "import atexit, sys\n"
        "def late():\n"
        f"    found = [name for name in {names!r} if name in sys.modules]\n"
        "    print('late:', *found, file=sys.stderr)\n"
        "atexit.register(late)\n"
        f"sys.argv = {['gaugelink', '--home', str(home), *words]!r}\n"
        "from gaugelink.cli import main\n"
        "main()\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr.splitlines()[-1] == "late:"


def test_the_benchs_first_paint_imports_no_analysis() -> None:
    program = (
        "import sys\n"
        "from tests.benchmarks.first_paint import bench\n"
        "bench().run(headless=True)\n"
        f"found = [name for name in {('scipy', 'numpy', *IDLE)!r} if name in sys.modules]\n"
        "print('late:', *found, file=sys.stderr)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr.splitlines()[-1] == "late:"
