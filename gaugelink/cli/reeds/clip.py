"""`gaugelink reed NAME clip`: its length, and the next clip."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING

import click

from gaugelink.cli import common, reeds

if TYPE_CHECKING:
    from gaugelink.daemon import messages as m


def _millimetres(ctx: click.Context, param: click.Parameter, value: str | None) -> Decimal | None:
    """A length as it was typed, exactly; a comma will do."""
    if value is None:
        return None
    try:
        return Decimal(value.replace(",", "."))
    except InvalidOperation as error:
        raise click.BadParameter(f"{value!r} is no length in millimetres", ctx, param) from error


length_option = click.option(
    "--length",
    metavar="MM",
    callback=_millimetres,
    help="What it measures now from the bottom of the tube.",
)


@click.command("clip")
@length_option
@click.option("--gauge", is_flag=True, help="That length was measured by a gauge, not by a rule.")
@reeds.correct_option
@common.json_option
@click.pass_context
def command(
    ctx: click.Context, length: Decimal | None, gauge: bool, correct: bool, as_json: bool
) -> None:
    """Note the reed's length, and say how much to clip next, or why not to.

    A clip is planned from the crows of this sitting: note each with `gaugelink reed NAME crow`.
    Without --length nothing is noted.

    \b
    Example: gaugelink reed R07 clip --length 70.5
    """
    from gaugelink.daemon import messages as m

    name = reeds.name_of(ctx)
    request: m.Request = m.PlanClip(reed=name)
    if length is not None:
        request = m.NoteLength(
            reed=name, length=length, how="gauge" if gauge else "typed", correct=correct
        )
    elif gauge or correct:
        raise click.UsageError("there is no --length to note", ctx)
    common.run(_ask(ctx, request, as_json))


async def _ask(ctx: click.Context, request: m.Request, as_json: bool) -> None:
    show(await reeds.ask(ctx, request), as_json)


def show(found: m.ClipPlan, as_json: bool) -> None:
    """Print the plan."""
    if as_json:
        common.say(common.json_line(found))
        return
    if found.noted:
        common.say(f"{found.reed}, noted: {found.noted}")
    common.say(found.text)
