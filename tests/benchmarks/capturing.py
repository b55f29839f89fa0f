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
from tests.daemon.kill import STYLE
from tests.devices.pty_port import PtyPort

CAPTURES = 580
"""As many as the stream's style has stations, nearly."""

ROUNDS = 3


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


async def _round(home: Path, number: int, bare: Bare) -> tuple[list[float], list[float]]:
    with PtyPort() as port:
        client = await connect(address_in(folders(home).runtime))
        assert client is not None
        await client.ask(
            m.AddGauge(name=f"g{number}", port=port.path, description="bare-decimal-lf")
        )
        await client.ask(m.AddReed(name=f"R{number}", style="stream"))
        await client.ask(
            m.StartWalk(reed=f"R{number}", style="stream", stage="all", gauge=f"g{number}")
        )
        pairs = await _presses(client, port, bare)
        await client.ask(m.StopWalk())
        await client.ask(m.RemoveGauge(name=f"g{number}"))
        await client.close()
    return [pair[0] for pair in pairs], [pair[1] for pair in pairs]


async def _presses(client: SocketClient, port: PtyPort, bare: Bare) -> list[tuple[float, float]]:
    pairs = []
    for _ in range(CAPTURES):
        # Lift, place, stand still for the style's short while: then press, and time the answer.
        while True:
            for value in (b"9.000\n", b"9.500\n", *[b"0.430\n"] * 8):
                port.send(value)
                await asyncio.sleep(0.003)
            inserted = bare.insert()
            began = time.perf_counter()
            answer = await client.ask(m.Press(gesture="capture"))
            spent = time.perf_counter() - began
            if isinstance(answer, m.Captured):
                pairs.append((inserted, spent))
                break
    return pairs


async def _measure() -> list[Row]:
    with tempfile.TemporaryDirectory() as place:
        home = Path(place)
        style = folders(home).styles / "stream.toml"
        style.parent.mkdir(parents=True)
        quick = "settling = { still_for = 0.01, within = 1, creep = 0, lift = 6 }\n"
        style.write_text(STYLE.replace("walking =", quick + "walking ="))
        bare = Bare(home / "bare.db")
        daemon = await asyncio.create_subprocess_exec(
            sys.executable,
            *("-m", "gaugelink", "--home", str(home), "serve", "--json"),
            stdout=asyncio.subprocess.PIPE,
        )
        assert daemon.stdout is not None
        await daemon.stdout.readline()
        inserted: list[float] = []
        acknowledged: list[float] = []
        try:
            for number in range(ROUNDS):
                theirs, ours = await _round(home, number, bare)
                inserted += theirs
                acknowledged += ours
        finally:
            daemon.terminate()
            await daemon.wait()
            await daemon.stdout.read()
            bare.close()
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
