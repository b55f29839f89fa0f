"""`gaugelink batch best`: what the reeds that play well have alike."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

import click

from gaugelink.cli import common, reeds


@click.command("best")
@click.option("--style", default="", help="Their style; only needed when several have grades.")
@click.option(
    "--at-least",
    type=click.FloatRange(1, 5),
    default=4,
    show_default=True,
    help="The mean grade of a good reed.",
)
@click.option(
    "--coverage",
    type=click.FloatRange(0.5, 0.99),
    default=0.9,
    show_default=True,
    help="The share of good reeds that the limits are to hold.",
)
@click.option(
    "--confidence",
    type=click.FloatRange(0.5, 0.99),
    default=0.95,
    show_default=True,
    help="How sure that is to be.",
)
@click.option("--draft", metavar="NAME", help="Write a style of that name drafted from them.")
@common.json_option
@click.pass_context
def command(
    ctx: click.Context,
    style: str,
    at_least: float,
    coverage: float,
    confidence: float,
    draft: str | None,
    as_json: bool,
) -> None:
    """Say between which limits the good reeds lie, and which stations go with the grade.

    Thickness is in hundredths of a millimetre, by the newest captures of each stage. Grades are
    those of the newest `gaugelink reed NAME play`. A draft goes to your own styles, never over
    another, and is marked as one.

    \b
    Example: gaugelink batch best --style millrace-long --draft mine
    """
    asked = {
        "style": style,
        "at_least": Decimal(str(at_least)),
        "coverage": coverage,
        "confidence": confidence,
    }
    common.run(_show(ctx, asked, draft, as_json))


async def _show(
    ctx: click.Context, asked: dict[str, Any], draft: str | None, as_json: bool
) -> None:
    from gaugelink.daemon import messages as m

    if draft is not None:
        drafted: m.Drafted = await reeds.ask(
            ctx, m.DraftStyle(name=draft, day=date.today().isoformat(), **asked)
        )
        lines = [*drafted.lines, f"drafted: {drafted.path}"]
        for line in [common.json_line(drafted)] if as_json else lines:
            common.say(line)
        return
    found: m.BestReeds = await reeds.ask(ctx, m.Best(**asked))
    if as_json:
        common.say(common.json_line(found))
        return
    *lines, hint = found.lines
    for line in [*lines, *(f"  {each.text}" for each in found.stations), hint]:
        common.say(line)
