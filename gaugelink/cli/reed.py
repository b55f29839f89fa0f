"""`gaugelink reed`: one reed with everything that was measured on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from gaugelink.cli import common

if TYPE_CHECKING:
    from gaugelink.daemon.messages import CaptureRecord, History


@click.command("reed")
@click.argument("name")
@click.option("--history", is_flag=True, help="Every capture in its order, retaken ones too.")
@common.json_option
@click.pass_context
def command(ctx: click.Context, name: str, history: bool, as_json: bool) -> None:
    """Show a reed: what it measures now, stage by stage, or its whole history.

    \b
    Example: gaugelink reed R07 --history
    """
    common.run(_show(ctx, name, history, as_json))


async def _show(ctx: click.Context, name: str, history: bool, as_json: bool) -> None:
    from gaugelink.cli.rack import plain
    from gaugelink.daemon import messages as m

    async with common.reach(common.folders_of(ctx)) as client:
        found: History = await client.ask(m.ReedHistory(name=name))
    if as_json:
        common.say(common.json_line(found))
        return
    common.say(plain(found.reed))
    if not found.captures:
        common.say("nothing measured yet")
    elif history:
        for capture in found.captures:
            common.say(_line(capture))
    else:
        _stages(found)


def _line(capture: CaptureRecord) -> str:
    retaken = f"  retaken: see {capture.superseded_by}" if capture.superseded_by else ""
    when = f"{capture.capture:>6}  {capture.taken_at[:19]}"
    where = f"{capture.stage:<9} pass {capture.in_pass}  {capture.station:<20}"
    return f"{when}  {where} {capture.hundredths:>6.1f}  {capture.verdict}{retaken}"


def _stages(found: History) -> None:
    """The newest value of each station, stage by stage, the stations in the order of the walk."""
    stages = dict.fromkeys(each.stage for each in found.captures)
    for stage in stages:
        newest = {each.station: each for each in found.captures if each.stage == stage}
        common.say(f"{stage}:")
        for each in newest.values():
            common.say(
                f"  {each.zone:<12} {each.station:<20} {each.hundredths:>6.1f}  "
                f"target {each.target:f}  {each.verdict}"
            )
