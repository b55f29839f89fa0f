"""A batch as a chart in the terminal, in words first, from captures that are kept."""

from __future__ import annotations

import json
import os
import random
import subprocess
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.cli.batches.drawing import WIDTH, draw
from gaugelink.metrology.batch import look_at, say_batch
from gaugelink.metrology.charts import individuals
from gaugelink.metrology.conformity import Limits
from gaugelink.metrology.samples import MetrologyError
from gaugelink.metrology.words import Things
from gaugelink.store.store import Store
from tests.cli.batched import PLACES, Kept, keep
from tests.cli.standing import command, run

CHANCE = random.Random(5)
STEADY = [round(45 + CHANCE.gauss(0, 0.2), 1) for _ in range(20)]
STEPPED = [*STEADY[:9], *(round(each + 1.5, 1) for each in STEADY[9:])]
STATION = ("batch", "chart", "autumn", "--station", PLACES[0])


@pytest.fixture
def home(tmp_path: Path) -> Path:
    return tmp_path / "home"


def said(home: Path, *words: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(run(home, *words, "--json")[0])
    return found


def test_a_steady_batch_is_said_to_be_steady(home: Path) -> None:
    keep(home, STEADY)
    shown, _ = run(home, *STATION)
    assert shown.startswith(f"batch autumn, {PLACES[0]}, stage windows: 20 reeds\n")
    assert "nothing stands out" in shown
    assert "hardly any reeds like these will be outside the limits" in shown
    assert "neither drift nor change" in shown
    assert shown.index("nothing stands out") < shown.index("R01 to R20") < shown.index("Cpk")


def test_a_batch_that_changed_is_said_where(home: Path) -> None:
    keep(home, STEPPED)
    found = said(home, *STATION)
    assert any(each.startswith("from R10 on they are thicker by 1.") for each in found["says"])
    assert found["values"] == STEPPED
    assert found["reeds"][0] == "R01"
    assert (found["target"], found["tolerance"]) == (45, 1)
    assert found["found"]["order"]["change"]["index"] == 9
    # Both levels are on the one chart: its limits come from neighbours, not from the whole.
    flagged = found["found"]["chart"]["individuals"]["flags"]
    assert {each["rule"] for each in flagged} >= {"one side"}


def test_it_reads_the_same_without_colour_and_fits_eighty_columns(home: Path) -> None:
    keep(home, STEPPED)
    plain = subprocess.run(
        command(home, *STATION),
        capture_output=True,
        text=True,
        timeout=60,
        env={**os.environ, "NO_COLOR": "1", "TERM": "dumb"},
    ).stdout
    assert plain == run(home, *STATION)[0]
    assert "\x1b" not in plain
    assert max(map(len, plain.splitlines())) <= 80
    assert plain.isascii()


def test_the_newest_pass_that_was_not_retaken_counts(home: Path) -> None:
    keep(home, STEADY[:6])
    with Store.open(home / "data" / "gaugelink.db") as store:
        kept = Kept(store)
        kept.capture("R03", 60, in_pass=1)
        kept.capture("R03", 50.5, in_pass=2)
        kept.capture("R03", 50, in_pass=2)
    assert said(home, *STATION)["values"][2] == 50


def test_a_zone_is_the_mean_of_its_places_and_a_reed_that_lacks_one_is_left_out(
    home: Path,
) -> None:
    with Store.open(home / "data" / "gaugelink.db") as store:
        kept = Kept(store)
        for number in range(1, 8):
            kept.capture(f"R{number}", 45 + number / 10, PLACES[0])
            if number != 4:
                kept.capture(f"R{number}", 44 + number / 10, PLACES[1])
    found = said(home, "batch", "chart", "autumn", "--zone", "windows")
    assert found["reeds"] == ["R1", "R2", "R3", "R5", "R6", "R7"]
    assert found["values"] == pytest.approx([44.6, 44.7, 44.8, 45.0, 45.1, 45.2])
    assert "left out, for they are not measured there: R4" in found["says"]


def test_the_stage_is_the_one_that_most_have_reached_or_the_one_named(home: Path) -> None:
    keep(home, STEADY[:8], stage="windows")
    with Store.open(home / "data" / "gaugelink.db") as store:
        kept = Kept(store)
        for number in range(1, 7):
            kept.capture(f"R{number:02}", 43, stage="finish", target=43)
    assert said(home, *STATION)["stage"] == "windows"
    named = said(home, *STATION, "--stage", "finish")
    assert (named["stage"], named["target"], len(named["values"])) == ("finish", 43, 6)
    assert any("all values are the same" in each for each in named["says"])


def test_what_does_not_compare_is_said(home: Path) -> None:
    with Store.open(home / "data" / "gaugelink.db") as store:
        kept = Kept(store)
        for number, value in enumerate(STEADY[:6]):
            wet = "wet" if number % 2 else "dry"
            gauge = "left" if number % 2 else "right"
            kept.capture(f"R{number}", value, target=44 + number % 2, wet=wet, gauge=gauge)
    says = "\n".join(said(home, *STATION)["says"])
    assert "some were measured wet and some dry" in says
    assert "their targets differ" in says
    assert "several gauges" in says


def test_what_cannot_be_charted_is_one_line(home: Path) -> None:
    keep(home, STEADY[:4])
    for words, text, code in (
        (("batch", "chart", "autumn"), "Name a --station or a --zone", 2),
        ((*STATION, "--zone", "windows"), "Name a --station or a --zone", 2),
        (("batch", "chart", "spring", "--zone", "z"), "known batches are autumn", 1),
        (("batch", "chart", "autumn", "--zone", "tip"), "measured are windows", 1),
        ((*STATION, "--stage", "tip"), "at stage 'tip'", 1),
        (STATION, "5 values or more, 4 came", 1),
    ):
        out, err = run(home, *words, code=code)
        assert out == ""
        assert text in err
        assert err.count("\n") == 1


def test_what_a_batch_does_not_show_leaves_the_rest_standing() -> None:
    found = look_at([45.0] * 6, Limits(44, 46))
    assert found.chart.individuals.flags == ()
    assert found.capability is None
    assert found.order is not None
    words, _ = say_batch(found, Things())
    assert any(each.startswith("not found out: all values are the same") for each in words)
    assert look_at(STEADY, None).capability is None
    with pytest.raises(MetrologyError, match="5 values or more"):
        look_at([1.0, 2.0], None)


@given(
    st.lists(st.integers(-500, 15000).map(lambda each: each / 10), min_size=5, max_size=200),
    st.booleans(),
)
def test_every_reed_is_drawn_once_within_the_width(values: list[float], permitted: bool) -> None:
    chart = individuals(values)
    names = [f"R{number}" for number in range(1, len(values) + 1)]
    tolerance = (44.0, 46.0) if permitted else ()
    lines = draw(chart.individuals, names, tolerance)
    assert max(map(len, lines)) <= WIDTH
    drawn = "".join(line.partition("|")[2] for line in lines)
    assert drawn.count("o") + drawn.count("X") == len(values)
    flagged = {flag.index for flag in chart.individuals.flags}
    assert drawn.count("X") == len(flagged)
    steps = "".join(line.partition("|")[2] for line in draw(chart.ranges, names, rows=6))
    assert steps.count("o") + steps.count("X") == len(values) - 1
