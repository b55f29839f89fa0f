"""Water, reminders and a watched zone on the command line."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import time
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import msgspec
import pytest

from gaugelink.cli.walk import Report
from gaugelink.craft.verdict import LEAVE, Verdict
from gaugelink.daemon.messages import Event, SoakReminder, ZoneAlert, ZoneWatched
from tests.cli.test_commands import Cli, Indicator
from tests.devices.pty_port import PtyPort
from tui import scene

FIRST = ZoneWatched(
    bench="bench",
    reed=scene.REED,
    zone="windows",
    title="windows",
    blade=None,
    target=Decimal(40),
    tolerance=Decimal(1),
    measured=0,
    values=[],
    estimate=None,
    spread=None,
    remaining=None,
    verdict=None,
    tendency="unknown",
    per_minute=None,
    per_minute_uncertainty=None,
)
LATER = msgspec.structs.replace(
    FIRST,
    measured=1,
    values=[Decimal(44)],
    estimate=Decimal(44),
    remaining=Decimal(4),
    verdict=Verdict("take", 4),
)


@pytest.mark.parametrize(
    ("event", "line"),
    [
        (
            SoakReminder("bench", scene.REED, 5),
            "  Halvard 12: 5 min out of the water; dip it before you measure on",
        ),
        (FIRST, "  watching windows: nothing is captured"),
        (LATER, "  watching windows: 44  take 4"),
        (ZoneAlert("bench", scene.REED, "windows", "windows", LEAVE), "  windows: on target"),
        (
            ZoneAlert("bench", scene.REED, "windows", "windows", Verdict("over", 2)),
            "  windows: over 2",
        ),
    ],
)
def test_a_walk_prints_it_as_any_other_event(
    event: Event, line: str, capsys: pytest.CaptureFixture[str]
) -> None:
    Report(scene.walk(3), as_json=False).event(event)
    assert capsys.readouterr().out.splitlines()[-1] == line
    Report(scene.walk(3), as_json=True).event(event)
    (printed,) = capsys.readouterr().out.splitlines()
    assert json.loads(printed)["is"] in ("soak-reminder", "zone-watched", "zone")


@pytest.fixture
def indicator() -> Iterator[str]:
    with PtyPort() as port:
        sending = Indicator(port, (43, 40))
        sending.start()
        yield port.path
        sending.end()


def test_a_line_says_dry_and_the_history_and_the_export_keep_it(
    tmp_path: Path, indicator: str
) -> None:
    cli = Cli(tmp_path / "home")
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
        process.stdin.write("dry\n")
        while not any(line["is"] == "captured" for line in said):
            time.sleep(0.15)
            process.stdin.write("\n")
            process.stdin.flush()
            said.append(json.loads(process.stdout.readline()))
        process.stdin.close()
        said += [json.loads(line) for line in process.stdout]
    assert [line["wet"] for line in said if line["is"] == "captured"] == ["dry"]
    (shown,) = [line for line in cli("reed", "R1", "--history").splitlines() if "pass 1" in line]
    assert shown.endswith(" dry")
    (row,) = csv.DictReader(io.StringIO(cli("export", "--format", "csv")))
    assert row["wet"] == "dry"
    (kept,) = json.loads(cli("export", "--format", "json"))["captures"]
    assert kept["wet"] == "dry"
