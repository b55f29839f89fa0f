"""An indicator whose spindle is set down on one thing after another, and the command line as a
process of its own."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from itertools import cycle
from pathlib import Path
from typing import Any

from tests.devices.pty_port import PtyPort

EVERY = 0.02
"""Seconds between two readings."""


class Spindle(threading.Thread):
    """Goes through the values, in hundredths, over and over: a lift, then each for `still` seconds.

    A hand that waits for the right moment is not needed: what is asked for comes round again.
    """

    def __init__(self, port: PtyPort, values: tuple[float, ...], still: float = 1.1) -> None:
        super().__init__(daemon=True)
        self._port = port
        self._values = values
        self._count = round(still / EVERY)
        self._ended = threading.Event()

    def run(self) -> None:
        for value in cycle(self._values):
            # Longer than a slip of the spindle takes.
            for hundredths in (*(900, 940, 910) * 10, *[value] * self._count):
                if self._ended.wait(EVERY):
                    return
                self._port.send(b"%+09.4fmm\r" % (hundredths / 100))

    def __enter__(self) -> Spindle:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ended.set()
        self.join()


def command(home: Path, *words: str) -> list[str]:
    """`gaugelink` with a home of its own, as a command line."""
    return [sys.executable, "-m", "gaugelink", "--home", str(home), *words]


def run(home: Path, *words: str, code: int = 0, stdin: str = "") -> tuple[str, str]:
    """What it prints and says on standard error; it must end with `code`."""
    done = subprocess.run(
        command(home, *words), input=stdin, capture_output=True, text=True, timeout=90
    )
    assert done.returncode == code, done.stderr
    return done.stdout, done.stderr


def lines(home: Path, *words: str, stdin: str = "") -> list[dict[str, Any]]:
    """The JSON lines it prints."""
    return [json.loads(line) for line in run(home, *words, stdin=stdin)[0].splitlines()]
