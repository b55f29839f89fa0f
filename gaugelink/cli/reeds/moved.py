"""`gaugelink reed NAME moved`: what moved overnight."""

from __future__ import annotations

import click

from gaugelink.cli import common, reeds
from gaugelink.cli.times import local


@click.command("moved")
@reeds.uncertainty_option
@common.json_option
@click.pass_context
def command(ctx: click.Context, uncertainty: float | None, as_json: bool) -> None:
    """Say what moved since the last sitting, place by place, in hundredths of a millimetre.

    Only what was measured wet both times is compared.

    \b
    Example: gaugelink reed R07 moved
    """
    common.run(_show(ctx, uncertainty, as_json))


async def _show(ctx: click.Context, uncertainty: float | None, as_json: bool) -> None:
    from gaugelink.daemon import messages as m

    found: m.Moved = await reeds.ask(
        ctx, m.Overnight(reed=reeds.name_of(ctx), uncertainty=uncertainty)
    )
    if as_json:
        common.say(common.json_line(found))
        return
    common.say(f"{found.reed}, from {local(found.before)} to {local(found.after)}:")
    for place in found.places:
        common.say(f"  {place.text}")
