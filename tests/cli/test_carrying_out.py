"""A series carried out on a hub with a scripted indicator: what is asked, taken and refused."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import msgspec
import pytest

from gaugelink.cli.carrying_out import carry_out, words_of
from gaugelink.daemon import messages as m
from gaugelink.daemon.client import LocalClient
from gaugelink.metrology.plans import Plan, ProofPlan, plan_crossed, plan_placing, steps
from gaugelink.metrology.standards import Standard
from gaugelink.reading import GaugelinkError
from tests.daemon.scripted import Scene, scene, settle, until

SHIMS = tuple(Standard(Decimal(each), Decimal("0.1")) for each in (10, 20))
LONG = 24
"""Readings, 50 ms apart, that are longer than a dwell."""


async def begun(on: Scene, plan: Plan) -> m.Series:
    raw = msgspec.Raw(m.encoder.encode(plan))
    series = await on.client.ask(m.BeginSeries(gauge="g", plan=raw))
    assert isinstance(series, m.Series)
    return series


@contextlib.asynccontextmanager
async def walking(on: Scene, series: m.Series) -> AsyncIterator[asyncio.Task[bool]]:
    """The series carried out by dwell, by a client of its own."""
    client = LocalClient(on.hub)
    task = asyncio.create_task(carry_out(client, series, "g", "dwell", True))
    await settle()
    try:
        yield task
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError, GaugelinkError):
            await task
        await client.close()


async def stand(on: Scene, *values: float) -> None:
    """The spindle is lifted and stands on each, one after another."""
    for value in values:
        for lifted in (900, 940) * 8:
            await on.say(lifted)
        await on.say(value, LONG)


async def made(on: Scene, series: m.Series) -> list[float]:
    found = await on.client.ask(m.AskSeries(series=series.series))
    return [float(each.hundredths) for each in found.readings]


async def count(on: Scene, series: m.Series, number: int) -> None:
    """Wait until the store has so many readings; it has a thread of its own."""
    async with asyncio.timeout(10):
        while len(await made(on, series)) < number:
            await asyncio.sleep(0.005)


def lines_of(text: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in text.splitlines()]


async def test_what_is_nearer_to_another_standard_or_in_the_air_is_waited_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    async with scene(tmp_path / "s.db") as on:
        await on.gauge()
        series = await begun(on, ProofPlan(SHIMS, 2))
        async with walking(on, series):
            await stand(on, 20)  # not the bare tongue
            await stand(on, 0.1)
            await count(on, series, 1)
            await stand(on, 20.2, 60, 500)  # the wrong shim, no shim, and in the air
            await stand(on, 10.3)
            await count(on, series, 2)
            assert await made(on, series) == [0.1, 10.3]
    told = lines_of(capsys.readouterr().out)
    taken = [each for each in told if each["is"] == "taken"]
    assert [each["hundredths"] for each in taken] == [0.1, 10.3]
    assert [each["text"] for each in told if each["is"] == "refused"] == [
        "20 is nearer to 20 than to 0: is it the right one?",
        "20.2 is nearer to 20 than to 10: is it the right one?",
        "60 is far from 10: is the spindle down, was it zeroed?",
    ]
    assert taken[1]["step"] == {"standard": 0, "direction": "up", "repeat": 1}


async def test_all_readings_are_there_at_the_end(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as on:
        await on.gauge()
        plan = plan_crossed(["a", "b"], ["Ines", "Otto"], 2, seed=1)
        series = await begun(on, plan)
        async with walking(on, series) as task:
            for number in range(8):
                await stand(on, 40 + number)
                await count(on, series, number + 1)
            await until(task.done)
            assert task.result() is True
        assert await made(on, series) == [40, 41, 42, 43, 44, 45, 46, 47]
        again = await on.client.ask(m.AskSeries(series=series.series))
        assert await carry_out(on.client, again, "g", "dwell", True)


async def test_a_lift_without_moving_the_reed_may_be_short(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as on:
        await on.gauge()
        series = await begun(on, plan_placing(["a"], 2, 2, seed=1))
        async with walking(on, series):
            await stand(on, 40)
            await count(on, series, 1)
            await on.say(900, 2)
            await on.say(40.1, LONG)
            await count(on, series, 2)
            # Placing anew takes longer: this was a slip.
            await on.say(900, 2)
            await on.say(40.1, LONG)
            assert await made(on, series) == [40, 40.1]


async def test_the_indicators_own_button_takes_and_what_it_may_not_take_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    async with scene(tmp_path / "s.db") as on:
        await on.gauge(description="button-hundredths-crlf")
        series = await begun(on, ProofPlan(SHIMS, 2))
        async with walking(on, series):
            for number, value in enumerate((0, 60, 10, 20), 1):
                on.clock.now += 1
                on.link.feed(b"%4d\r\n" % value, on.clock.now)
                await settle()
                await told(on, number)
            await count(on, series, 3)
        assert await made(on, series) == [0, 10, 20]
    assert "60 is far from 10" in capsys.readouterr().out


async def told(on: Scene, number: int) -> None:
    """Wait until so many readings have been told of."""
    await until(lambda: len(on.of(m.ReadingEvent)) >= number)


async def test_a_lost_link_is_said_and_what_stood_before_is_not_taken(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    async with scene(tmp_path / "s.db") as on:
        await on.gauge()
        series = await begun(on, plan_placing(["a"], 2, 2, seed=1))
        async with walking(on, series):
            await stand(on, 40)
            await count(on, series, 1)
            on.link.lose("unplugged for the test")
            opened = on.link.opened
            await until(lambda: on.link.opened > opened)
            await on.say(40, LONG)
            assert await made(on, series) == [40]
            await stand(on, 41)
            await count(on, series, 2)
    assert "unplugged for the test" in capsys.readouterr().err


async def test_a_gauge_that_is_renamed_is_followed_and_one_let_go_of_ends_it(
    tmp_path: Path,
) -> None:
    async with scene(tmp_path / "s.db") as on:
        await on.gauge()
        series = await begun(on, plan_placing(["a"], 2, 2, seed=1))
        async with walking(on, series) as task:
            await on.client.ask(m.RenameGauge(name="g", to="left"))
            await stand(on, 40)
            await count(on, series, 1)
            await on.client.ask(m.RemoveGauge(name="left"))
            with pytest.raises(GaugelinkError, match="'left' was let go of"):
                async with asyncio.timeout(10):
                    await task
        assert await made(on, series) == [40]


def test_each_step_is_asked_for_in_words() -> None:
    proof = ProofPlan(SHIMS, 2)
    asked = [words_of(proof, step) for step in steps(proof)[:3]]
    assert asked == [
        "the bare tongue, to see the zero",
        "the 0.1 mm standard, going up, round 1",
        "the 0.2 mm standard, going up, round 1",
    ]
    alone = plan_placing(["a"], 2, 2, seed=1)
    assert [words_of(alone, step) for step in alone.steps[:2]] == [
        "place a anew, round 1",
        "lift, and set down at a again without moving the reed",
    ]
    several = plan_crossed(["a", "b"], ["Ines", "Otto"], 2, seed=1)
    said = {words_of(several, step) for step in several.steps}
    assert said >= {"Ines measures a, round 1", "Otto measures b, round 2"}
    assert len(said) == 8
