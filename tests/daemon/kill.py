"""Kill the daemon with SIGKILL in a stream of captures, and see that none it told of is missing.

`python -m tests.daemon.kill --times 1000` is the long run; the suite does fifty.

Each trial starts `gaugelink serve` as a process of its own on the store that the trials before
left behind. An indicator on a pseudo-terminal pushes one value after another, each a capture. At a
random moment the daemon is killed. Then the store must hold every acknowledged capture once, the
walk must stand just behind the newest capture, and SQLite must find its file whole.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import json
import os
import random
import signal
import sqlite3
import sys
import tempfile
import threading
import time
from pathlib import Path

from gaugelink.daemon import messages as m
from gaugelink.daemon.address import address_in
from gaugelink.daemon.client import HubGone, SocketClient, connect
from gaugelink.folders import folders
from tests.devices.pty_port import PtyPort

STATIONS = 600
LONGEST = 0.6
"""Seconds from the first push to the kill, at most."""

STYLE = f"""
name = "stream"
title = "A stream of captures (invented)"
lengths = {{ tube = 10.0, blank = 80.0, tip_line = 66.0, first_day = 70.0, finished = 69.0 }}
walking = {{ gesture = 0.0, thinnest = 0, thickest = 999 }}
[[zones]]
name = "all"
title = "all"
heights = [{", ".join(f"{11 + 0.1 * n:.1f}" for n in range(STATIONS // 2))}]
[[stages]]
name = "all"
title = "all"
targets = [{{ zone = "all", target = 40 }}]
"""


class Pusher(threading.Thread):
    """Presses the indicator's button about as fast as the daemon can write."""

    def __init__(self, port: PtyPort) -> None:
        super().__init__(daemon=True)
        self._port = port
        self._ended = threading.Event()
        self.started = threading.Event()

    def run(self) -> None:
        self.started.wait()
        number = 0
        while not self._ended.wait(0.001):
            number += 1
            self._port.send(b"%4d\r\n" % (10 + number % 100))

    def end(self) -> None:
        self._ended.set()
        self.started.set()
        self.join()


async def trial(home: Path, number: int, chance: random.Random) -> int:
    """One killing; how many captures had been acknowledged. AssertionError if one is lost."""
    with PtyPort() as port:
        daemon = await asyncio.create_subprocess_exec(
            sys.executable,
            *("-m", "gaugelink", "--home", str(home), "serve", "--json"),
            stdout=asyncio.subprocess.PIPE,
        )
        assert daemon.stdout is not None
        try:
            said = json.loads(await daemon.stdout.readline())
            assert said["is"] == "serving"
            acknowledged = await _stream(home, number, port, daemon, chance)
        finally:
            if daemon.returncode is None:
                daemon.kill()
            await daemon.wait()
            await daemon.stdout.read()
    check(folders(home).store, f"R{number}", acknowledged)
    return len(acknowledged)


async def _stream(
    home: Path,
    number: int,
    port: PtyPort,
    daemon: asyncio.subprocess.Process,
    chance: random.Random,
) -> dict[int, m.Captured]:
    client = await connect(address_in(folders(home).runtime))
    assert client is not None
    pusher = Pusher(port)
    pusher.start()
    acknowledged: dict[int, m.Captured] = {}
    try:
        for earlier in await client.ask(m.Gauges()):
            await client.ask(m.RemoveGauge(name=earlier.name))
        await client.ask(
            m.AddGauge(name=f"g{number}", port=port.path, description="button-hundredths-crlf")
        )
        await client.ask(m.AddReed(name=f"R{number}", style="stream"))
        await client.ask(m.Follow(readings=False))
        await client.ask(
            m.StartWalk(reed=f"R{number}", style="stream", stage="all", gauge=f"g{number}")
        )
        pusher.started.set()
        killing = asyncio.get_running_loop().call_later(
            chance.uniform(0.0, LONGEST), os.kill, daemon.pid, signal.SIGKILL
        )
        await _collect(client, acknowledged)
        killing.cancel()
    except HubGone:
        return acknowledged  # the point of it all
    finally:
        pusher.end()
        await client.close()
    return acknowledged


async def _collect(client: SocketClient, acknowledged: dict[int, m.Captured]) -> None:
    async with contextlib.aclosing(client.events()) as events:
        async for event in events:
            if isinstance(event, m.Captured):
                assert event.capture not in acknowledged
                acknowledged[event.capture] = event


def check(store: Path, reed: str, acknowledged: dict[int, m.Captured]) -> None:
    """Everything that was acknowledged is there, once, and the walk stands where they end."""
    with contextlib.closing(sqlite3.connect(store)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        kept = connection.execute(
            "SELECT captures.id, station, nanometres FROM captures"
            " JOIN reeds ON reeds.id = captures.reed WHERE reeds.name = ? ORDER BY captures.id",
            (reed,),
        ).fetchall()
        (state,) = connection.execute(
            "SELECT walks.state FROM walks JOIN reeds ON reeds.id = walks.reed"
            " WHERE reeds.name = ?",
            (reed,),
        ).fetchone() or (b"{}",)
    by_number = {number: (station, length) for number, station, length in kept}
    assert len(by_number) == len(kept)
    for number, event in acknowledged.items():
        assert by_number.get(number) == (event.station, int(event.hundredths * 10_000)), (
            f"capture {number} was acknowledged and is not there"
        )
    stations = [station for _, station, _ in kept]
    assert len(set(stations)) == len(stations), "a station was captured twice"
    taken = json.loads(state).get("taken", {})
    assert sorted(taken) == sorted(stations), "the walk does not stand behind its newest capture"


async def trials(times: int, seed: int, say: bool = False) -> int:
    """So many killings in a row on one store; returns how many captures were acknowledged."""
    chance = random.Random(seed)
    total = 0
    with tempfile.TemporaryDirectory() as place:
        home = Path(place)
        style = folders(home).styles / "stream.toml"
        style.parent.mkdir(parents=True)
        style.write_text(STYLE)
        began = time.monotonic()
        for number in range(times):
            total += await trial(home, number, chance)
            if say and (number + 1) % 50 == 0:
                spent = time.monotonic() - began
                print(
                    f"{number + 1} kills, {total} captures acknowledged, none lost, {spent:.0f} s",
                    flush=True,
                )
    return total


def main() -> None:
    """The long run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=os.getpid())
    given = parser.parse_args()
    print(f"seed {given.seed}")
    asyncio.run(trials(given.times, given.seed, say=True))


if __name__ == "__main__":
    main()
