"""Fifty followers of a gauge that sends a thousand readings a second.

The bare baseline is the least that could be done: one process reads the port and sends a line with
the time to fifty sockets. The delay is from the moment that the bytes were read to the moment that
a follower has the line; all followers live in this process.
"""

from __future__ import annotations

import contextlib
import json
import selectors
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from gaugelink.daemon.address import address_in
from gaugelink.folders import folders
from tests.benchmarks.table import Row, percentile

FOLLOWERS = 50
RATE = 1000
SECONDS = 6.0
WARM_UP = 2.0

SENDER = f"""
import os, pty, time, tty
master, slave = pty.openpty()
tty.setraw(slave)
print(os.ttyname(slave), flush=True)
os.set_blocking(master, False)
due = time.monotonic()
number = 0
while True:
    due += 1 / {RATE}
    time.sleep(max(0.0, due - time.monotonic()))
    number += 1
    try:
        os.write(master, b"%.3f\\n" % (0.3 + number % 300 / 1000))
    except BlockingIOError:
        continue  # nobody reads yet
"""

BARE = """
import json, os, socket, sys, time, tty
port = os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY)
server = socket.socket(socket.AF_UNIX)
server.bind(sys.argv[2])
server.listen(100)
print("ready", flush=True)
followers = [server.accept()[0] for _ in range(int(sys.argv[3]))]
for each in followers:
    each.setblocking(False)
rest = b""
while True:
    data = os.read(port, 4096)
    at = time.monotonic()
    *lines, rest = (rest + data).split(b"\\n")
    for line in lines:
        out = json.dumps({"is": "reading", "at": at, "value": float(line)}).encode() + b"\\n"
        for each in followers:
            each.send(out)
"""


@contextlib.contextmanager
def running(*command: str) -> Iterator[str]:
    """A process, and the first line that it prints."""
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        try:
            yield process.stdout.readline().strip()
        finally:
            process.terminate()
            process.wait()


def follow(path: str, hello: bytes) -> tuple[list[float], int]:
    """The delays in seconds of all followers' readings, and how many readings they missed."""
    selector = selectors.DefaultSelector()
    rest: dict[int, bytes] = {}
    sockets = []
    for _ in range(FOLLOWERS):
        connection = socket.socket(socket.AF_UNIX)
        connection.connect(path)
        connection.setblocking(False)
        if hello:
            connection.send(hello)
        selector.register(connection, selectors.EVENT_READ)
        rest[connection.fileno()] = b""
        sockets.append(connection)
    delays: list[float] = []
    missed = 0
    began = time.monotonic()
    while (now := time.monotonic()) < began + SECONDS + WARM_UP:
        for key, _ in selector.select(0.1):
            data = sockets_by(key).recv(65536)
            now = time.monotonic()
            *lines, rest[key.fd] = (rest[key.fd] + data).split(b"\n")
            if now < began + WARM_UP:
                continue
            for line in lines:
                # The clock's field only: parsing all of it would measure this process.
                start = line.find(b'"at":')
                if line.startswith((b'{"is":"reading"', b'{"is": "reading"')):
                    delays.append(now - float(line[start + 5 :].split(b",", 1)[0]))
                    if b'"missed":0,' not in line and b'"missed"' in line:
                        missed += int(json.loads(line)["missed"])
    for connection in sockets:
        connection.close()
    selector.close()
    return delays, missed


def sockets_by(key: selectors.SelectorKey) -> socket.socket:
    """The socket of a selector's key."""
    assert isinstance(key.fileobj, socket.socket)
    return key.fileobj


def measure() -> list[Row]:
    results = []
    with tempfile.TemporaryDirectory() as place:
        home = Path(place)
        with running(sys.executable, "-c", SENDER) as port:
            path = str(home / "bare.sock")
            with running(sys.executable, "-c", BARE, port, path, str(FOLLOWERS)):
                results.append(follow(path, b""))
        with running(sys.executable, "-c", SENDER) as port:
            command = ("-m", "gaugelink", "--home", str(home), "serve", "--port", port)
            with running(sys.executable, *command, "--description", "bare-decimal-lf"):
                address = address_in(folders(home).runtime)
                results.append(follow(str(address.socket), b'{"do":"follow","id":1}\n'))
    (bare, _), (ours, missed) = results
    due = FOLLOWERS * RATE * SECONDS
    rows = []
    for share, name in ((0.5, "p50"), (0.99, "p99")):
        theirs_ms, ours_ms = percentile(bare, share) * 1000, percentile(ours, share) * 1000
        rows.append(
            Row(
                f"{FOLLOWERS} followers at {RATE} a second, {name} delay",
                f"{theirs_ms:.2f} ms",
                f"{ours_ms:.2f} ms",
                ours_ms / theirs_ms,
                "at most 2 ms" if name == "p99" else "-",
                name != "p99" or ours_ms <= 2.0,
            )
        )
    rows.append(
        Row(
            "  of the readings due, delivered",
            f"{len(bare) / due:.1%}",
            f"{len(ours) / due:.1%}",
            None,
            f"missed and said so: {missed / due:.1%}",
            True,
        )
    )
    return rows
