"""Two invented gauges, what they send, and what is found out about one: for the page's tests."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any, Literal

import msgspec
from textual.widgets import Input, Static

from gaugelink.daemon.messages import (
    Diagnose,
    Diagnosis,
    Follow,
    GaugeCounts,
    GaugeEvent,
    Gauges,
    Learn,
    RawEvent,
    RenameGauge,
    Request,
    Taught,
    TaughtAnswer,
    Teach,
)
from tests.tui.bench import Bench, bench
from tui import scene
from tui.plan import Plan
from tui.scene import SceneClient
from tui.screens.gauges import GaugesScreen
from tui.screens.teach import TeachScreen
from tui.widgets.gauge_list import GaugeCard
from tui.widgets.said import Said

OTHER = "window"
NO_GAUGE = Plan(reed=scene.REED, style=scene.STYLE, stage=scene.STAGE)


def other(
    link: Literal["opening", "up", "down"] = "down",
    reason: str = "not in reach: switch it on, and bring it nearer",
    retry_in: float = 4.0,
) -> GaugeEvent:
    """A Bluetooth gauge beside the scene's own."""
    return GaugeEvent(OTHER, "ble:C0:FF:EE:12:34:56", "", "", link, reason, retry_in)


def counts(name: str = scene.GAUGE, **changes: Any) -> GaugeCounts:
    """How a gauge fares: the scene's own well, but for three frames."""
    well = GaugeCounts(
        name=name,
        port="/dev/ttyUSB0",
        description="signed-decimal-unit-cr",
        link="up",
        readings=1204,
        per_second=9.98,
        last_heard=0.104,
        refused={"checksum": 2, "range": 1},
        last_refused="range: b'+99.99 mm'",
        reopened=2,
        battery=None,
    )
    return msgspec.structs.replace(well, **changes)


UNHEARD = counts(
    OTHER,
    port="ble:C0:FF:EE:12:34:56",
    description="",
    link="down",
    readings=0,
    per_second=0.0,
    last_heard=None,
    refused={},
    last_refused="",
    reopened=0,
)


def diagnosis(*gauges: GaugeCounts) -> Diagnosis:
    """What the hub says of them."""
    return Diagnosis(
        version="0",
        protocol=1,
        up_for=60.0,
        store="/home/maker/reeds.db",
        schema=2,
        captures=34,
        followers=1,
        missed=0,
        gauges=list(gauges),
    )


def hub(answers: dict[type[Request], Any] | None = None) -> SceneClient:
    """A hub with both gauges, on which all is well."""

    def renamed(request: RenameGauge) -> GaugeEvent:
        return msgspec.structs.replace(scene.gauge(), name=request.to)

    def learnt(request: Learn) -> GaugeEvent:
        return msgspec.structs.replace(scene.gauge(), description=request.name, title="taught")

    usual: dict[type[Request], Any] = {
        Gauges: [scene.gauge(), other()],
        Diagnose: diagnosis(counts(), UNHEARD),
        RenameGauge: renamed,
        Teach: scene.gauge("opening", "its format is being worked out"),
        Learn: learnt,
    }
    return SceneClient({**usual, **(answers or {})})


def raw(data: bytes, at: float = 100.0, missed: int = 0, gauge: str = scene.GAUGE) -> RawEvent:
    """Bytes of a gauge."""
    return RawEvent(gauge, at, data.hex(), missed)


EVIDENCE = (
    "at 9600 baud what was heard (812 bytes) makes sense",
    "bit 7 follows no parity: eight bits without parity (or with a space parity)",
    "one stop bit reads both one and two",
    "values come by themselves",
    "frames end with a carriage return",
    "the number moved with the spindle, the other digits stood still",
    "this description reads 74 of the 74 whole frames that were heard",
)


def taught(*answers: TaughtAnswer, **changes: Any) -> Taught:
    """What was found out about the scene's gauge, with a question when there are answers."""
    found = Taught(
        scene.GAUGE,
        name="taught-9600-8n1-cr-mm",
        toml='name = "taught"\n',
        evidence=EVIDENCE,
        sure=0.93,
        question="which of the two numbers is the reading?" if answers else "",
        answers=answers,
    )
    return msgspec.structs.replace(found, **changes)


ANSWERS = (
    TaughtAnswer("the first number is the reading, in mm", 'name = "first"\n'),
    TaughtAnswer("the second number is the reading, in mm", 'name = "second"\n'),
)


class GaugesPage:
    """The page of the gauges, open on a running bench."""

    def __init__(self, at: Bench) -> None:
        self.at = at

    @property
    def rung(self) -> int:
        """How often the bell has rung."""
        return self.at.app.rung

    @property
    def page(self) -> GaugesScreen:
        """The page, wherever it is in the stack."""
        return next(each for each in self.at.app.screen_stack if isinstance(each, GaugesScreen))

    @property
    def cards(self) -> list[str]:
        """What each gauge's card says."""
        return [card.said.plain for card in self.page.query(GaugeCard) if card.said is not None]

    @property
    def selected(self) -> list[str]:
        """The names of the cards that are marked."""
        return [card.gauge for card in self.page.query(GaugeCard) if card.has_class("-selected")]

    @property
    def said(self) -> str:
        """The line that says how it went, on the page in front."""
        return self.at.app.screen.query_one(Said).text

    def shows(self, selector: str) -> str:
        """The text of a part of the page in front."""
        return str(self.at.app.screen.query_one(selector, Static).content)

    def writing(self) -> bool:
        """Whether something is being written."""
        return isinstance(self.at.app.focused, Input)

    @property
    def written(self) -> str:
        """What is on the line to write on."""
        return self.at.app.screen.query_one(Input).value

    async def write(self, text: str) -> None:
        """Write on the line, in place of what is there, and press Enter."""
        self.at.app.screen.query_one(Input).value = text
        await self.at.press("enter")


@asynccontextmanager
async def gauges_page(
    client: SceneClient | None = None, **options: Any
) -> AsyncIterator[GaugesPage]:
    """A bench on which the page of the gauges was opened, and has looked at them once."""
    async with bench(client or hub(), **{"look_every": 0, "clock": still, **options}) as at:
        await open_page(at)
        yield GaugesPage(at)


async def open_page(at: Bench) -> None:
    """Open the page, until it shows what the hub says."""
    await at.press("g")
    await at.until(lambda: isinstance(at.app.screen, GaugesScreen))
    await at.until(lambda: bool(at.client.asked(Diagnose)))
    await at.pilot.pause()
    await at.pilot.pause()


async def teaching(on: GaugesPage) -> None:
    """Begin to teach the selected gauge."""
    await on.at.press("t")
    await on.at.until(lambda: isinstance(on.at.app.screen, TeachScreen))
    await on.at.until(lambda: bool(on.at.client.asked(Teach)))
    await on.at.pilot.pause()


def still() -> float:
    """A clock that stands still."""
    return 0.0


def follows(on: GaugesPage) -> list[tuple[list[str], bool]]:
    """What was asked to be followed: gauges, and whether their bytes too."""
    return [(each.gauges, each.raw) for each in on.at.client.asked(Follow)]
