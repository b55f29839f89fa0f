"""`gaugelink reed NAME advice`: what remains, and where first."""

from __future__ import annotations

import click

from gaugelink.cli import common, reeds


@click.command("advice")
@reeds.uncertainty_option
@common.json_option
@click.pass_context
def command(ctx: click.Context, uncertainty: float | None, as_json: bool) -> None:
    """Say what to take where, worst first, and how the reed is balanced.

    By the newest captures of its present stage. Amounts are whole hundredths of a millimetre; how
    far a value can be trusted is known once `gaugelink study` was made with the gauge.

    \b
    Example: gaugelink reed R07 advice
    """
    common.run(_show(ctx, uncertainty, as_json))


async def _show(ctx: click.Context, uncertainty: float | None, as_json: bool) -> None:
    from gaugelink.daemon import messages as m
    from gaugelink.daemon.advising import words

    found = await reeds.ask(ctx, m.Advise(reed=reeds.name_of(ctx), uncertainty=uncertainty))
    for line in [common.json_line(found)] if as_json else words(found):
        common.say(line)
