"""`gaugelink study`: what one gauge in these hands can tell apart."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from gaugelink.cli import common

if TYPE_CHECKING:
    from gaugelink.cli.taking import Trigger
    from gaugelink.daemon import messages as m
    from gaugelink.daemon.client import Client
    from gaugelink.metrology.plans import CrossedPlan, PlacingPlan
    from gaugelink.metrology.study import Study


@click.group("study", invoke_without_command=True)
@common.json_option
@click.pass_context
def command(ctx: click.Context, as_json: bool) -> None:
    """Plan, carry out and solve a study of how well you measure, alone or several of you.

    Several people each measure the same stations several times, in an order drawn by chance. One
    person alone lifts the spindle, and places the reed anew.

    \b
    Example: gaugelink study plan --gauge left --alone --station crossed/53/+0.5
             gaugelink study run 1
             gaugelink study solve 1
    """
    if ctx.invoked_subcommand is None:
        common.run(_list(ctx, as_json))


@command.command("plan")
@click.option("--gauge", required=True, help="The gauge's name.")
@click.option("--station", "stations", multiple=True, help="A place to measure; give several.")
@click.option("--style", help="Take the stations of a stage of this style.")
@click.option("--stage", help="The stage.")
@click.option("--person", "people", multiple=True, help="Who measures; give two or more.")
@click.option(
    "--trials", type=click.IntRange(2, 20), default=3, show_default=True, help="Rounds by each."
)
@click.option("--alone", is_flag=True, help="One person: lifting, and placing anew.")
@click.option(
    "--placings", type=click.IntRange(2, 50), default=5, show_default=True, help="Placings of each."
)
@click.option(
    "--lifts", type=click.IntRange(2, 20), default=2, show_default=True, help="Lifts in each."
)
@click.option("--seed", type=int, help="Draws the same order again; by default another each time.")
@common.json_option
@click.pass_context
def plan(
    ctx: click.Context,
    gauge: str,
    stations: tuple[str, ...],
    style: str | None,
    stage: str | None,
    people: tuple[str, ...],
    trials: int,
    alone: bool,
    placings: int,
    lifts: int,
    seed: int | None,
    as_json: bool,
) -> None:
    """Plan a study, its order drawn by chance; it is kept until it is carried out.

    \b
    Example: gaugelink study plan --gauge left --person Ines --person Otto
             --style millrace-long --stage windows --trials 3
    """
    if bool(style) != bool(stage):
        raise click.UsageError("--style and --stage go together: they name the stations")
    if not stations and not style:
        raise click.UsageError("Name each --station, or a --style and --stage that has them")
    if alone and people:
        raise click.UsageError("--alone is one person: leave out --person")
    from gaugelink.metrology.plans import plan_crossed, plan_placing

    places = [*stations, *_stations_of(ctx, style, stage)]
    drawn = _drawn() if seed is None else seed
    made: CrossedPlan | PlacingPlan
    if alone:
        made = plan_placing(places, placings, lifts, drawn)
    else:
        made = plan_crossed(places, people, trials, drawn)
    common.run(_plan(ctx, gauge, made, as_json))


def _drawn() -> int:
    import secrets

    return secrets.randbelow(1_000_000)


def _stations_of(ctx: click.Context, style: str | None, stage: str | None) -> list[str]:
    if style is None or stage is None:
        return []
    from gaugelink.craft import style as styles

    found = styles.find(style, common.folders_of(ctx).styles)
    return [stop.station.key for stop in found.stops(stage)]


async def _plan(
    ctx: click.Context, gauge: str, made: CrossedPlan | PlacingPlan, as_json: bool
) -> None:
    from gaugelink.cli.prove import begin

    async with common.reach(common.folders_of(ctx)) as client:
        series = await begin(client, gauge, made)
    if as_json:
        common.say(common.json_line(_record(series)))
    else:
        common.say(f"planned as study {series.series}: {series.of} readings with {gauge}")
        common.say(f"carry it out: gaugelink study run {series.series}")


@command.command("run")
@click.argument("number", type=click.IntRange(1))
@click.option("--port", default="", help="The indicator's port, if it is not connected yet.")
@click.option("--description", default="", help="What it sends; recognised when not given.")
@click.option(
    "--trigger",
    type=click.Choice(["dwell", "lines"]),
    default="dwell",
    show_default=True,
    help="Take by standing still, or on each line read from standard input.",
)
@common.json_option
@click.pass_context
def run(
    ctx: click.Context,
    number: int,
    port: str,
    description: str,
    trigger: Trigger,
    as_json: bool,
) -> None:
    """Carry out a study that was planned, or go on with it where it was left.

    \b
    Example: gaugelink study run 1 --trigger lines
    """
    common.run(_run(ctx, number, (port, description), trigger, as_json))


async def _run(
    ctx: click.Context, number: int, where: tuple[str, str], trigger: Trigger, as_json: bool
) -> None:
    from gaugelink.cli.carrying_out import carry_out
    from gaugelink.cli.prove import find_gauge
    from gaugelink.daemon import messages as m

    async with common.reach(common.folders_of(ctx), remembered=not where[0]) as client:
        series = _study(await client.ask(m.AskSeries(series=number)))
        gauge = await find_gauge(client, series.gauge, *where)
        if await carry_out(client, series, gauge, trigger, as_json):
            await _solve(client, number, as_json)
            return
        now: m.Series = await client.ask(m.AskSeries(series=number))
    if not as_json:
        common.say(f"left at {now.made} of {now.of} readings: gaugelink study run {number}")


@command.command("solve")
@click.argument("number", type=click.IntRange(1))
@common.json_option
@click.pass_context
def solve(ctx: click.Context, number: int, as_json: bool) -> None:
    """Say what a study found, in words first.

    \b
    Example: gaugelink study solve 1 --json
    """
    common.run(_solve_one(ctx, number, as_json))


async def _solve_one(ctx: click.Context, number: int, as_json: bool) -> None:
    async with common.reach(common.folders_of(ctx)) as client:
        await _solve(client, number, as_json)


async def _solve(client: Client, number: int, as_json: bool) -> None:
    from gaugelink.daemon import messages as m
    from gaugelink.metrology.trust_words import figures_of_study, say_study

    series = _study(await client.ask(m.AskSeries(series=number)))
    if series.found_at is None:
        series = await client.ask(m.SolveSeries(series=number))
    if as_json:
        common.say(common.json_line(_record(series)))
        return
    found = _found(series)
    assert found is not None
    for line in (*say_study(found), "", *figures_of_study(found)):
        common.say(line)


def _study(series: m.Series) -> m.Series:
    from gaugelink.reading import GaugelinkError

    if series.kind == "proof":
        raise GaugelinkError(f"series {series.series} is a proof: gaugelink prove --list")
    return series


def _found(series: m.Series) -> Study | None:
    import msgspec

    from gaugelink.metrology.study import Study

    return msgspec.json.decode(series.result, type=Study | None)


def _record(series: m.Series) -> dict[str, object]:
    from gaugelink.metrology.trust_words import say_study

    found = _found(series)
    return {
        "is": "study",
        "series": series.series,
        "kind": series.kind,
        "gauge": series.gauge,
        "begun_at": series.begun_at,
        "solved_at": series.found_at,
        "made": series.made,
        "of": series.of,
        "says": say_study(found) if found else (),
        "plan": series.plan,
        "study": found,
    }


async def _list(ctx: click.Context, as_json: bool) -> None:
    from gaugelink.daemon import messages as m

    async with common.reach(common.folders_of(ctx)) as client:
        found: list[m.Series] = await client.ask(m.ListSeries())
    studies = [each for each in found if each.kind != "proof"]
    if not studies and not as_json:
        common.say("no study was planned yet: gaugelink study plan --help")
    for each in studies:
        common.say(common.json_line(_record(each)) if as_json else _line(each))


def _line(series: m.Series) -> str:
    who = "alone" if series.kind == "placing" else "several people"
    start = (
        f"{series.series:>4}  {series.begun_at[:16].replace('T', ' ')}  {series.gauge:<10}  {who}"
    )
    found = _found(series)
    if found is None:
        return f"{start}, {series.made} of {series.of} readings"
    from gaugelink.metrology.trust_words import say_study

    return f"{start}: {say_study(found)[0]}"
