"""The hub's socket: what a program in any language meets there."""

from __future__ import annotations

import asyncio
import contextlib
import json
import socket
import stat
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import jsonschema
import msgspec
import pytest

from gaugelink import __version__
from gaugelink.daemon import messages as m
from gaugelink.daemon import schema
from gaugelink.daemon.address import Address, address_in
from gaugelink.daemon.client import HubError, HubGone, connect
from gaugelink.daemon.server import serving
from tests.daemon.scripted import Scene, scene


@contextlib.asynccontextmanager
async def served(tmp_path: Path) -> AsyncIterator[tuple[Scene, Address]]:
    address = address_in(tmp_path / "run")
    async with scene(tmp_path / "s.db") as bench, serving(bench.hub, address):
        yield bench, address


@contextlib.asynccontextmanager
async def line(address: Address) -> AsyncIterator[tuple[asyncio.StreamReader, Any]]:
    """A bare connection, as another program makes it, after the greeting."""
    reader, writer = await asyncio.open_unix_connection(address.socket)
    try:
        greeting = json.loads(await reader.readline())
        assert greeting == {"is": "greeting", "protocol": 1, "version": __version__}
        yield reader, writer
    finally:
        writer.close()
        with contextlib.suppress(OSError):
            await writer.wait_closed()


async def test_a_request_is_answered_with_its_number(tmp_path: Path) -> None:
    async with served(tmp_path) as (_, address), line(address) as (reader, writer):
        writer.write(b'{"do":"gauges","id":7}\n{"do":"walk","id":8}\n')
        assert json.loads(await reader.readline()) == {"is": "reply", "id": 7, "result": []}
        assert json.loads(await reader.readline()) == {"is": "reply", "id": 8, "result": None}


async def test_only_its_user_may_open_the_socket(tmp_path: Path) -> None:
    async with served(tmp_path) as (_, address):
        assert stat.S_IMODE(address.socket.stat().st_mode) == 0o600
        assert stat.S_IMODE(address.socket.parent.stat().st_mode) == 0o700
    assert not address.socket.exists()


@pytest.mark.parametrize(
    "wrong",
    [
        b"not json\n",
        b'{"do":"dance"}\n',
        b'{"do":"press","gesture":"wink"}\n',
        b'{"do":"gauges","surplus":1}\n',
        b"\xff\xfe\n",
        b"[1,2]\n",
        b'{"do":"add-reed"}\n',
        b"x" * (m.LONGEST_LINE + 1) + b"\n",
        b"x" * (m.LONGEST_LINE * 2),
    ],
)
async def test_a_wrong_line_gets_an_error_then_the_end_and_the_hub_goes_on(
    tmp_path: Path, wrong: bytes
) -> None:
    async with served(tmp_path) as (_, address):
        async with line(address) as (reader, writer):
            writer.write(wrong)
            error = json.loads(await reader.readline())
            assert error["is"] == "error"
            assert error["id"] is None
            assert await reader.read() == b""
        async with line(address) as (reader, writer):
            writer.write(b'{"do":"gauges","id":1}\n')
            assert json.loads(await reader.readline())["is"] == "reply"


async def test_an_error_of_a_right_request_keeps_the_connection(tmp_path: Path) -> None:
    async with served(tmp_path) as (_, address), line(address) as (reader, writer):
        writer.write(b'{"do":"press","gesture":"capture","id":3}\n{"do":"gauges","id":4}\n')
        error = json.loads(await reader.readline())
        assert (error["is"], error["id"]) == ("error", 3)
        assert "start one first" in error["text"]
        assert json.loads(await reader.readline())["id"] == 4


async def test_a_line_may_come_in_pieces(tmp_path: Path) -> None:
    async with served(tmp_path) as (_, address), line(address) as (reader, writer):
        for byte in b'{"do":"gauges","id":5}\n':
            writer.write(bytes([byte]))
            await writer.drain()
        assert json.loads(await reader.readline())["id"] == 5


async def test_a_slow_follower_misses_readings_counted_but_no_capture(tmp_path: Path) -> None:
    async with served(tmp_path) as (bench, address):
        await bench.gauge()
        await bench.walk()
        slow = socket.socket(socket.AF_UNIX)
        slow.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        slow.setblocking(False)
        loop = asyncio.get_running_loop()
        await loop.sock_connect(slow, str(address.socket))
        await loop.sock_sendall(slow, b'{"do":"follow","id":1}\n')
        await loop.sock_recv(slow, 10)  # a part of the greeting: it is being served
        captured: list[int] = []
        # Nobody reads: far more than the socket and the hub's buffer hold.
        for value in (43, 41, 40, 42):
            for number in range(2000):
                bench.clock.now += 0.001
                bench.link.feed(b"%.3f\n" % (number / 200), bench.clock.now)
                await asyncio.sleep(0)
            await bench.place(value)
            answer = await bench.press()
            assert isinstance(answer, m.Captured)
            captured.append(answer.capture)
        total = bench.of(m.ReadingEvent)[-1].seq
        missed = (await bench.client.ask(m.Diagnose())).missed
        assert missed > 0
        reader, writer = await asyncio.open_unix_connection(sock=slow)
        got: list[dict[str, Any]] = []
        async with asyncio.timeout(10):
            await reader.readline()  # the rest of the greeting
            while not got or got[-1].get("seq") != total:
                got.append(json.loads(await reader.readline()))
        writer.close()
        await writer.wait_closed()
    readings = [each for each in got if each["is"] == "reading"]
    assert len(readings) + sum(each["missed"] for each in readings) == total
    assert any(each["missed"] for each in readings)
    assert [each["capture"] for each in got if each["is"] == "captured"] == captured


async def test_the_client_in_another_process_is_the_same_as_in_this_one(tmp_path: Path) -> None:
    async with served(tmp_path) as (bench, address):
        await bench.gauge()
        walk = await bench.walk()
        client = await connect(address)
        assert client is not None
        await client.ask(m.Follow())
        assert await client.ask(m.Walk()) == walk
        await bench.place(43)
        answer = await client.ask(m.Press(gesture="capture"))
        assert isinstance(answer, m.Captured)
        assert answer.hundredths == 43
        events = client.events()
        async for event in events:
            if isinstance(event, m.Captured):
                assert event == answer
                break
        await events.aclose()
        with pytest.raises(HubError, match="no gauge"):
            await client.ask(m.RemoveGauge(name="x"))
        await client.close()


async def test_when_the_hub_goes_the_client_says_so(tmp_path: Path) -> None:
    async with served(tmp_path) as (_, address):
        client = await connect(address)
        assert client is not None
        await client.ask(m.Follow())
    assert [event async for event in client.events()] == []
    with pytest.raises(HubGone, match="still running"):
        await client.ask(m.Gauges())
    await client.close()
    assert await connect(address) is None


async def test_what_captures_by_itself_is_left_when_its_client_goes(tmp_path: Path) -> None:
    async with served(tmp_path) as (bench, address):
        await bench.gauge()
        client = await connect(address)
        assert client is not None
        start = m.StartWalk(reed="R", style="millrace-long", stage="tip", gauge="g")
        await client.ask(msgspec.structs.replace(start, bench="pressed"))
        await client.ask(msgspec.structs.replace(start, reed="S", bench="dwelt", trigger="dwell"))
        await client.close()
        async with asyncio.timeout(5):
            while await bench.client.ask(m.Walk(bench="dwelt")) is not None:
                await asyncio.sleep(0.005)
        assert await bench.client.ask(m.Walk(bench="pressed")) is not None


async def test_on_tcp_the_token_opens(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GAUGELINK_TCP", "1")
    async with served(tmp_path) as (_, address):
        assert stat.S_IMODE(address.tcp.stat().st_mode) == 0o600
        client = await connect(address)
        assert client is not None
        assert await client.ask(m.Gauges()) == []
        await client.close()
        known = address.read_tcp()
        assert known is not None
        for first in (b'{"do":"open","token":"guess"}\n', b'{"do":"gauges"}\n'):
            reader, writer = await asyncio.open_connection("127.0.0.1", known.port)
            writer.write(first)
            error = json.loads(await reader.readline())
            assert error["is"] == "error"
            assert await reader.read() == b""
            writer.close()
            await writer.wait_closed()
    assert not address.tcp.exists()


def test_the_shipped_schema_is_that_of_the_structs() -> None:
    assert schema.FILE.read_text(encoding="utf-8") == schema.text(), (
        "run python -m gaugelink.daemon.schema"
    )


async def test_every_line_of_a_walk_is_valid_by_the_shipped_schema(tmp_path: Path) -> None:
    whole = json.loads(schema.FILE.read_text(encoding="utf-8"))
    message = jsonschema.Draft202012Validator({**whole, "$ref": "#/$defs/message"})
    request = jsonschema.Draft202012Validator({**whole, "$ref": "#/$defs/request"})
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        walk = await bench.walk()
        for index in range(len(walk.stops)):
            await bench.place(40 + index % 5)
            await bench.press()
        bench.clock.now += 0.1
        await bench.client.ask(m.Press(gesture="capture"))
        answers = [
            await bench.client.ask(each)
            for each in (m.Gauges(), m.Diagnose(), m.Styles(), m.Rack(), m.ReedHistory(name="R1"))
        ]
        lines = [*bench.events, *(m.Reply(1, each) for each in answers), m.Greeting(1, "x")]
    kinds = set()
    for each in lines:
        value = json.loads(m.encoder.encode(each))
        kinds.add(value["is"])
        message.validate(value)
        assert m.message_decoder.decode(m.encoder.encode(each)) == each
    assert kinds >= {"reading", "gauge", "walk", "captured", "refused", "reply", "greeting"}
    for asked in (m.Press(gesture="capture"), m.Follow(), m.Open(token="t")):
        request.validate(json.loads(m.encoder.encode(asked)))
    with pytest.raises(jsonschema.ValidationError):
        message.validate({"is": "reading", "gauge": 1})
    with pytest.raises(msgspec.ValidationError):
        m.message_decoder.decode(b'{"is":"reading","gauge":1}')
