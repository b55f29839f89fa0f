"""The hub's gauges as a screen meets them: raw bytes, names, places, and teaching."""

from __future__ import annotations

import asyncio
import subprocess
import sys
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.daemon import messages as m
from gaugelink.daemon.client import HubError, LocalClient
from gaugelink.daemon.followers import MOST_RAW, Mailbox
from gaugelink.devices.description import LinkSettings
from gaugelink.devices.discovery import PortInfo
from gaugelink.devices.serial_link import SerialLink, explain
from gaugelink.store.store import Store
from simulators.formats import formats
from simulators.serial_pty import PseudoTerminal
from tests.benchmarks.teaching import playing
from tests.daemon.real import PtyIndicator, first, following, link_of, real_hub
from tests.daemon.scripted import scene, settle, until

LF = "bare-decimal-lf"


async def test_raw_bytes_come_to_those_who_ask_before_anything_is_made_of_them(
    tmp_path: Path,
) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.gauge("h", "other")
        looking = LocalClient(bench.hub)
        await looking.ask(m.Follow(readings=False, gauges=["g"], raw=True))
        bench.links["other"].feed(b"9.999\n", 100.0)
        bench.link.feed(b"0.4", 100.5)
        await settle()
        heard = looking.events()
        assert await anext(heard) == m.RawEvent("g", 100.5, b"0.4".hex())
        assert bench.of(m.RawEvent) == []
        await looking.ask(m.Follow(gauges=["g"]))
        bench.link.feed(b"30\n", 100.6)
        await settle()
        assert isinstance(await anext(heard), m.ReadingEvent)
        await heard.aclose()
        await looking.close()


@given(st.lists(st.binary(min_size=1, max_size=3 * MOST_RAW), min_size=1, max_size=6))
def test_of_raw_bytes_a_slow_follower_gets_the_newest_and_the_count_of_the_rest(
    chunks: list[bytes],
) -> None:
    mailbox = Mailbox()
    for index, chunk in enumerate(chunks):
        mailbox.put(m.RawEvent("g", float(index), chunk.hex()))
    (event,) = mailbox.take()
    assert isinstance(event, m.RawEvent)
    everything, kept = b"".join(chunks), bytes.fromhex(event.hex)
    assert everything.endswith(kept)
    assert len(kept) + event.missed == len(everything)
    # One chunk alone is never cut: no link hands over so much at once.
    assert len(kept) <= max(MOST_RAW, len(chunks[0]) if len(chunks) == 1 else 0)
    assert len(mailbox) == 0


async def test_a_gauge_is_renamed_where_it_is_and_everybody_goes_on_hearing_it(
    tmp_path: Path,
) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.gauge("h", "other")
        await bench.walk()
        only = LocalClient(bench.hub)
        await only.ask(m.Follow(gauges=["g"]))
        opened = bench.link.opened
        renamed = await bench.client.ask(m.RenameGauge(name="g", to="  window dial "))
        assert (renamed.name, renamed.link) == ("window dial", "up")
        await settle()
        assert bench.of(m.GaugeGone) == [m.GaugeGone("g", renamed="window dial")]
        assert bench.of(m.WalkEvent)[-1].gauge == "window dial"
        # The link was not touched, and what is captured has the new name.
        await bench.place(43)
        assert (await bench.press()).gauge == "window dial"
        assert bench.link.opened == opened
        newest = [event async for event in _until_reading(only)][-1]
        assert newest.gauge == "window dial"
        await only.close()
        assert [each.name for each in await bench.client.ask(m.Gauges())] == ["window dial", "h"]
    async with scene(tmp_path / "s.db") as bench:
        await bench.hub.connect_remembered()
        gauges = await bench.client.ask(m.Gauges())
        assert {(each.name, each.port) for each in gauges} == {
            ("window dial", "scripted"),
            ("h", "other"),
        }


async def _until_reading(client: LocalClient) -> AsyncIterator[Any]:
    async for event in client.events():
        yield event
        if isinstance(event, m.ReadingEvent):
            return


async def test_a_name_that_cannot_be_had_is_refused_and_nothing_changes(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge("away", "three")
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.gauge("h", "other")
        for to, why in (("h", "already"), (" ", "needs a name"), ("away", "is remembered")):
            with pytest.raises(HubError, match=why):
                await bench.client.ask(m.RenameGauge(name="g", to=to))
        with pytest.raises(HubError, match="no gauge is called 'x'"):
            await bench.client.ask(m.RenameGauge(name="x", to="y"))
        same = await bench.client.ask(m.RenameGauge(name="g", to="g"))
        assert same.name == "g"
        assert bench.of(m.GaugeGone) == []


async def test_who_looks_is_told_that_a_gauge_is_let_go_of(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.client.ask(m.RemoveGauge(name="g"))
        await settle()
        assert bench.of(m.GaugeGone) == [m.GaugeGone("g")]


async def test_the_rate_falls_when_nothing_comes_any_more(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.say(43, 100)
        (gauge,) = (await bench.client.ask(m.Diagnose())).gauges
        assert gauge.per_second == pytest.approx(20, abs=0.1)
        bench.clock.now += 2.5
        (gauge,) = (await bench.client.ask(m.Diagnose())).gauges
        assert gauge.per_second == pytest.approx(10, abs=0.6)
        bench.clock.now += 5
        (gauge,) = (await bench.client.ask(m.Diagnose())).gauges
        assert (gauge.per_second, gauge.last_heard) == (0, pytest.approx(7.5, abs=0.01))


async def test_a_device_plugged_in_elsewhere_overnight_is_found_by_what_it_is(
    tmp_path: Path,
) -> None:
    listed: list[PortInfo] = []

    def open_link(port: str, settings: LinkSettings) -> SerialLink:
        return SerialLink(port, settings, lister=lambda: list(listed))

    store, one, two = tmp_path / "s.db", tmp_path / "tty-one", tmp_path / "tty-two"
    mine, other = PtyIndicator(), PtyIndicator()

    async with real_hub(store, open_link) as client:
        mine.plug(one)
        listed[:] = [PortInfo(str(one), "dial", "1a2b:3c4d", "A1")]
        await client.ask(m.AddGauge(name="mine", port=str(one), description=LF))
        assert (await link_of(client, "mine")).port == str(one)

    # On the next day something else has the port's name, and the dial has another.
    mine.unplug()
    other.plug(one)
    mine.plug(two)
    listed[:] = [
        PortInfo(str(one), "modem", "9999:0001", "Z9"),
        PortInfo(str(two), "dial", "1a2b:3c4d", "A1"),
    ]
    async with real_hub(store, open_link, remembered=True) as client:
        assert (await link_of(client, "mine")).port == str(two)
    with Store.open(store, read_only=True) as kept:
        (record,) = kept.gauges()
        assert (record.port, record.identity) == (str(two), "1a2b:3c4d/A1")

    # On the third it is not there at all: the modem at its port is not taken for it.
    mine.unplug()
    other.unplug()
    other.plug(two)
    listed[:] = [PortInfo(str(two), "modem", "9999:0001", "Z9")]
    async with real_hub(store, open_link, remembered=True) as client:
        down = await link_of(client, "mine", "down")
        assert "another device is there now (modem)" in down.reason
        # Whoever says that this is the port now has changed the cable.
        await client.ask(m.AddGauge(name="mine", port=str(two)))
        assert (await link_of(client, "mine")).port == str(two)
    other.unplug()


def test_who_holds_a_port_is_named() -> None:
    port = PseudoTerminal(LinkSettings(), opened=lambda master: None, closing=lambda master: None)
    path = port.plug()
    holding = (
        "import serial, sys; port = serial.Serial(sys.argv[1], exclusive=True); "
        "print(flush=True); input()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", holding, path], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as holder:
        assert holder.stdout is not None
        holder.stdout.readline()
        text = explain(path, BlockingIOError(11, "would block"))
        holder.communicate(b"\n")
    port.unplug()
    assert "held by python" in text
    assert f"({holder.pid}); close that one first" in text


# Teaching -------------------------------------------------------------------------------------


async def test_a_gauge_that_nothing_describes_is_taught_and_then_read(tmp_path: Path) -> None:
    made = formats(20, seed=1)[1]
    store, own = tmp_path / "s.db", tmp_path / "own"
    async with asyncio.timeout(60), playing(made) as port:
        async with real_hub(store, descriptions=own) as client:
            events = await following(client)
            await client.ask(m.AddGauge(name="g", port=port))
            busy = await client.ask(m.Teach(gauge="g"))
            assert busy.reason == "its format is being worked out"
            # Asking again does not begin anew, and renaming does no harm.
            await client.ask(m.Teach(gauge="g"))
            await client.ask(m.RenameGauge(name="g", to="dial"))
            taught = await first(events, m.Taught)
            assert (taught.gauge, taught.failed) == ("dial", "")
            assert taught.sure > 0.5
            assert any(isinstance(each, m.TeachingEvent) for each in events)
            learnt = await client.ask(m.Learn(gauge="dial", name="my-dial", toml=taught.toml))
            assert learnt.name == "dial"
            up = await link_of(client, "dial")
            assert up.description == "my-dial"
            reading = await first(events, m.ReadingEvent)
            assert reading.gauge == "dial"
            # Taught once more, another name is proposed; one that is taken is never replaced.
            await client.ask(m.Learn(gauge="dial", name=taught.name, toml=taught.toml))
            events.clear()
            await client.ask(m.Teach(gauge="dial"))
            again = await first(events, m.Taught)
            assert not (own / f"{again.name}.toml").exists()
            with pytest.raises(HubError, match="is there already"):
                await client.ask(m.Learn(gauge="dial", name="my-dial", toml=taught.toml))
        text = (own / "my-dial.toml").read_text()
        assert text.startswith("# Worked out by `gaugelink teach`")
        assert 'name = "my-dial"' in text
        # On the next day it is read by what was learnt.
        async with real_hub(store, remembered=True, descriptions=own) as client:
            assert (await link_of(client, "dial")).description == taught.name


async def test_bytes_can_be_looked_at_before_anything_is_known_of_a_gauge(tmp_path: Path) -> None:
    made = formats(20, seed=1)[1]
    async with asyncio.timeout(60), playing(made) as port, real_hub(tmp_path / "s.db") as client:
        await client.ask(m.AddGauge(name="g", port=port))
        events = await following(client, raw=True)
        await first(events, m.RawEvent)
        assert not any(isinstance(each, m.ReadingEvent) for each in events)
        await client.ask(m.Teach(gauge="g"))
        events.clear()
        await first(events, m.RawEvent)
        await client.ask(m.StopTeaching(gauge="g"))


async def test_teaching_can_be_left_off_and_the_gauge_goes_on_as_before(tmp_path: Path) -> None:
    own = tmp_path / "own"
    async with scene(tmp_path / "s.db", descriptions=own) as bench:
        await bench.gauge()
        await bench.say(43)
        await bench.client.ask(m.Teach(gauge="g"))
        await settle()
        # It is not read meanwhile, so that nothing is captured from it.
        await bench.walk()
        refused = await bench.client.ask(m.Press(gesture="capture"))
        assert refused.why == "link lost"
        await bench.client.ask(m.StopTeaching(gauge="g"))
        await until(lambda: bench.of(m.GaugeEvent)[-1].link == "up")
        assert bench.of(m.Taught) == []
        await bench.place(43)
        assert (await bench.press()).hundredths == 43
        await bench.client.ask(m.StopTeaching(gauge="g"))


async def test_a_hub_ends_and_a_gauge_is_let_go_of_in_the_midst_of_teaching(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.gauge("h", "other")
        for name in ("g", "h"):
            await bench.client.ask(m.Teach(gauge=name))
        await settle()
        await bench.client.ask(m.RemoveGauge(name="h"))
        assert bench.links["other"].opened == bench.links["other"].closed
    assert bench.link.opened == bench.link.closed


async def test_what_cannot_be_taught_or_learnt_says_why(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        bench.link.refuse = "scripted: it is away"
        await bench.client.ask(m.Teach(gauge="g"))
        await until(lambda: bool(bench.of(m.Taught)))
        assert bench.of(m.Taught)[0].failed == "scripted: it is away"
        with pytest.raises(HubError, match="no folder"):
            await bench.client.ask(m.Learn(gauge="g", name="x", toml=""))
    async with scene(tmp_path / "t.db", descriptions=tmp_path / "own") as bench:
        await bench.gauge()
        with pytest.raises(HubError, match="letters, digits"):
            await bench.client.ask(m.Learn(gauge="g", name="../x", toml=""))
        with pytest.raises(HubError, match="description 'x'"):
            await bench.client.ask(m.Learn(gauge="g", name="x", toml="name = 3"))
        assert not (tmp_path / "own").exists()
