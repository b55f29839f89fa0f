"""`gaugelink prove`: what a gauge's numbers are worth, found with shims or gauge blocks."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from gaugelink.cli import common

if TYPE_CHECKING:
    from gaugelink.cli.taking import Trigger
    from gaugelink.daemon import messages as m
    from gaugelink.daemon.client import Client
    from gaugelink.metrology.proving import Proof


@click.command("prove")
@click.option("--gauge", default="", help="The gauge's name.")
@click.option("--port", default="", help="The indicator's port, if it is not connected yet.")
@click.option("--description", default="", help="What it sends; recognised when not given.")
@click.option(
    "--standards",
    type=click.Path(dir_okay=False, path_type=Path),
    help="The shims or blocks and your limits: a TOML file.",
)
@click.option(
    "--repeats",
    type=click.IntRange(2, 20),
    default=3,
    show_default=True,
    help="How often each is measured, up and down.",
)
@click.option(
    "--trigger",
    type=click.Choice(["dwell", "lines"]),
    default="dwell",
    show_default=True,
    help="Take by standing still, or on each line read from standard input.",
)
@click.option("--list", "listed", is_flag=True, help="List the proofs that were made.")
@common.json_option
@click.pass_context
def command(
    ctx: click.Context,
    gauge: str,
    port: str,
    description: str,
    standards: Path | None,
    repeats: int,
    trigger: Trigger,
    listed: bool,
    as_json: bool,
) -> None:
    """Prove a gauge: measure shims or gauge blocks up and down, and learn what to trust.

    Zero the gauge on the bare tongue first. Each standard is measured from both sides, several
    times, the bare tongue in between; every contact gives one reading, and each is kept.

    \b
    The file:     unit = "mm"
                  [[standards]]
                  nominal = 0.20
                  tolerance = 0.004     # or: expanded = 0.001, k = 2
                  [limits]
                  error = 0.01
                  repeatability = 0.01

    \b
    Example: gaugelink prove --gauge left --standards shims.toml
             gaugelink prove --list
    """
    if listed:
        common.run(_list(ctx, gauge, as_json))
        return
    if standards is None:
        raise click.UsageError("Missing option '--standards': name the file of your shims")
    if not gauge and not port:
        raise click.UsageError("Give the gauge's --gauge, or the --port it is at")
    common.run(_prove(ctx, (gauge, port, description), standards, repeats, trigger, as_json))


async def _prove(
    ctx: click.Context,
    where: tuple[str, str, str],
    standards: Path,
    repeats: int,
    trigger: Trigger,
    as_json: bool,
) -> None:
    from gaugelink.cli.carrying_out import carry_out
    from gaugelink.cli.standards import load
    from gaugelink.metrology.plans import ProofPlan, steps

    blocks, permitted = load(standards)
    plan = ProofPlan(blocks, repeats, permitted)
    # A plan that cannot be carried out is said before the gauge is reached.
    steps(plan)
    async with common.reach(common.folders_of(ctx), remembered=not where[1]) as client:
        gauge = await find_gauge(client, *where)
        series = await begin(client, gauge, plan)
        if not await carry_out(client, series, gauge, trigger, as_json):
            left = f"the proof is left at {await _made(client, series)}: begin it again"
            common.say(f"gaugelink: {left}", err=True)
            raise click.exceptions.Exit(1)
        await _solve(client, series, as_json)


async def find_gauge(client: Client, gauge: str, port: str, description: str = "") -> str:
    """The name of the gauge at a port, which is connected if need be, or of the one named.

    GaugelinkError when there is none of that name.
    """
    from gaugelink.daemon import messages as m
    from gaugelink.reading import GaugelinkError

    if port:
        added: m.GaugeEvent = await client.ask(
            m.AddGauge(name=gauge, port=port, description=description)
        )
        return added.name
    names = [each.name for each in await client.ask(m.Gauges())]
    if gauge not in names:
        known = ", ".join(names) or "none: give its --port"
        raise GaugelinkError(f"no gauge is called {gauge!r}; known are {known}")
    return gauge


async def begin(client: Client, gauge: str, plan: object) -> m.Series:
    """Have the hub keep a plan."""
    import msgspec

    from gaugelink.daemon import messages as m

    raw = msgspec.Raw(m.encoder.encode(plan))
    series: m.Series = await client.ask(m.BeginSeries(gauge=gauge, plan=raw))
    return series


async def _made(client: Client, series: m.Series) -> str:
    from gaugelink.daemon import messages as m

    now: m.Series = await client.ask(m.AskSeries(series=series.series))
    return f"{now.made} of {now.of} readings"


async def _solve(client: Client, series: m.Series, as_json: bool) -> None:
    from gaugelink.daemon import messages as m
    from gaugelink.metrology.trust_words import figures_of_proof, say_proof

    solved: m.Series = await client.ask(m.SolveSeries(series=series.series))
    proof = proof_of(solved)
    if as_json:
        common.say(common.json_line(_record(solved, proof)))
        return
    for line in (*say_proof(proof), "", *figures_of_proof(proof)):
        common.say(line)
    common.say(f"kept as series {solved.series}: gaugelink prove --list")


def proof_of(series: m.Series) -> Proof:
    """What a solved proof found."""
    import msgspec

    from gaugelink.metrology.proving import Proof

    return msgspec.json.decode(series.result, type=Proof)


def _record(series: m.Series, proof: Proof | None) -> dict[str, object]:
    from gaugelink.metrology.trust_words import say_proof

    return {
        "is": "proof",
        "series": series.series,
        "gauge": series.gauge,
        "begun_at": series.begun_at,
        "proved_at": series.found_at,
        "made": series.made,
        "of": series.of,
        "outcome": proof.outcome if proof else None,
        "says": say_proof(proof) if proof else (),
        "plan": series.plan,
        "proof": proof,
    }


async def _list(ctx: click.Context, gauge: str, as_json: bool) -> None:
    from gaugelink.daemon import messages as m

    async with common.reach(common.folders_of(ctx)) as client:
        found: list[m.Series] = await client.ask(m.ListSeries(gauge=gauge))
    proofs = [each for each in found if each.kind == "proof"]
    if not proofs and not as_json:
        common.say("no gauge was proved yet: gaugelink prove --gauge NAME --standards FILE.toml")
    for each in proofs:
        proof = None if each.found_at is None else proof_of(each)
        common.say(common.json_line(_record(each, proof)) if as_json else _line(each, proof))


def _line(series: m.Series, proof: Proof | None) -> str:
    start = f"{series.series:>4}  {series.begun_at[:16].replace('T', ' ')}  {series.gauge:<10}"
    if proof is None:
        return f"{start}  left at {series.made} of {series.of} readings"
    from gaugelink.metrology.words import amount

    return (
        f"{start}  {proof.outcome or 'no limits set'}: error {amount(proof.greatest_error)}, "
        f"repeats within {amount(proof.repeatability)}, "
        f"known to {amount(proof.budget.expanded)}"
    )
