"""`gaugelink practice`: the whole job on a simulated indicator and a reed that can be scraped."""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import AsyncGenerator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from gaugelink.cli import common

if TYPE_CHECKING:
    from gaugelink.cli.simulation import Over, Simulation
    from gaugelink.cli.walk import Report
    from gaugelink.daemon.client import Client
    from gaugelink.daemon.messages import Event
    from gaugelink.folders import Folders

DESCRIPTION = "signed-decimal-unit-cr"
REED = "practice"
GAUGE = "practice"


@click.command("practice")
@click.option("--seed", type=int, default=1, show_default=True, help="Which reed, and which hand.")
@click.option("--style", default="millrace-long", show_default=True, help="The style's name.")
@click.option("--stage", help="The stage; the style's first to be scraped when not given.")
@click.option(
    "--over",
    type=click.Choice(["serial", "bluetooth"]),
    default="serial",
    show_default=True,
    help="What the indicator is connected by; Bluetooth is simulated on Linux only.",
)
@click.option("--headless", is_flag=True, help="Without a screen: a simulated maker walks.")
@common.json_option
@click.pass_context
def command(
    ctx: click.Context,
    seed: int,
    style: str,
    stage: str | None,
    over: Over,
    headless: bool,
    as_json: bool,
) -> None:
    """Practise on a simulated indicator and a reed that can be scraped.

    The indicator runs as a process of its own behind a pseudo-terminal, and is read like a real
    one. Nothing that is captured here touches your own store.

    \b
    Example: gaugelink practice
             gaugelink practice --headless --json --seed 7
    """
    if as_json and not headless:
        raise click.UsageError("--json goes with --headless: the screen prints no lines")
    common.run(_practice(ctx, seed, style, stage, over, headless, as_json))


async def _practice(
    ctx: click.Context,
    seed: int,
    style: str,
    stage: str | None,
    over: Over,
    headless: bool,
    as_json: bool,
) -> None:
    from gaugelink.cli.simulation import simulated
    from gaugelink.craft import style as styles

    own = common.folders_of(ctx)
    path = styles.locate(style, own.styles)
    found = styles.find(path)
    chosen = found.stage(stage or DEFAULT_STAGE.get(found.name, found.stages[0].name))
    with tempfile.TemporaryDirectory(prefix="gaugelink-") as home:
        async with simulated(seed, path, chosen.name, DESCRIPTION, over) as simulation:
            folders = _beside(Path(home), own)
            if headless:
                await _headless(folders, simulation, style, chosen.name, as_json)
            else:
                await _on_screen(folders, own, simulation, style, chosen.name)


DEFAULT_STAGE = {"millrace-long": "windows"}
"""Where practice begins; elsewhere at the style's first stage. Sorting blanks teaches little."""


def _beside(home: Path, own: Folders) -> Folders:
    """Folders with a store of practice's own, but the user's styles, descriptions and keys."""
    from gaugelink.folders import Folders

    return Folders(home / "data", own.config, home / "run")


def _spoken(simulation: Simulation) -> str:
    """The description to read it by; one over Bluetooth says by itself what it sends."""
    from gaugelink.devices.bluetooth import is_bluetooth

    return "" if is_bluetooth(simulation.port) else DESCRIPTION


async def _headless(
    folders: Folders, simulation: Simulation, style: str, stage: str, as_json: bool
) -> None:
    from gaugelink.cli.walk import BENCH, Report
    from gaugelink.daemon import messages as m

    async with (
        common.reach(folders) as client,
        contextlib.aclosing(client.events()) as events,
    ):
        await client.ask(m.Follow(readings=False))
        await client.ask(
            m.AddGauge(name=GAUGE, port=simulation.port, description=_spoken(simulation))
        )
        walk = await client.ask(
            m.StartWalk(reed=REED, style=style, stage=stage, gauge=GAUGE, bench=BENCH)
        )
        report = Report(walk, as_json)
        await common.first(_make(events, simulation, report), _press(client, simulation))
        await client.ask(m.StopWalk(bench=BENCH))
        report.summary()


async def _press(client: Client, simulation: Simulation) -> None:
    """Every press of the simulated maker is a press of the pedal."""
    from gaugelink.cli.walk import BENCH
    from gaugelink.daemon import messages as m

    while True:
        await simulation.pressed()
        await client.ask(m.Press(gesture="capture", bench=BENCH))


async def _make(
    events: AsyncGenerator[Event, None], simulation: Simulation, report: Report
) -> None:
    """The simulated maker listens to the hub: goes where it says, and heeds what it refuses."""
    from gaugelink.daemon import messages as m

    async for event in events:
        report.event(event)
        if isinstance(event, m.GaugeEvent) and event.link == "up":
            break
    visiting: int | None = None
    while not report.done:
        if visiting != report.walk.at_stop:
            visiting = report.walk.at_stop
            assert visiting is not None
            await simulation.visit(report.walk.stops[visiting].station)
        event = await anext(events)
        report.event(event)
        if not isinstance(event, m.Refused):
            continue
        if event.why in ("moving", "stale", "no reading", "link lost"):
            await simulation.press_again()
        elif event.why in ("same contact", "not cane"):
            visiting = None


async def _on_screen(
    folders: Folders, own: Folders, simulation: Simulation, style: str, stage: str
) -> None:
    from gaugelink.cli.bench import open_screen
    from tui.plan import Plan

    plan = Plan(
        reed=REED,
        style=style,
        stage=stage,
        gauge=GAUGE,
        port=simulation.port,
        description=_spoken(simulation),
    )
    await open_screen(folders, own, plan, practice=simulation)
