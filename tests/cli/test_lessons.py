"""Lessons through the door: `practice --lesson`, headless, with the real simulator and hub."""

from __future__ import annotations

import time
from decimal import Decimal
from pathlib import Path
from typing import cast

import pytest

from gaugelink.cli.lesson import Run, Watched
from gaugelink.cli.simulation import Simulation
from gaugelink.craft.lessons import find
from gaugelink.craft.scoring import Captured, Scraped
from gaugelink.craft.style import find as find_style
from gaugelink.folders import folders
from gaugelink.store.store import Store
from tests.cli.test_commands import Cli
from tests.store.sample import begin_walk, capture

QUICK = """
name = "two-places"
title = "Two places"
aim = "Bring both places to 40 (invented)."
style = "quick"
stage = "w"
start = { excess = 2.5, off = [{ hundredths = 1.5, blade = "crossed" }] }
counts = { target = 60, cane = 30, care = 10 }
"""


@pytest.fixture
def cli(tmp_path: Path) -> Cli:
    return Cli(tmp_path / "home")


@pytest.fixture
def lesson(tmp_path: Path) -> str:
    file = tmp_path / "two-places.toml"
    file.write_text(QUICK)
    return str(file)


def test_a_headless_lesson_ends_with_its_score(cli: Cli, lesson: str) -> None:
    call = ("practice", "--headless", "--json", "--seed", "2", "--lesson", lesson)
    *lines, summary = cli.lines(*call)
    captured = [line for line in lines if line["is"] == "captured"]
    # It begins as the lesson says, and is measured again after the strokes. The style settles
    # sooner than a hand is calm.
    assert captured[0]["station"].startswith("crossed")
    assert float(captured[0]["hundredths"]) == pytest.approx(44, abs=2)
    assert float(captured[1]["hundredths"]) == pytest.approx(42.5, abs=2)
    assert len(captured) >= 4
    assert summary["is"] == "summary"
    assert summary["lesson"] == "two-places"
    assert (summary["style"], summary["stage"]) == ("quick", "w")
    score = summary["score"]
    assert [part["name"] for part in score["parts"]] == ["target", "cane", "care"]
    assert score["points"] >= 50
    assert float(captured[-1]["hundredths"]) < float(captured[1]["hundredths"])
    assert not (cli.home / "data").exists(), "practice never touches the maker's store"


def test_a_lesson_in_clipping(cli: Cli) -> None:
    call = ("practice", "--headless", "--lesson", "clip-to-pitch", "--seed", "4")
    *lines, summary = cli.lines(*call, "--json")
    lengths = [line["length"] for line in lines if line["is"] == "crowed"]
    assert lengths[0] == 72.5
    assert lengths == sorted(lengths, reverse=True)
    assert lengths[-1] < 72
    assert summary["crows"] == len(lengths)
    assert summary["score"]["points"] > 30
    assert cli.lines(*call, "--json")[-1] == summary, "the same seed repeats the same run"
    said = cli(*call)
    assert f"{summary['score']['points']} of 100 points" in said
    assert "Clip to pitch" in said


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--lesson", "nothing"), 1, "no lesson is called 'nothing'; known are: clip-to-pitch"),
        (("--lesson", "open-tip", "--stage", "tip"), 2, "--stage does not go with --lesson"),
        (("--lesson", "open-tip", "--style", "quick"), 2, "--style does not go with --lesson"),
        (("--lesson", "open-tip", "--over", "bluetooth"), 2, "--over does not go with --lesson"),
    ],
)
def test_what_does_not_go_together(cli: Cli, words: tuple[str, ...], code: int, said: str) -> None:
    cli("practice", "--headless", *words, code=code)
    assert said in cli.err


def test_clipping_has_no_screen_yet(cli: Cli) -> None:
    cli("practice", "--lesson", "clip-to-pitch", code=2)
    assert "goes with --headless only" in cli.err


class Scraper:
    """Takes scrapes and does nothing."""

    async def scrape(self, station: str, zone: str, strokes: int) -> None:
        """Whatever it is told."""


async def test_what_was_done_on_the_screen_is_scored_in_its_order(tmp_path: Path) -> None:
    practice = folders(tmp_path)
    watched = Watched(cast(Simulation, Scraper()))
    place = "crossed/53/-0.5"
    with Store.open(practice.store) as store:
        walk = begin_walk(store, "practice")

        def take(hundredths: str) -> None:
            now = time.monotonic()
            new = capture(walk, station=place, hundredths=Decimal(hundredths), at=now)
            store.add_capture(new, b"{}")

        take("44")
        await watched.scrape(place, "windows", 5)
        take("41")
    run = Run(find("level-windows"), find_style("millrace-long"))
    watched.into(run, practice)
    assert [type(event) for event in run.events] == [Captured, Scraped, Captured]
    assert run.events[1] == Scraped(place, "windows", 5)
    assert run.score().parts[0].text.startswith("1 of 12 places are on target")
