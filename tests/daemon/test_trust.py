"""The hub keeps and solves series, and says how unsure a gauge's readings are."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import msgspec
import pytest

from gaugelink.daemon import messages as m
from gaugelink.daemon.client import HubError
from gaugelink.metrology.plans import Plan, ProofPlan, plan_placing, steps
from gaugelink.metrology.proving import Permitted, Proof
from gaugelink.metrology.standards import Standard, Touch
from gaugelink.metrology.study import Study
from gaugelink.store.store import Store
from tests.daemon.scripted import Scene, scene

PLAN = ProofPlan((Standard(Decimal(20), Decimal("0.1")),), 2, Permitted(error=2.0))
STEP = Decimal("0.1")


async def begin(on: Scene, plan: Plan, gauge: str = "g") -> m.Series:
    raw = msgspec.Raw(m.encoder.encode(plan))
    series = await on.client.ask(m.BeginSeries(gauge=gauge, plan=raw))
    assert isinstance(series, m.Series)
    return series


async def carry_out(on: Scene, plan: Plan, gauge: str = "g", error: str = "0.5") -> m.Series:
    """The whole series, each standard shown too thick by `error`."""
    series = await begin(on, plan, gauge)
    for number, step in enumerate(steps(plan)):
        thick = Decimal(20) + Decimal(error) if isinstance(step, Touch) else Decimal(0)
        if not isinstance(plan, ProofPlan):
            thick = Decimal(40 + number % 3)
        await on.client.ask(
            m.AddToSeries(
                series=series.series,
                number=number,
                hundredths=thick,
                resolution=STEP,
                unit="mm",
                value=f"{thick / 100}",
            )
        )
    solved = await on.client.ask(m.SolveSeries(series=series.series))
    assert isinstance(solved, m.Series)
    return solved


async def trusted(on: Scene, gauge: str = "g") -> m.Trusted:
    found = await on.client.ask(m.AskTrust(gauge=gauge, resolution=STEP))
    assert isinstance(found, m.Trusted)
    return found


async def test_a_proof_is_kept_solved_and_listed(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as on:
        await on.gauge()
        solved = await carry_out(on, PLAN)
        assert (solved.made, solved.of, solved.kind) == (7, 7, "proof")
        proof = msgspec.json.decode(solved.result, type=Proof)
        assert proof.greatest_error == pytest.approx(0.5)
        assert proof.outcome == "pass"
        back: Plan = msgspec.json.decode(solved.plan, type=Plan)
        assert back == PLAN
        asked = await on.client.ask(m.AskSeries(series=solved.series))
        assert [each.hundredths for each in asked.readings][:2] == [0, Decimal("20.5")]
        (listed,) = await on.client.ask(m.ListSeries())
        assert listed == msgspec.structs.replace(solved, readings=())
        assert await on.client.ask(m.ListSeries(gauge="other")) == []
        # What the client of another process reads.
        line = m.encoder.encode(m.Reply(1, solved))
        assert m.message_decoder.decode(line) == m.Reply(1, solved)


async def test_trust_goes_from_the_last_digit_over_a_proof_to_a_study(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as on:
        await on.gauge()
        known = await trusted(on)
        assert (known.source, known.proved_at) == ("last digit", "")
        assert known.standard == pytest.approx(0.1 / 12**0.5)
        await carry_out(on, PLAN)
        proved = await trusted(on)
        assert proved.source == "proof"
        assert not proved.old
        # The greatest error counts as a half-width: 0.5 over √3, and some more.
        assert 0.5 / 3**0.5 < proved.standard < 0.31
        solved = await carry_out(on, plan_placing(["a"], 3, 2, seed=1))
        study = msgspec.json.decode(solved.result, type=Study)
        both = await trusted(on)
        assert both.source == "proof and study"
        assert both.repeatability == pytest.approx(study.gauge.deviation)
        assert both.systematic == pytest.approx(proved.systematic)
        assert (await trusted(on, "other")).source == "last digit"


async def test_the_proof_goes_with_a_gauge_that_is_renamed(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as on:
        await on.gauge()
        await carry_out(on, PLAN)
        await on.client.ask(m.RenameGauge(name="g", to="left"))
        assert (await trusted(on, "left")).source == "proof"
        assert (await trusted(on, "g")).source == "last digit"


@pytest.mark.parametrize(("days", "old"), [(0, False), (89, False), (91, True)])
async def test_diagnose_reminds_of_a_proof_that_is_old(
    tmp_path: Path, days: int, old: bool
) -> None:
    async with scene(tmp_path / "s.db") as on:
        await on.gauge()
        solved = await carry_out(on, PLAN)
        (before,) = (await on.client.ask(m.Diagnose())).gauges
        assert before.proved_at == solved.found_at
        readings = await on.client.ask(m.AskSeries(series=solved.series))
        result = bytes(solved.result)
    then = datetime.now(UTC) - timedelta(days=days)
    with Store.open(tmp_path / "old.db", now_utc=lambda: then) as store:
        begun = store.series.begin("proof", "g", bytes(solved.plan))
        for number, each in enumerate(readings.readings):
            store.series.add(begun.series, number, each.hundredths, STEP, "mm", each.value)
        store.series.solved(begun.series, result)
    async with scene(tmp_path / "old.db") as on:
        await on.gauge()
        (counts,) = (await on.client.ask(m.Diagnose())).gauges
        assert counts.proof_old is old
        assert counts.proved_at[:10] == then.isoformat()[:10]
        assert (await trusted(on)).old is old


async def test_a_gauge_that_was_never_proved_says_so(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as on:
        await on.gauge()
        (counts,) = (await on.client.ask(m.Diagnose())).gauges
        assert (counts.proved_at, counts.proof_old) == ("", False)


async def test_what_is_no_series_is_refused_in_one_line(tmp_path: Path) -> None:
    async with scene(tmp_path / "s.db") as on:
        ask = on.client.ask
        for plan, said in (
            (b"{}", "no plan of a series"),
            (b'{"type":"dance"}', "no plan of a series"),
            (b'{"type":"proof","standards":[]}', "one standard or more"),
            (b'{"type":"crossed","steps":[]}', "no steps"),
        ):
            with pytest.raises(HubError, match=said):
                await ask(m.BeginSeries(gauge="g", plan=msgspec.Raw(plan)))
        assert await ask(m.ListSeries()) == []
        series = (await begin(on, PLAN)).series
        with pytest.raises(HubError, match="0 of 7 readings are there"):
            await ask(m.SolveSeries(series=series))
        with pytest.raises(HubError, match="there is no series 9"):
            await ask(m.SolveSeries(series=9))
        with pytest.raises(HubError, match="give one above 0"):
            await ask(m.AskTrust(gauge="g", resolution=Decimal(0)))


def test_a_request_with_a_plan_is_read_from_a_line() -> None:
    line = b'{"do":"begin-series","id":3,"gauge":"g","plan":{"type":"proof","standards":[]}}'
    found = m.request_decoder.decode(line)
    assert isinstance(found, m.BeginSeries)
    assert bytes(found.plan) == b'{"type":"proof","standards":[]}'


async def test_a_capture_says_how_sure_its_verdict_is_once_the_gauge_was_studied(
    tmp_path: Path,
) -> None:
    async with scene(tmp_path / "s.db") as on:
        await on.gauge()
        await on.walk()
        await on.place(43)
        # Nothing is known of the gauge yet, and nothing is claimed.
        assert (await on.press()).sure == ""
        await on.client.ask(m.StopWalk())
        await carry_out(on, plan_placing(("crossed/53/-0.5",), 5, 2, seed=1))
        await on.walk(anew=True)
        await on.place(60)
        assert (await on.press()).sure == "sure"
        # On the limit: one reading cannot tell, and says what would settle it.
        await on.place(41)
        first = await on.press()
        assert first.sure.startswith("can't tell")
        for _ in range(8):
            await on.press("retake")
            await on.place(40)
            settled = await on.press()
            assert settled.station == first.station
        assert settled.sure == "sure"
        assert settled.verdict.word == "leave"
