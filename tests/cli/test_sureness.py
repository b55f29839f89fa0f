"""`gaugelink reed` says how far each verdict can be trusted, by what is known of the gauge."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import msgspec

from gaugelink.daemon.messages import encoder
from gaugelink.metrology.plans import Plan, Shown, plan_placing, solve
from gaugelink.store.store import Store
from tests.cli.batched import PLACES, Kept
from tests.cli.standing import run


def study(store: Store, scatter: float) -> None:
    """A study alone with the gauge "left", in which lifts differ by about that much."""
    plan: Plan = plan_placing(["a"], 6, 2, seed=1)
    values = [Decimal(str(round(45 + scatter * (-1) ** number * 0.7, 2))) for number in range(12)]
    begun = store.series.begin("placing", "left", msgspec.json.encode(plan))
    for number, value in enumerate(values):
        store.series.add(begun.series, number, value, Decimal("0.1"), "mm", str(value))
    shown = [Shown(value, Decimal("0.1"), 0.0) for value in values]
    store.series.solved(begun.series, encoder.encode(solve(plan, shown)))


def test_nothing_is_called_sure_of_a_gauge_of_which_nothing_is_known(tmp_path: Path) -> None:
    with Store.open(tmp_path / "data" / "gaugelink.db") as store:
        Kept(store).capture("R1", 49)
    shown, _ = run(tmp_path, "reed", "R1")
    (line,) = [each for each in shown.splitlines() if PLACES[0] in each]
    assert line.endswith("take 4")
    assert "how sure that is cannot be said: left was never proved" in shown


def test_verdicts_are_sure_or_ask_for_more_readings(tmp_path: Path) -> None:
    with Store.open(tmp_path / "data" / "gaugelink.db") as store:
        study(store, 1.0)
        kept = Kept(store)
        kept.capture("R1", 49, PLACES[0])
        kept.capture("R1", 46.8, PLACES[1])
        kept.capture("R2", 46.8, PLACES[1])
        for _ in range(9):
            kept.capture("R2", 46.8, PLACES[1])
    lines = run(tmp_path, "reed", "R1")[0].splitlines()
    (clear,) = [each for each in lines if PLACES[0] in each]
    (close,) = [each for each in lines if PLACES[1] in each]
    assert "take 4" in clear
    assert clear.endswith("sure")
    assert "take 1" in close
    assert "can't tell yet: measure" in close
    assert close.endswith("more")
    assert "one value of left is good to ±" in lines[-1]
    assert "by your study" in lines[-1]
    # The same value measured ten times over is settled.
    (settled,) = [each for each in run(tmp_path, "reed", "R2")[0].splitlines() if PLACES[1] in each]
    assert settled.endswith("sure")
