"""The advice that a walk without a screen ends with, printed by the process."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cli.test_commands import Cli, Indicator
from tests.devices.pty_port import PtyPort

WALK = (
    *("--description", "signed-decimal-unit-cr"),
    *("--style", "quick", "--stage", "w", "--reed", "R1", "--trigger", "dwell"),
)


@pytest.fixture
def indicator() -> Iterator[str]:
    """The port of an indicator that measures 46 and 40 in turn; the target is 40."""
    with PtyPort() as port:
        sending = Indicator(port, (46, 40))
        sending.start()
        yield port.path
        sending.end()


def test_it_is_printed_before_the_last_line(tmp_path: Path, indicator: str) -> None:
    cli = Cli(tmp_path / "home")
    lines = cli("walk", "--port", indicator, *WALK).splitlines()
    at = lines.index(
        "R1, Windows (each value ± 1.0 hundredths, assumed until the gauge is studied on a reed):"
    )
    # The walk may begin with either value: which blade is the thick one is not said here.
    (step,) = [line for line in lines[at:] if line.startswith("  1. ")]
    assert ", right, w: take " in step
    assert lines[at + 1] == step
    assert lines[-2] == "It is advice: your ear and judgement decide."
    assert lines[-1].startswith("2 captured: ")


def test_it_is_an_event_on_a_line_and_the_summary_is_the_last(
    tmp_path: Path, indicator: str
) -> None:
    cli = Cli(tmp_path / "home")
    *lines, advice, summary = cli.lines("walk", "--port", indicator, *WALK, "--json")
    assert summary["is"] == "summary"
    assert advice["is"] == "advice"
    assert (advice["bench"], advice["reed"], advice["stage"]) == ("walk", "R1", "w")
    assert advice["uncertainty"] == 0.5
    assert [line["is"] for line in lines].count("captured") == 2
    (step,) = advice["steps"]
    assert 1 <= step["take"] <= 6


def test_a_walk_that_is_left_has_none(tmp_path: Path, indicator: str) -> None:
    cli = Cli(tmp_path / "home")
    words = ["lines" if each == "dwell" else each for each in WALK]
    (summary,) = cli.lines("walk", "--port", indicator, *words, "--json", stdin="")
    assert summary["is"] == "summary"
    assert not summary["done"]
    # Nor where nothing was measured: every place was left out, one a run, since a second press
    # that comes at once is none.
    for left_out in (1, 2):
        (summary,) = cli.lines("walk", "--port", indicator, *words, "--json", stdin="skip\n")
        assert summary["skipped"] == left_out
    assert summary["done"]
    assert "no advice" not in cli.err
