"""A capture acknowledged over the socket, against a bare fsynced insert into SQLite."""

from __future__ import annotations

import asyncio
import sqlite3
import sys
import tempfile
import time
from pathlib import Path

from gaugelink.daemon import messages as m
from gaugelink.daemon.address import address_in
from gaugelink.daemon.client import SocketClient, connect
from gaugelink.folders import folders
from tests.benchmarks.table import Row, percentile
from tests.devices.pty_port import PtyPort

WALKS = 40
"""Each of the 24 stations of a common stage, on a reed of its own."""

STYLE = """
name = "quick"
title = "Settles fast (invented)"
lengths = { tube = 47.0, blank = 73.0, tip_line = 66.0, first_day = 70.0, finished = 69.0 }
settling = { still_for = 0.05 }
walking = { gesture = 0.0 }
[[zones]]
name = "all"
title = "all"
heights = [50, 53, 56, 59]
across = [-0.5, 0, 0.5]
[[stages]]
name = "all"
title = "all"
targets = [{ zone = "all", target = 40 }]
"""


Pair = tuple[float, float]


class Bare:
    """A table with as much in a row as a capture, committed durably one by one."""

    def __init__(self, path: Path) -> None:
        self._connection = sqlite3.connect(path, isolation_level=None)
        self._connection.execute("PRAGMA journal_mode=WAL")
        self._connection.execute("PRAGMA synchronous=FULL")
        self._connection.execute(
            "CREATE TABLE captures (id INTEGER PRIMARY KEY, station, zone, nanometres, at)"
        )

    def insert(self) -> float:
        began = time.perf_counter()
        self._connection.execute(
            "INSERT INTO captures (station, zone, nanometres, at) VALUES (?, ?, ?, ?)",
            ("crossed/53/-0.5", "windows", 430_000, began),
        )
        return time.perf_counter() - began

    def close(self) -> None:
        self._connection.close()


async def _walk(client: SocketClient, port: PtyPort, bare: Bare, reed: str) -> list[Pair]:
    """A walk's captures: what the bare insert took just before each, and what the capture took."""
    walk = await client.ask(m.StartWalk(reed=reed, style="quick", stage="all", gauge="g"))
    pairs: list[Pair] = []
    while len(pairs) < len(walk.stops):
        # Lift, set down, stand still for the style's short while; then press, and time the answer.
        for value in (b"9.000\n", b"9.500\n", *[b"0.430\n"] * 26):
            port.send(value)
            await asyncio.sleep(0.0025)
        inserted = bare.insert()
        began = time.perf_counter()
        answer = await client.ask(m.Press(gesture="capture"))
        spent = time.perf_counter() - began
        if isinstance(answer, m.Captured):
            pairs.append((inserted, spent))
    await client.ask(m.StopWalk())
    return pairs


async def _walks(home: Path, bare: Bare) -> list[Pair]:
    client = await connect(address_in(folders(home).runtime))
    assert client is not None
    with PtyPort() as port:
        await client.ask(m.AddGauge(name="g", port=port.path, description="bare-decimal-lf"))
        pairs = []
        for number in range(WALKS):
            pairs += await _walk(client, port, bare, f"R{number}")
        await client.ask(m.RemoveGauge(name="g"))
    await client.close()
    return pairs


async def _measure() -> list[Row]:
    with tempfile.TemporaryDirectory() as place:
        home = Path(place)
        style = folders(home).styles / "quick.toml"
        style.parent.mkdir(parents=True)
        style.write_text(STYLE)
        bare = Bare(home / "bare.db")
        daemon = await asyncio.create_subprocess_exec(
            sys.executable,
            *("-m", "gaugelink", "--home", str(home), "serve", "--json"),
            stdout=asyncio.subprocess.PIPE,
        )
        assert daemon.stdout is not None
        await daemon.stdout.readline()
        try:
            pairs = await _walks(home, bare)
        finally:
            daemon.terminate()
            await daemon.wait()
            await daemon.stdout.read()
            bare.close()
    inserted, acknowledged = zip(*pairs, strict=True)
    rows = []
    for share, name, aim in ((0.5, "p50", None), (0.99, "p99", 2.0)):
        theirs_ms = percentile(inserted, share) * 1000
        ours_ms = percentile(acknowledged, share) * 1000
        rows.append(
            Row(
                f"a capture acknowledged, {name} of {len(acknowledged)}",
                f"{theirs_ms:.2f} ms",
                f"{ours_ms:.2f} ms",
                ours_ms / theirs_ms,
                "at most 2.00" if aim else "-",
                aim is None or ours_ms <= aim * theirs_ms,
            )
        )
    return rows


def measure() -> list[Row]:
    return asyncio.run(_measure())
