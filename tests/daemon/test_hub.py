"""The hub at its own door: requests in, events out, captures in the store."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import msgspec
import pytest

from gaugelink.daemon import messages as m
from gaugelink.daemon.client import HubError, LocalClient
from gaugelink.store.store import Store
from tests.daemon.scripted import scene, settle, until


async def test_a_capture_is_on_disk_before_anyone_is_told(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        walk = await bench.walk()
        assert walk.at_stop == 0
        await bench.place(43)
        answer = await bench.press()
        assert isinstance(answer, m.Captured)
        assert answer.hundredths == 43
        assert str(answer.verdict) == "take 3"
        with Store.open(tmp_path / "s.db", read_only=True) as store:
            kept = store.captures("R1")
        assert [each.capture for each in kept] == [answer.capture]
        assert kept[0].station == walk.stops[0].station
        assert bench.of(m.Captured) == [answer]
        assert bench.of(m.WalkEvent)[-1].at_stop == 1


async def test_a_second_press_within_the_gesture_time_captures_nothing(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk()
        await bench.place(43)
        assert isinstance(await bench.press(), m.Captured)
        bench.clock.now += 0.2
        second = await bench.client.ask(m.Press(gesture="capture"))
        assert isinstance(second, m.Refused)
        assert second.why == "too soon"
        assert len(bench.of(m.Captured)) == 1


async def test_one_contact_serves_one_station(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk()
        await bench.place(43)
        await bench.press()
        refused = await bench.press()
        assert isinstance(refused, m.Refused)
        assert refused.why == "same contact"


@pytest.mark.parametrize(
    ("why", "wait"), [("stale", 30.0), ("link lost", 0.0), ("moving", 0.0), ("no reading", 0.0)]
)
async def test_what_cannot_be_trusted_is_refused_aloud(
    tmp_path: Path, why: str, wait: float
) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk()
        if why != "no reading":
            await bench.place(43)
        if why == "moving":
            await bench.say(700)
            await bench.say(600)
        if why == "link lost":
            bench.link.refuse = "gone"
            bench.link.lose()
            await until(lambda: bench.of(m.GaugeEvent)[-1].link == "down")
        bench.clock.now += wait
        refused = await bench.client.ask(m.Press(gesture="capture"))
        await settle()
        assert isinstance(refused, m.Refused)
        assert refused.why == why
        assert bench.of(m.Refused) == [refused]
        assert not bench.of(m.Captured)


async def test_a_lost_link_is_said_healed_and_not_captured_from(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk()
        await bench.place(43)
        bench.link.lose("unplugged: plug it in")
        await until(lambda: bench.link.opened == 2)
        links = [each.link for each in bench.of(m.GaugeEvent)]
        assert links[-3:] == ["down", "opening", "up"]
        # What stood still before the loss must be seen standing still again.
        refused = await bench.client.ask(m.Press(gesture="capture"))
        assert isinstance(refused, m.Refused)
        await bench.place(42)
        assert isinstance(await bench.press(), m.Captured)


async def test_a_walk_resumes_after_a_restart_where_it_stood(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk()
        for value in (43, 41):
            await bench.place(value)
            await bench.press()
        await bench.press("skip")
        before = bench.of(m.WalkEvent)[-1]
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        after = await bench.walk()
        assert after.stops == before.stops
        assert after.at_stop == before.at_stop == 3
        assert after.done == 3
        anew = await bench.walk(anew=True)
        assert anew.at_stop == 0
        assert all(stop.hundredths is None for stop in anew.stops)


async def test_a_retake_supersedes_and_both_are_kept(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk()
        await bench.place(46)
        first = await bench.press()
        await bench.press("retake")
        await bench.place(43)
        second = await bench.press()
        assert second.station == first.station
        assert second.supersedes == first.capture
        history = await bench.client.ask(m.ReedHistory(name="R1"))
        assert [(each.hundredths, each.superseded_by) for each in history.captures] == [
            (46, second.capture),
            (43, None),
        ]


async def test_a_zone_alert_comes_once_when_all_its_stations_are_on_target(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        walk = await bench.walk()
        for index in range(len(walk.stops)):
            assert not bench.of(m.ZoneAlert)
            await bench.place(40 + index % 2)
            assert isinstance(await bench.press(), m.Captured)
        assert [each.zone for each in bench.of(m.ZoneAlert)] == ["windows"]
        last = bench.of(m.WalkEvent)[-1]
        assert last.complete
        assert last.at_stop is None
        assert last.after == "tip"


async def test_dwell_captures_once_per_contact(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk(trigger="dwell")
        await bench.place(43)
        await bench.say(43, 60)
        await until(lambda: bool(bench.of(m.Captured)))
        await bench.say(43, 60)
        assert len(bench.of(m.Captured)) == 1
        await bench.place(41)
        await bench.say(41, 20)
        await until(lambda: len(bench.of(m.Captured)) == 2)


async def test_dwell_takes_nothing_from_a_spindle_that_stood_there_before(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.place(43)
        await bench.walk(trigger="dwell")
        await bench.say(43, 60)
        await until(lambda: bool(bench.of(m.Refused)))
        await bench.say(43, 60)
        assert [each.why for each in bench.of(m.Refused)] == ["same contact"]
        assert not bench.of(m.Captured)
        # Nothing was taken yet, so there is nothing to go back to: not an unknown station either.
        refused = await bench.press("retake")
        assert refused.why == "nowhere"
        assert "first station" in refused.text
        await bench.place(41)
        await bench.say(41, 20)
        await until(lambda: bool(bench.of(m.Captured)))
        assert [each.hundredths for each in bench.of(m.Captured)] == [41]


async def test_each_push_of_the_indicators_own_button_is_a_capture(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge(description="button-hundredths-crlf")
        await bench.walk()
        for value in (43, 42, 42):
            bench.clock.now += 1.0
            bench.link.feed(b"%4d\r\n" % value, bench.clock.now)
            await settle()
        await until(lambda: len(bench.of(m.Captured)) == 3)
        assert [each.hundredths for each in bench.of(m.Captured)] == [43, 42, 42]
        assert len({each.station for each in bench.of(m.Captured)}) == 3


async def test_two_gauges_and_two_benches_at_once(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge("g", "scripted")
        await bench.gauge("h", "other")
        await bench.walk(bench="window")
        await bench.walk(reed="R2", gauge="h", bench="door", style="quayside-short", stage="slope")
        await bench.place(43)
        answer = await bench.press(bench="window")
        assert (answer.reed, answer.gauge) == ("R1", "g")
        refused = await bench.client.ask(m.Press(gesture="capture", bench="door"))
        assert refused.why == "no reading"
        with pytest.raises(HubError, match="in use"):
            await bench.client.ask(m.RemoveGauge(name="h"))
        await bench.client.ask(m.StopWalk(bench="door"))
        await bench.client.ask(m.RemoveGauge(name="h"))
        assert [each.name for each in await bench.client.ask(m.Gauges())] == ["g"]


async def test_a_store_that_cannot_write_refuses_aloud_and_the_walk_stands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from gaugelink.store.errors import StoreError

    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk()
        await bench.place(43)
        with monkeypatch.context() as patch:

            def full(*_: object) -> None:
                raise StoreError("the disk is full: nothing was saved; free some space")

            patch.setattr(Store, "add_capture", full)
            refused = await bench.press()
        assert (refused.why, refused.text[:16]) == ("not saved", "the disk is full")
        assert bench.of(m.WalkEvent)[-1].at_stop == 0
        captured = await bench.press()
        assert captured.hundredths == 43
        assert captured.station == bench.of(m.WalkEvent)[-1].stops[0].station


async def test_wrong_requests_say_what_to_do(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        ask = bench.client.ask
        with pytest.raises(HubError, match="start one first"):
            await ask(m.Press(gesture="capture"))
        with pytest.raises(HubError, match="no gauge is called 'x'"):
            await ask(m.StartWalk(reed="R", style="millrace-long", stage="tip", gauge="x"))
        with pytest.raises(HubError, match="no description is called"):
            await ask(m.AddGauge(name="g", port="p", description="nothing"))
        await bench.gauge()
        with pytest.raises(HubError, match="already the port of gauge 'g'"):
            await ask(m.AddGauge(name="h", port="scripted"))
        with pytest.raises(HubError, match="no style is called"):
            await ask(m.AddReed(name="R1", style="nothing"))
        with pytest.raises(HubError, match="its stages are"):
            await ask(m.StartWalk(reed="R", style="millrace-long", stage="x", gauge="g"))


async def test_a_reed_named_for_a_walk_is_put_on_the_rack(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.client.ask(
            m.StartWalk(reed="new", style="millrace-long", stage="tip", gauge="g")
        )
        (reed,) = await bench.client.ask(m.Rack())
        assert (reed.name, reed.style, reed.state) == ("new", "millrace-long", "first day")


async def test_diagnose_counts_what_was_refused(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.say(43, 5)
        bench.link.feed(b"rubbish\n99999.0\n", bench.clock.now)
        await settle()
        found = await bench.client.ask(m.Diagnose())
        gauge = found.gauges[0]
        assert gauge.readings == 5
        assert gauge.per_second == pytest.approx(20, abs=0.1)
        assert gauge.refused == {"no match": 1, "range": 1}
        assert "99999.0" in gauge.last_refused


async def test_a_follower_gets_only_the_gauges_it_asked_for(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge("g", "scripted")
        await bench.gauge("h", "other")
        only = LocalClient(bench.hub)
        await only.ask(m.Follow(gauges=["h"]))
        await bench.say(43)
        bench.links["other"].feed(b"0.500\n", bench.clock.now)
        await settle()
        events = only.events()
        first = await anext(events)
        assert isinstance(first, m.ReadingEvent)
        assert (first.gauge, first.hundredths) == ("h", Decimal(50))
        await events.aclose()
        await only.close()


async def test_remembered_gauges_are_connected_again_the_newest_at_each_port(
    tmp_path: Path,
) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge("old", "one")
    async with scene(tmp_path / "s.db") as bench:
        # The same port under another name, as after a change of indicators.
        await bench.gauge("new", "one")
        await bench.gauge("h", "two")
        await bench.gauge("sold", "three")
        await bench.client.ask(m.RemoveGauge(name="sold"))
    async with scene(tmp_path / "s.db") as bench:
        await bench.hub.connect_remembered()
        gauges = await bench.client.ask(m.Gauges())
        assert {(each.name, each.port) for each in gauges} == {("new", "one"), ("h", "two")}


async def test_a_spindle_that_stood_there_must_be_lifted_before_the_first_press(
    tmp_path: Path,
) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk()
        await bench.place(43)
        await bench.press()
        # The next stage begins, the spindle still on the last station of the one before.
        await bench.walk(stage="tip")
        await bench.say(43, 12)
        for _ in range(2):
            refused = await bench.press()
            assert isinstance(refused, m.Refused)
            assert refused.why == "same contact"
        await bench.place(33)
        captured = await bench.press()
        assert captured.hundredths == 33


async def test_a_bench_belongs_to_who_walks_there_but_the_same_walk_may_be_joined(
    tmp_path: Path,
) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        walk = await bench.walk()
        other = LocalClient(bench.hub)
        mine = m.StartWalk(reed="R1", style="millrace-long", stage="windows", gauge="g")
        assert await other.ask(mine) == walk
        with pytest.raises(HubError, match="give this one a --bench of its own"):
            await other.ask(msgspec.structs.replace(mine, reed="R2"))
        for anew in (False, True):
            with pytest.raises(HubError, match="R1 is being walked at 'bench'"):
                await other.ask(msgspec.structs.replace(mine, bench="second", anew=anew))
        await bench.client.ask(m.StopWalk())
        moved = await other.ask(msgspec.structs.replace(mine, reed="R2"))
        assert moved.reed == "R2"
        await other.close()


async def test_a_gauge_is_moved_to_the_port_that_is_named_unless_it_is_in_use(
    tmp_path: Path,
) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge("g", "scripted")
        with pytest.raises(HubError, match="in use at scripted"):
            await bench.client.ask(m.AddGauge(name="g", port="other"))
        bench.link.refuse = "unplugged"
        bench.link.lose()
        await until(lambda: bench.of(m.GaugeEvent)[-1].link == "down")
        with pytest.raises(HubError, match="no description is called"):
            await bench.client.ask(m.AddGauge(name="g", port="other", description="nothing"))
        still = await bench.client.ask(m.Gauges())
        assert [(each.name, each.port) for each in still] == [("g", "scripted")], "it was let go"
        await bench.gauge("g", "other")
        named = await bench.client.ask(m.AddGauge(port="third", description="bare-decimal-lf"))
        again = await bench.client.ask(m.AddGauge(port="other"))
        assert (named.name, again.name) == ("gauge", "g")
        gauges = await bench.client.ask(m.Gauges())
        assert {(each.name, each.port) for each in gauges} == {("g", "other"), ("gauge", "third")}


async def test_a_reed_goes_through_its_days_by_its_stages(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        for stage, state in (("windows", "first day"), ("finish", "second day")):
            await bench.walk(stage=stage)
            (reed,) = await bench.client.ask(m.Rack())
            assert reed.state == state


async def test_a_walk_left_at_one_bench_resumes_at_another(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as bench:
        await bench.gauge()
        await bench.walk(bench="walk")
        await bench.place(43)
        await bench.press(bench="walk")
        await bench.client.ask(m.StopWalk(bench="walk"))
        assert (await bench.walk(bench="bench")).at_stop == 1
