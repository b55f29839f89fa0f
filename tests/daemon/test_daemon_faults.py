"""One follower, one gauge, one bench, one bad file: none of them takes the hub down.

And none of them makes a value land at another station than the one it was taken for.
"""

from __future__ import annotations

import asyncio
import contextlib
import functools
import json
import logging
import shutil
import socket
import sys
import threading
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from gaugelink.daemon import messages as m
from gaugelink.daemon import server
from gaugelink.daemon.address import TcpAddress, address_in
from gaugelink.daemon.client import HubError, LocalClient, connect
from gaugelink.daemon.followers import Mailbox
from gaugelink.daemon.hub import Hub
from gaugelink.daemon.server import serving
from gaugelink.devices.link import LinkError
from gaugelink.reading import GaugelinkError
from gaugelink.store.errors import StoreError
from gaugelink.store.store import Store
from tests.daemon.scripted import Scene, scene, settle, until
from tests.daemon.test_server import line, served

FULL = "the disk is full: nothing was saved; free some space"


def full(*_: object, **__: object) -> None:
    raise StoreError(FULL)


def captured(bench: Scene, count: int) -> bool:
    return len(bench.of(m.Captured)) == count


@contextlib.contextmanager
def slow(monkeypatch: pytest.MonkeyPatch, method: str) -> Iterator[tuple[Any, Any]]:
    """The store's method waits until the second event is set, and says so with the first."""
    waiting, go_on = threading.Event(), threading.Event()
    whole = getattr(Store, method)

    def held(self: Store, *args: Any, **kwargs: Any) -> Any:
        waiting.set()
        go_on.wait(10)
        return whole(self, *args, **kwargs)

    with monkeypatch.context() as patch:
        patch.setattr(Store, method, held)
        try:
            yield waiting, go_on
        finally:
            go_on.set()


# Files


async def test_a_wrong_description_file_hinders_no_other_and_is_said_when_none_fits(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    own = tmp_path / "descriptions"
    own.mkdir()
    (own / "mine.toml").write_text("name = ")
    async with scene(tmp_path / "s.db", descriptions=own) as bench:
        await bench.client.ask(m.AddGauge(name="g", port="scripted"))
        await until(lambda: "scripted" in bench.links and bench.link.opened > 0)

        async def none_fits(*_: object) -> None:
            raise LinkError("none of the described formats fits")

        monkeypatch.setattr("gaugelink.devices.links.describe", none_fits)
        await bench.client.ask(m.AddGauge(name="h", port="other"))
        await until(lambda: any("mine.toml" in each.reason for each in bench.of(m.GaugeEvent)))


async def test_a_remembered_gauge_whose_description_is_gone_is_down_until_it_is_back(
    tmp_path: Path,
) -> None:
    own = tmp_path / "descriptions"
    own.mkdir()
    shipped = Path(server.__file__).parents[1] / "devices" / "descriptions"
    text = (shipped / "bare-decimal-lf.toml").read_text()
    (own / "mine.toml").write_text(text.replace("bare-decimal-lf", "mine"))
    async with scene(tmp_path / "s.db", descriptions=own) as bench:
        await bench.gauge(description="mine")
    (own / "mine.toml").rename(tmp_path / "away")
    async with scene(tmp_path / "s.db", descriptions=own) as bench:
        await bench.hub.connect_remembered()
        await until(lambda: any("'mine'" in each.reason for each in bench.of(m.GaugeEvent)))
        shutil.move(tmp_path / "away", own / "mine.toml")
        await until(lambda: "scripted" in bench.links and bench.link.opened > 0)
        await settle()
        await bench.say(43)
        assert bench.of(m.ReadingEvent)[-1].hundredths == 43


async def test_a_broken_package_with_descriptions_is_an_error_and_the_hub_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    site = tmp_path / "site" / "strange-1.dist-info"
    site.mkdir(parents=True)
    (site / "METADATA").write_text("Metadata-Version: 2.1\nName: strange\nVersion: 1\n")
    (site / "entry_points.txt").write_text("[gaugelink.descriptions]\nx = no_such_package\n")
    monkeypatch.setattr(sys, "path", [str(site.parent), *sys.path])
    async with served(tmp_path) as (bench, address), line(address) as (reader, writer):
        writer.write(b'{"do":"add-gauge","name":"g","port":"p","description":"x","id":1}\n')
        error = json.loads(await reader.readline())
        assert (error["is"], error["id"]) == ("error", 1)
        assert "no_such_package" in error["text"]
        assert await bench.client.ask(m.Gauges()) == []


# What was not foreseen


async def test_a_request_that_fails_unforeseen_is_answered_and_logged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def fails(self: Store, all: bool = False) -> None:
        raise RuntimeError("never thought of")

    monkeypatch.setattr(Store, "reeds", fails)
    async with served(tmp_path) as (bench, address), line(address) as (reader, writer):
        with caplog.at_level(logging.ERROR):
            writer.write(b'{"do":"rack","id":1}\n{"do":"gauges","id":2}\n')
            error = json.loads(await reader.readline())
        assert "never thought of" in error["text"]
        assert json.loads(await reader.readline()) == {"is": "reply", "id": 2, "result": []}
        assert caplog.records[0].exc_info is not None
        with pytest.raises(HubError, match="never thought of"):
            await bench.client.ask(m.Rack())


async def test_a_gauge_that_fails_unforeseen_is_down_and_the_others_go_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    from gaugelink.capture.settling import Settler

    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge("g", "scripted")
        await bench.gauge("h", "other")
        with monkeypatch.context() as patch, caplog.at_level(logging.ERROR):
            patch.setattr(Settler, "feed", lambda self, reading: 1 / 0)
            await bench.say(43)
            await until(lambda: any("by zero" in each.reason for each in bench.of(m.GaugeEvent)))
            await until(lambda: bench.link.opened == 2)
        assert caplog.records[0].exc_info is not None
        bench.links["other"].feed(b"0.500\n", bench.clock.now)
        await settle()
        assert bench.of(m.ReadingEvent)[-1].gauge == "h"
        await settle()
        await bench.say(43)
        assert bench.of(m.ReadingEvent)[-1].gauge == "g"


async def test_a_capture_by_itself_that_fails_unforeseen_is_refused_aloud(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def fails(*_: object) -> None:
        raise RuntimeError("never thought of")

    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge(description="button-hundredths-crlf")
        await bench.walk()
        with monkeypatch.context() as patch, caplog.at_level(logging.ERROR):
            patch.setattr(Store, "add_capture", fails)
            bench.link.feed(b"  43\r\n", bench.clock.now)
            await until(lambda: bool(bench.of(m.Refused)))
        assert bench.of(m.Refused)[0].why == "not saved"
        bench.clock.now += 1
        bench.link.feed(b"  42\r\n", bench.clock.now)
        await until(lambda: bool(bench.of(m.Captured)))
        assert bench.of(m.Captured)[0].station == bench.of(m.WalkEvent)[-1].stops[0].station


async def test_a_walk_kept_by_another_version_is_an_error(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk()
        await bench.client.ask(m.StopWalk())
        await bench.hub._keeper.run(bench.hub._keeper.store.save_walk, 1, b'{"strange":1}')
        with pytest.raises(HubError, match="anew"):
            await bench.walk()
        assert (await bench.walk(anew=True)).at_stop == 0


# The store


async def test_a_push_at_the_end_of_a_pass_on_a_full_disk_is_refused_aloud(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge(description="button-hundredths-crlf")
        walk = await bench.walk()
        for done in range(1, len(walk.stops) + 1):
            bench.clock.now += 1
            bench.link.feed(b"  45\r\n", bench.clock.now)
            await until(functools.partial(captured, bench, done))
        with monkeypatch.context() as patch:
            patch.setattr(Store, "save_walk", full)
            bench.clock.now += 1
            bench.link.feed(b"  45\r\n", bench.clock.now)
            await until(lambda: bool(bench.of(m.Refused)))
        assert bench.of(m.Refused)[-1].text == FULL
        bench.clock.now += 1
        bench.link.feed(b"  45\r\n", bench.clock.now)
        await until(lambda: bench.of(m.WalkEvent)[-1].in_pass == 2)


async def test_a_skip_that_could_not_be_saved_has_not_happened(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        walk = await bench.walk()
        with monkeypatch.context() as patch:
            patch.setattr(Store, "save_walk", full)
            refused = await bench.press("skip")
        assert isinstance(refused, m.Refused)
        assert (refused.why, refused.text) == ("not saved", FULL)
        assert bench.of(m.Refused) == [refused]
        await bench.place(43)
        captured = await bench.press()
        assert captured.station == walk.stops[0].station


async def test_a_press_takes_what_stood_when_it_was_pressed_however_slow_the_store(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        walk = await bench.walk()
        await bench.place(43)
        with slow(monkeypatch, "add_capture") as (waiting, go_on):
            first = asyncio.create_task(bench.press())
            await asyncio.to_thread(waiting.wait, 10)
            await bench.place(38)
            second = asyncio.create_task(bench.press())
            await settle()
            await bench.place(55)  # on to the third station, where nothing has been pressed
            go_on.set()
            answers = [await first, await second]
        assert [each.hundredths for each in answers] == [43, 38]
        assert [each.station for each in answers] == [each.station for each in walk.stops[:2]]


async def test_a_push_counts_though_the_plug_is_pulled_before_the_store_has_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge(description="button-hundredths-crlf")
        await bench.walk()
        with slow(monkeypatch, "add_capture") as (waiting, go_on):
            for value in (43, 42):
                bench.clock.now += 1
                bench.link.feed(b"%4d\r\n" % value, bench.clock.now)
                await settle()
            await asyncio.to_thread(waiting.wait, 10)
            bench.link.refuse = "unplugged"
            bench.link.lose()
            await until(lambda: bench.of(m.GaugeEvent)[-1].link == "down")
            go_on.set()
            await until(lambda: len(bench.of(m.Captured)) == 2)
        assert [each.hundredths for each in bench.of(m.Captured)] == [43, 42]


# Followers that leave, stand still, or ask too much


async def test_who_presses_and_leaves_has_pressed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A pedal's program may connect, press and be gone before the disk has it."""
    async with served(tmp_path) as (bench, address):
        await bench.gauge()
        walk = await bench.walk()
        await bench.place(43)
        with slow(monkeypatch, "add_capture") as (waiting, go_on):
            async with line(address) as (_, writer):
                writer.write(b'{"do":"press","gesture":"capture","id":1}\n')
                await asyncio.to_thread(waiting.wait, 10)
            await settle()
            go_on.set()
            await until(lambda: bool(bench.of(m.Captured)))
        await until(lambda: bench.of(m.WalkEvent)[-1].at_stop == 1)
        await bench.place(41)
        assert (await bench.press()).station == walk.stops[1].station


async def test_who_has_said_all_it_wants_is_still_answered(tmp_path: Path) -> None:
    """As of `printf … | nc -N -U hub.sock`."""
    async with served(tmp_path) as (_, address), line(address) as (reader, writer):
        writer.write(b'{"do":"rack","id":1}\n{"do":"gauges","id":2}\n')
        writer.write_eof()
        async with asyncio.timeout(5):
            said = [json.loads(each) for each in (await reader.read()).splitlines()]
        assert [(each["is"], each["id"]) for each in said] == [("reply", 1), ("reply", 2)]


async def test_who_leaves_while_a_gauge_is_removed_does_not_keep_the_hub_from_ending(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tests.daemon.scripted import ScriptedLink

    closing, go_on = asyncio.Event(), asyncio.Event()

    async def close(self: ScriptedLink) -> None:
        closing.set()
        await go_on.wait()

    monkeypatch.setattr(ScriptedLink, "close", close)
    async with asyncio.timeout(10), served(tmp_path) as (bench, address):
        await bench.gauge()
        async with line(address) as (_, writer):
            writer.write(b'{"do":"remove-gauge","name":"g","id":1}\n')
            await closing.wait()
        await settle()
        go_on.set()
    assert await connect(address) is None


async def test_a_follower_that_stands_still_does_not_keep_the_hub_from_ending(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(server, "FAREWELL", 0.1)
    with socket.socket(socket.AF_UNIX) as still:
        async with asyncio.timeout(10):
            async with served(tmp_path) as (bench, address):
                await bench.gauge()
                still.connect(str(address.socket))
                still.sendall(b'{"do":"follow","id":1}\n')
                await settle()
                await asyncio.sleep(0.05)
                for _ in range(40):
                    await bench.say(43, 100)


async def test_who_asks_and_does_not_read_is_asked_to_wait(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = 0
    handle = Hub.handle

    async def counting(self: Hub, request: m.Request, follower: Any) -> Any:
        nonlocal asked
        asked += 1
        return await handle(self, request, follower)

    async with served(tmp_path) as (bench, address):
        await bench.gauge()
        await bench.walk()  # its event, some thousand bytes, is the answer
        monkeypatch.setattr(Hub, "handle", counting)
        async with line(address) as (reader, writer):
            reader._transport.pause_reading()  # type: ignore[attr-defined]
            writer.write(b'{"do":"walk","id":1}\n' * 5000)
            before = -1
            while before < asked:
                before = asked
                await asyncio.sleep(0.2)
            assert 0 < asked < 2500
            # It is answered all the same, once it reads.
            reader._transport.resume_reading()  # type: ignore[attr-defined]
            async with asyncio.timeout(30):
                for _ in range(5000):
                    assert b'"is":"walk"' in await reader.readline()


async def test_a_follower_hopelessly_behind_is_let_go(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(server, "MOST_BEHIND", 100)
    async with served(tmp_path) as (bench, address):
        with socket.socket(socket.AF_UNIX) as still:
            still.connect(str(address.socket))
            still.sendall(b'{"do":"follow","readings":false,"id":1}\n')
            await asyncio.sleep(0.05)
            before = (await bench.client.ask(m.Diagnose())).followers
            event = m.Refused("bench", "moving", "x" * 10_000)
            for _ in range(200):
                bench.hub.tell(event)
            await settle()
            assert (await bench.client.ask(m.Diagnose())).followers == before - 1


async def test_json_that_is_nested_without_end_is_a_wrong_line(tmp_path: Path) -> None:
    async with served(tmp_path) as (_, address), line(address) as (reader, writer):
        writer.write(b'{"x":' + b"[" * 30_000 + b"\n")
        error = json.loads(await reader.readline())
        assert error["is"] == "error"
        assert await reader.read() == b""


def test_a_push_is_never_left_out_for_a_slow_follower() -> None:
    box = Mailbox()
    one = Decimal(1)
    pushes = [
        m.ReadingEvent("g", seq, 0.0, one, one, "mm", "0.01", "settled", one, 0.0, pushed=True)
        for seq in range(3)
    ]
    for push in pushes:
        box.put(push)
    assert box.take() == pushes
    assert not box


async def test_two_that_connect_one_indicator_at_once_get_one_gauge(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        other = LocalClient(bench.hub)
        wanted = m.AddGauge(name="g", port="scripted", description="bare-decimal-lf")
        await asyncio.gather(bench.client.ask(wanted), other.ask(wanted))
        await settle()
        assert bench.link.opened == 1
        answers = await asyncio.gather(
            bench.client.ask(m.AddGauge(name="x", port="two", description="bare-decimal-lf")),
            other.ask(m.AddGauge(name="y", port="two", description="bare-decimal-lf")),
            return_exceptions=True,
        )
        assert sum(isinstance(each, HubError) for each in answers) == 1
        await other.close()


async def test_two_that_start_one_walk_at_once_share_it(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        other = LocalClient(bench.hub)
        wanted = m.StartWalk(reed="R1", style="millrace-long", stage="windows", gauge="g")
        await asyncio.gather(bench.client.ask(wanted), other.ask(wanted))
        walks = await bench.hub._keeper.run(bench.hub._keeper.store.counts)
        assert walks.walks == 1
        await other.close()


# Addresses


async def test_an_address_file_left_behind_may_lead_to_another_program(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("GAUGELINK_TCP", "1")
    monkeypatch.setattr("gaugelink.daemon.client.GREETING_WITHIN", 0.1)
    address = address_in(tmp_path)
    with socket.create_server(("127.0.0.1", 0)) as other:
        address.write_tcp(other.getsockname()[1])
        assert await connect(address) is None
        assert isinstance(address.read_tcp(), TcpAddress)


async def test_a_hub_that_just_ends_is_none(tmp_path: Path) -> None:
    address = address_in(tmp_path)

    async def ends(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.close()

    ending = await asyncio.start_unix_server(ends, address.socket)
    assert await connect(address) is None
    ending.close()
    await ending.wait_closed()


async def test_a_folder_in_the_sockets_place_is_said(tmp_path: Path) -> None:
    address = address_in(tmp_path)
    address.socket.mkdir()
    async with scene(tmp_path / "s.db") as bench:
        with pytest.raises(GaugelinkError, match=r"hub\.sock"):
            async with serving(bench.hub, address):
                pytest.fail("it cannot serve")
