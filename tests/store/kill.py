"""Kills a process that captures, again and again, and looks whether anything is missing.

`python -m tests.store.kill --times 1000` is the long run; the suite makes a short one. The process
that is killed is this module too: it opens the store, says `open`, and then prints the number of
each capture once `add_capture` has returned. Whatever it printed must be in the store, once.
"""

from __future__ import annotations

import argparse
import os
import random
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections import Counter
from contextlib import closing
from decimal import Decimal
from pathlib import Path

import msgspec

from gaugelink.store.store import Store
from tests.store.sample import begin_walk, capture

ROOT = Path(__file__).parents[2]
LATEST = 0.25
"""Seconds after which a process is killed at the latest, counted from its beginning to open."""
STATIONS = 6
ROUNDS_PER_STORE = 25


class Outcome(msgspec.Struct, frozen=True):
    """What a run of killing came to."""

    kills: int
    acknowledged: int
    unacknowledged: int
    """Captures that were durable, but whose process was killed before it could say so."""


def start(path: Path) -> subprocess.Popen[str]:
    """A process that captures into the store at `path` until it is killed.

    Returns once it is about to open the store.
    """
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.store.kill", "--child", str(path)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    if process.stdout.readline() != "opening\n":
        raise AssertionError(f"the capturing process did not start: {killed(process)}")
    return process


def killed(process: subprocess.Popen[str]) -> list[str]:
    """Kill a process with SIGKILL; the whole lines that it had printed by then."""
    process.kill()
    # Not `communicate`, which forgets what reading a line has left in the buffer.
    with process:
        assert process.stdout is not None
        *lines, _torn = process.stdout.read().split("\n")
    return lines


def run(times: int, seed: int, folder: Path) -> Outcome:
    """Kill a capturing process `times` times at random moments.

    Raises AssertionError for an acknowledged capture that is not there exactly once, or a store
    that is not sound.
    """
    moments = random.Random(seed)
    acknowledged: dict[Path, list[int]] = {}
    found = 0
    for count in range(times):
        path = folder / f"{count // ROUNDS_PER_STORE}.db"
        process = start(path)
        # The real time is the point here: it has to be cut off anywhere, opening included.
        time.sleep(moments.uniform(0, LATEST))
        said = acknowledged.setdefault(path, [])
        said += [int(line) for line in killed(process) if line != "open"]
        found_here = check(path, said)
        if count % ROUNDS_PER_STORE == ROUNDS_PER_STORE - 1 or count == times - 1:
            found += found_here
    total = sum(map(len, acknowledged.values()))
    return Outcome(times, total, found - total)


def check(path: Path, acknowledged: list[int]) -> int:
    """Open the store after a kill and compare; how many captures there are in it."""
    with Store.open(path) as store:
        captures = store.captures()
        latest = store.latest_walk("bench")
    numbers = Counter(each.capture for each in captures)
    wrong = [number for number in acknowledged if numbers[number] != 1]
    assert not wrong, f"acknowledged, but not there once: {wrong}"
    assert len(set(acknowledged)) == len(acknowledged), "one number was given to two captures"
    # Each was given its own contact by its process, and the walk's state counts with it.
    taken = Counter((each.session, each.contact) for each in captures)
    assert not [each for each, count in taken.items() if count > 1], "a capture is there twice"
    if latest is not None:
        newest = max((each.contact for each in captures if each.walk == latest.walk), default=0)
        assert int(latest.state) == newest, "the walk does not stand where its captures do"
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    return len(captures)


def capture_until_killed(path: Path) -> None:
    """The process that is killed."""
    print("opening", flush=True)
    with Store.open(path, socket="/run/invented.sock") as store:
        print("open", flush=True)
        choose = random.Random(os.getpid())
        walk, count = begin_walk(store, state=b"0"), 0
        while True:
            count += 1
            new = capture(
                walk,
                station=str(choose.randrange(STATIONS)),
                hundredths=Decimal(count),
                contact=count,
                at=time.monotonic(),
            )
            # Long and short in turn, so that the state's place in the file changes as well.
            state = str(count).encode().rjust(choose.choice([10, 12_000]))
            print(store.add_capture(new, state).capture, flush=True)


def main() -> None:
    """The long run, or the process that it kills."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--child", type=Path, help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.child is not None:
        capture_until_killed(arguments.child)
    with tempfile.TemporaryDirectory() as folder:
        outcome = run(arguments.times, arguments.seed, Path(folder))
    print(
        f"{outcome.kills} kills: {outcome.acknowledged} captures acknowledged and all there once; "
        f"{outcome.unacknowledged} more were durable before they could be acknowledged"
    )


if __name__ == "__main__":
    main()
