"""How long commands take to start, against the bare libraries that they cannot do without."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

from tests.benchmarks.table import Row, interleaved

PAINT = Path(__file__).with_name("first_paint.py")


def timed(*command: str) -> float:
    """Seconds of wall time of a process from its start to its end."""
    began = time.perf_counter()
    subprocess.run(
        command,
        check=True,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env={**os.environ, "TERM": "xterm-256color"},
    )
    return time.perf_counter() - began


def measure() -> list[Row]:
    python = sys.executable
    click, version = interleaved(
        lambda: timed(python, "-c", "import click"),
        lambda: timed(python, "-m", "gaugelink", "--version"),
        15,
    )
    bare, bench = interleaved(
        lambda: timed(python, str(PAINT), "bare"),
        lambda: timed(python, str(PAINT), "bench"),
        9,
    )
    return [
        Row(
            "gaugelink --version, against importing click",
            f"{click * 1000:.0f} ms",
            f"{version * 1000:.0f} ms",
            version / click,
            "at most 1.50",
            version <= 1.5 * click,
        ),
        Row(
            "first paint of the bench, against a bare Textual app",
            f"{bare * 1000:.0f} ms",
            f"{bench * 1000:.0f} ms",
            bench / bare,
            "at most 1.50",
            bench <= 1.5 * bare,
        ),
    ]
