"""`gaugelink rack`: the reeds in progress."""

from __future__ import annotations

from collections.abc import Container
from typing import TYPE_CHECKING, Any

import click

from gaugelink.cli import common
from gaugelink.cli.times import local

if TYPE_CHECKING:
    from gaugelink.daemon.messages import RackEntry, ReedRecord

MOST_NUMBERED = 10_000
"""No maker numbers more blanks of one name."""

STATES = (
    "blank",
    "first day",
    "resting",
    "second day",
    "finished",
    "handed over",
    "set aside",
)


@click.group("rack", invoke_without_command=True)
@click.option("--all", "everything", is_flag=True, help="Also those handed over or set aside.")
@common.json_option
@click.pass_context
def command(ctx: click.Context, everything: bool, as_json: bool) -> None:
    """Show the reeds in progress with the next step of each, put blanks on the rack, move reeds on.

    \b
    Example: gaugelink rack add R --count 12 --style millrace-long --batch autumn
             gaugelink rack move R07 resting --note "15 cents flat"
             gaugelink rack
    """
    if ctx.invoked_subcommand is None:
        common.run(_show(ctx, everything, as_json))


async def _show(ctx: click.Context, everything: bool, as_json: bool) -> None:
    from gaugelink.daemon import messages as m

    async with common.reach(common.folders_of(ctx)) as client:
        reeds: list[RackEntry] = await client.ask(m.Agenda(all=everything))
    if as_json:
        common.say(common.json_line(reeds))
        return
    if not reeds:
        common.say("the rack is empty: gaugelink rack add NAME --style STYLE puts a blank on it")
    for reed in reeds:
        common.say(plain(reed))
        common.say(f"{'':<10} {_next(reed)}")


def _next(reed: RackEntry) -> str:
    """Since when it stands so, and what comes next, in the time of this place."""
    due = ""
    if reed.due:
        due = f", {'not before' if reed.waits else 'due since'} {local(reed.due)}"
    return f"since {local(reed.since)}; next: {reed.next}{due}"


def plain(reed: ReedRecord) -> str:
    """A reed on one line."""
    batch = f"batch {reed.batch}" if reed.batch else ""
    note = f"  {reed.note}" if reed.note else ""
    return (
        f"{reed.name:<10} {reed.state:<12} {reed.style:<16} {reed.stage or '-':<10} "
        f"{reed.captures:>4} captures  {batch}{note}".rstrip()
    )


@command.command("add")
@click.argument("name")
@click.option("--style", required=True, help="The style it is made in.")
@click.option("--batch", default="", help="The batch that it belongs to.")
@click.option("--note", default="", help="Cane lot, gouge, shape, staple: what you want to know.")
@click.option(
    "--count", type=click.IntRange(1, 999), help="So many, numbered on: NAME01, NAME02, …"
)
@common.json_option
@click.pass_context
def add(
    ctx: click.Context,
    name: str,
    style: str,
    batch: str,
    note: str,
    count: int | None,
    as_json: bool,
) -> None:
    """Put blanks on the rack.

    \b
    Example: gaugelink rack add R --count 12 --style millrace-long --batch autumn
    """
    common.run(_add(ctx, name, count, (style, batch, note), as_json))


async def _add(
    ctx: click.Context, stem: str, count: int | None, about: tuple[str, str, str], as_json: bool
) -> None:
    from gaugelink.daemon import messages as m

    style, batch, note = about
    async with common.reach(common.folders_of(ctx)) as client:
        names = [stem]
        if count is not None:
            there = {each.name for each in await client.ask(m.Rack(all=True))}
            names = numbered(stem, count, there)
        for name in names:
            reed = await client.ask(m.AddReed(name=name, style=style, batch=batch, note=note))
            common.say(common.json_line(reed) if as_json else plain(reed))


def numbered(stem: str, count: int, there: Container[str]) -> list[str]:
    """So many names from the stem and a number, going on behind those that are there."""
    used = [n for n in range(1, MOST_NUMBERED) if f"{stem}{n:02}" in there]
    first = max(used, default=0) + 1
    return [f"{stem}{n:02}" for n in range(first, first + count)]


@command.command("move")
@click.argument("name")
@click.argument("state", type=click.Choice(STATES))
@click.option("--note", help="Why, or what was heard.")
@common.json_option
@click.pass_context
def move(ctx: click.Context, name: str, state: str, note: str | None, as_json: bool) -> None:
    """Move a reed on to another state.

    \b
    Example: gaugelink rack move R07 "set aside" --note "leaks at the edge"
    """
    common.run(_ask_one(ctx, {"name": name, "state": state, "note": note}, as_json))


@command.command("note")
@click.argument("name")
@click.argument("text")
@common.json_option
@click.pass_context
def note(ctx: click.Context, name: str, text: str, as_json: bool) -> None:
    """Note something about a reed.

    \b
    Example: gaugelink rack note R07 "high notes hold, low D slow"
    """
    common.run(_ask_one(ctx, {"name": name, "note": text}, as_json))


async def _ask_one(ctx: click.Context, change: dict[str, Any], as_json: bool) -> None:
    from gaugelink.daemon import messages as m

    async with common.reach(common.folders_of(ctx)) as client:
        reed = await client.ask(m.UpdateReed(**change))
    common.say(common.json_line(reed) if as_json else plain(reed))
