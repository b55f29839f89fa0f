"""Practice mode on a scripted hub: the spindle follows the walk, and the knife is said."""

from __future__ import annotations

import asyncio

from gaugelink.daemon.messages import (
    Refused,
    StartWalk,
)
from gaugelink.reading import GaugelinkError
from tests.tui.bench import Spindle, bench
from tui import scene
from tui.widgets.keybar import Notice
from tui.widgets.status import Banner

COMPLETE = scene.walk(34, offsets=(0,))


class Broken(Spindle):
    """Hands with a blunt knife."""

    async def scrape(self, station: str, zone: str, strokes: int) -> None:
        raise GaugelinkError("the knife is blunt")


class Slow(Spindle):
    """Hands that scrape until they are told to go on."""

    def __init__(self) -> None:
        super().__init__()
        self.go_on = asyncio.Event()

    async def scrape(self, station: str, zone: str, strokes: int) -> None:
        await self.go_on.wait()
        await super().scrape(station, zone, strokes)


async def test_practice_moves_the_spindle_with_the_walk_and_scrapes() -> None:
    spindle = Spindle()
    async with bench(practice=spindle) as at:
        await at.hear(scene.walk(1))
        await at.press("s")
        await at.press("S")
        await at.press("l")
        await at.hear(scene.walk(34))
        here = "crossed/53/+0.5"
        assert spindle.did == [
            ("place", "crossed/53/-0.5"),
            ("place", here),
            ("scrape", here, "windows", 1),
            ("place", here),
            ("scrape", here, "windows", 5),
            ("place", here),
            ("lift",),
            ("lift",),
        ]


async def test_practice_sets_down_at_the_next_stage_too() -> None:
    spindle = Spindle()
    async with bench(practice=spindle) as at:
        await at.hear(COMPLETE)
        await at.press("n")
        assert at.client.asked(StartWalk)[-1].stage == "rested"
        assert spindle.did[-2:] == [("lift",), ("place", "crossed/53/-0.5")]


async def test_practice_says_how_the_scraping_went() -> None:
    async with bench(practice=Spindle()) as at:
        await at.press("S", "s")
        assert at.text(Banner) == "SCRAPED · 6 strokes · windows, crossed side, left"
        await at.hear(scene.walk(1))
        assert "SCRAPED" not in at.text(Banner)


async def test_practice_says_when_nothing_could_be_scraped() -> None:
    async with bench(practice=Broken()) as at:
        await at.press("s")
        assert at.text(Notice) == "practice: the knife is blunt"
        assert "SCRAPED" not in at.text(Banner)


async def test_in_practice_a_lifted_spindle_comes_down_again() -> None:
    here = ("place", "crossed/53/-0.5")
    spindle = Spindle()
    async with bench(practice=spindle) as at:
        await at.press("l")
        await at.press("l")
        assert spindle.did == [here, ("lift",), here]
        await at.press("l")
        await at.hear(Refused("bench", "moving", "not settled yet"))
        assert spindle.did[3:] == [("lift",), here]
        await at.hear(Refused("bench", "moving", "not settled yet"))
        assert spindle.did[5:] == [], "it is down already, and only has to settle"
        await at.hear(Refused("bench", "same contact", "not lifted"))
        assert spindle.did[5:] == [here]


async def test_scraping_ends_where_the_walk_has_gone_meanwhile() -> None:
    spindle = Slow()
    async with bench(practice=spindle) as at:
        await at.press("s")
        await at.hear(scene.walk(1))
        spindle.go_on.set()
        await at.until(lambda: len(spindle.did) >= 3)
        await at.pilot.pause()
        there = ("place", "crossed/53/+0.5")
        assert spindle.did[1:] == [("scrape", "crossed/53/-0.5", "windows", 1), there, there]


async def test_without_practice_the_knife_is_out_of_reach() -> None:
    async with bench() as at:
        await at.press("s", "S", "l")
        assert at.app.rung == 0
        assert at.presses == []
