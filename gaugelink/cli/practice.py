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
    from gaugelink.capture.walk import Trigger
    from gaugelink.cli.lesson import Run
    from gaugelink.cli.simulation import Over, Simulation
    from gaugelink.cli.walk import Report
    from gaugelink.craft.lessons import Lesson
    from gaugelink.craft.style import Style
    from gaugelink.daemon.client import Client
    from gaugelink.daemon.messages import Event, StartWalk, WalkEvent
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
@click.option(
    "--trigger",
    type=click.Choice(["press", "dwell"]),
    default="press",
    show_default=True,
    help="Capture by pedal or key, or by standing still.",
)
@click.option(
    "--lesson",
    metavar="NAME",
    help="A lesson, or the .toml file of one: its own style, stage and reed, and a score.",
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
    trigger: Trigger,
    lesson: str | None,
    headless: bool,
    as_json: bool,
) -> None:
    """Practise on a simulated indicator and a reed that can be scraped.

    The indicator runs as a process of its own behind a pseudo-terminal, and is read like a real
    one. Nothing that is captured here touches your own store.

    \b
    Example: gaugelink practice
             gaugelink practice --headless --json --seed 7
             gaugelink practice --lesson level-windows
    """
    if as_json and not headless:
        raise click.UsageError("--json goes with --headless: the screen prints no lines")
    if trigger == "dwell" and headless:
        raise click.UsageError("--trigger dwell goes with the screen: headless, the maker presses")
    if lesson is None:
        common.run(_practice(ctx, seed, style, stage, over, trigger, headless, as_json))
        return
    begins = _lesson(ctx, lesson, headless)
    common.run(
        _practice(
            ctx, seed, begins.style, begins.stage, over, trigger, headless, as_json, lesson, begins
        )
    )


def _lesson(ctx: click.Context, name: str, headless: bool) -> Lesson:
    """The lesson of that name; a UsageError when the rest of the call does not go with it."""
    from gaugelink.craft import lessons

    for given in ("style", "stage", "over"):
        if ctx.get_parameter_source(given) is not click.core.ParameterSource.DEFAULT:
            raise click.UsageError(f"--{given} does not go with --lesson, which has its own")
    lesson = lessons.find(name)
    if lesson.clips and not headless:
        raise click.UsageError(f"lesson {lesson.name} is clipped, which goes with --headless only")
    return lesson


async def _practice(
    ctx: click.Context,
    seed: int,
    style: str,
    stage: str | None,
    over: Over,
    trigger: Trigger,
    headless: bool,
    as_json: bool,
    lesson_name: str = "",
    lesson: Lesson | None = None,
) -> None:
    from gaugelink.cli.simulation import simulated
    from gaugelink.craft import style as styles

    own = common.folders_of(ctx)
    path = styles.locate(style, own.styles)
    found = styles.find(path)
    chosen = found.stage(stage or DEFAULT_STAGE.get(found.name, found.stages[0].name))
    run = None if lesson is None else _begun(lesson, found)
    if lesson is not None and headless and not as_json:
        common.say(f"{lesson.title}. {lesson.aim}")
    with tempfile.TemporaryDirectory(prefix="gaugelink-") as home:
        async with simulated(seed, path, chosen.name, DESCRIPTION, over, lesson_name) as simulation:
            folders = _beside(Path(home), own)
            if headless:
                await _headless(folders, simulation, style, chosen.name, as_json, run)
            else:
                await _on_screen(folders, own, simulation, style, chosen.name, trigger, run)


def _begun(lesson: Lesson, style: Style) -> Run:
    from gaugelink.cli.lesson import Run
    from gaugelink.craft.lessons import fits

    fits(lesson, style)
    return Run(lesson, style)


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
    folders: Folders,
    simulation: Simulation,
    style: str,
    stage: str,
    as_json: bool,
    run: Run | None,
) -> None:
    from gaugelink.cli.walk import BENCH, Report
    from gaugelink.daemon import messages as m

    if run is not None and run.lesson.clips:
        from gaugelink.cli.lesson import clip_lesson

        await clip_lesson(run, simulation, as_json)
        return
    async with (
        common.reach(folders) as client,
        contextlib.aclosing(client.events()) as events,
    ):
        await client.ask(m.Follow(readings=False))
        await client.ask(
            m.AddGauge(name=GAUGE, port=simulation.port, description=_spoken(simulation))
        )
        wanted = m.StartWalk(reed=REED, style=style, stage=stage, gauge=GAUGE, bench=BENCH)
        walk = await client.ask(wanted)
        if run is None:
            report = Report(walk, as_json)
            await common.first(_make(events, simulation, report), _press(client, simulation))
            await client.ask(m.StopWalk(bench=BENCH))
            report.summary()
        else:
            await _headless_lesson(client, events, simulation, run, wanted, walk, as_json)


async def _headless_lesson(
    client: Client,
    events: AsyncGenerator[Event, None],
    simulation: Simulation,
    run: Run,
    wanted: StartWalk,
    walk: WalkEvent,
    as_json: bool,
) -> None:
    from msgspec.structs import replace

    from gaugelink.cli.lesson import LessonReport, scrape_lesson
    from gaugelink.daemon import messages as m

    report = LessonReport(walk, as_json, run)

    async def measure() -> None:
        if not report.done:
            await _make(events, simulation, report)
            return
        await client.ask(replace(wanted, anew=True))
        await _until_begun(events, report)
        await _walk(events, simulation, report)

    await common.first(scrape_lesson(run, simulation, report, measure), _press(client, simulation))
    await client.ask(m.StopWalk(bench=wanted.bench))
    if not as_json:
        run.tell()
    report.summary(run.summary())


async def _until_begun(events: AsyncGenerator[Event, None], report: Report) -> None:
    """Hear what was told before a further pass began, and that it has."""
    while report.done:
        report.event(await anext(events))


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
    """The simulated maker walks once the gauge is there: goes where the hub says, and heeds it."""
    from gaugelink.daemon import messages as m

    async for event in events:
        report.event(event)
        if isinstance(event, m.GaugeEvent) and event.link == "up":
            break
    await _walk(events, simulation, report)


async def _walk(
    events: AsyncGenerator[Event, None], simulation: Simulation, report: Report
) -> None:
    from gaugelink.daemon import messages as m

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
    folders: Folders,
    own: Folders,
    simulation: Simulation,
    style: str,
    stage: str,
    trigger: Trigger,
    run: Run | None,
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
        trigger=trigger,
    )
    if run is None:
        await open_screen(folders, own, plan, practice=simulation)
        return
    from gaugelink.cli.lesson import Watched

    watched = Watched(simulation)
    await open_screen(folders, own, plan, practice=watched)
    watched.into(run, folders)
    run.tell()
