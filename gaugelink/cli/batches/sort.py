"""`gaugelink batch sort`: the most promising blanks first."""

from __future__ import annotations

import click

from gaugelink.cli import common, reeds


@click.command("sort")
@click.argument("batch")
@click.option("--stage", default="", help="The stage that was measured; the style's first.")
@reeds.uncertainty_option
@common.json_option
@click.pass_context
def command(
    ctx: click.Context, batch: str, stage: str, uncertainty: float | None, as_json: bool
) -> None:
    """Sort the blanks of BATCH, the most promising first, and say why each stands there.

    By how far they are from the stage's targets and how uneven, in hundredths of a millimetre.

    \b
    Example: gaugelink batch sort autumn
    """
    common.run(_show(ctx, batch, stage, uncertainty, as_json))


async def _show(
    ctx: click.Context, batch: str, stage: str, uncertainty: float | None, as_json: bool
) -> None:
    from gaugelink.daemon import messages as m

    found: list[m.SortedBlank] = await reeds.ask(
        ctx, m.SortBatch(batch=batch, stage=stage, uncertainty=uncertainty)
    )
    if as_json:
        common.say(common.json_line(found))
        return
    for each in found:
        reasons = "; ".join(each.reasons)
        common.say(f"{each.place:>3}. {each.name:<10} {each.group:<8} {reasons}")
