"""`gaugelink reed`: one reed with everything that was measured, counted and heard of it."""

from __future__ import annotations

from itertools import takewhile
from typing import TYPE_CHECKING

import click

from gaugelink.cli import common
from gaugelink.cli.lazy import Lazy
from gaugelink.cli.times import local

if TYPE_CHECKING:
    from gaugelink.daemon.messages import CaptureRecord, History, ReedChange, Trusted

COMMANDS = {
    each: f"reeds.{each}" for each in ("advice", "strokes", "crow", "clip", "play", "moved")
}


class _OfReed(Lazy):
    """Takes the reed's name first, then its own options or a command."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        # click itself wants a group's options before its argument.
        own = list(takewhile(lambda word: word.startswith("-"), args[1:]))
        if own and not args[0].startswith("-"):
            args = [*own, args[0], *args[1 + len(own) :]]
        return super().parse_args(ctx, args)


@click.group("reed", cls=_OfReed, modules=COMMANDS, invoke_without_command=True)
@click.argument("name")
@click.option(
    "--history",
    is_flag=True,
    help="All captures, wet or dry as far as known, and how it moved on, oldest first.",
)
@common.json_option
@click.pass_context
def command(ctx: click.Context, name: str, history: bool, as_json: bool) -> None:
    """Show a reed: what it measures now, stage by stage, or its whole history; or work on it.

    \b
    Example: gaugelink reed R07 --history
             gaugelink reed R07 advice
             gaugelink reed R07 crow C5-15
    """
    if ctx.invoked_subcommand is None:
        common.run(_show(ctx, name, history, as_json))


async def _show(ctx: click.Context, name: str, history: bool, as_json: bool) -> None:
    from gaugelink.cli.rack import plain
    from gaugelink.cli.reeds.sureness import known, sentence
    from gaugelink.daemon import messages as m

    changes: list[ReedChange] = []
    async with common.reach(common.folders_of(ctx)) as client:
        found: History = await client.ask(m.ReedHistory(name=name))
        if history:
            changes = await client.ask(m.Changes(reed=name))
        trusted = [] if history or as_json else await known(client, found.captures)
    if as_json:
        common.say(common.json_line(found))
        if history:
            common.say(common.json_line(changes))
        return
    common.say(plain(found.reed))
    if history:
        told = [(each.at, _change(each)) for each in changes]
        told += [(each.taken_at, _line(each)) for each in found.captures]
        for _, line in sorted(told, key=lambda each: each[0]):
            common.say(line)
    if not found.captures:
        common.say("nothing measured yet")
    elif not history:
        _stages(found, trusted)
        for each in trusted:
            common.say(sentence(each))


def _line(capture: CaptureRecord) -> str:
    retaken = f"  retaken: see {capture.superseded_by}" if capture.superseded_by else ""
    when = f"{local(capture.taken_at)}  {capture.capture:>6}"
    where = f"{capture.stage:<9} pass {capture.in_pass}  {capture.station:<20}"
    wet = "" if capture.wet == "unknown" else capture.wet
    what = f"{capture.hundredths:>6.1f}  {capture.verdict!s:<8} {wet:<3}{retaken}"
    return f"{when}  {where} {what}".rstrip()


def _change(change: ReedChange) -> str:
    stage = f", {change.stage}" if change.stage else ""
    note = f": {change.note}" if change.note else ""
    return f"{local(change.at)}  {change.state}{stage}{note}"


def _stages(found: History, trusted: list[Trusted]) -> None:
    """The newest value of each station, stage by stage, the stations in the order of the walk."""
    from gaugelink.cli.reeds.sureness import sureness

    stages = dict.fromkeys(each.stage for each in found.captures)
    for stage in stages:
        newest = {each.station: each for each in found.captures if each.stage == stage}
        common.say(f"{stage}:")
        for each in newest.values():
            common.say(
                f"  {each.zone:<12} {each.station:<20} {each.hundredths:>6.1f}  "
                f"target {each.target:f}  {each.verdict!s:<8} "
                f"{sureness(each, found.captures, trusted)}".rstrip()
            )
