"""`gaugelink reed NAME strokes`: counted strokes, and how many are still needed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from gaugelink.cli import common, reeds

if TYPE_CHECKING:
    from gaugelink.daemon import messages as m


@click.command("strokes")
@click.argument("zone", required=False, default="")
@click.argument("count", type=click.IntRange(0, 10_000), required=False)
@click.option("--blade", type=click.Choice(["crossed", "uncrossed"]), help="Only on this one.")
@click.option("--side", type=click.Choice(["left", "middle", "right"]), help="Only on this one.")
@reeds.correct_option
@common.json_option
@click.pass_context
def command(
    ctx: click.Context,
    zone: str,
    count: int | None,
    blade: str | None,
    side: str | None,
    correct: bool,
    as_json: bool,
) -> None:
    """Note COUNT strokes over each place of ZONE, and say how many more are safe.

    Count them between two measurements: what a stroke takes off is learned from those, zone by
    zone, in hundredths of a millimetre. Without COUNT nothing is noted. --correct 0 takes the
    newest entry back.

    \b
    Example: gaugelink reed R07 strokes windows 12 --blade crossed --side left
    """
    from gaugelink.daemon import messages as m

    name = reeds.name_of(ctx)
    request: m.Request
    if count is None:
        if blade or side or correct:
            raise click.UsageError("there is no COUNT to note: say how many strokes", ctx)
        request = m.Strokes(reed=name, zone=zone)
    else:
        # Both are what the options allow.
        where = {"blade": blade or "", "side": side or ""}
        request = m.NoteStrokes(reed=name, zone=zone, count=count, correct=correct, **where)  # type: ignore[arg-type]
    common.run(_show(ctx, request, as_json))


async def _show(ctx: click.Context, request: m.Request, as_json: bool) -> None:
    found: m.StrokeAdvice = await reeds.ask(ctx, request)
    if as_json:
        common.say(common.json_line(found))
        return
    if found.noted:
        common.say(f"{found.reed}, noted: {found.noted}")
    common.say("a stroke takes, in hundredths:")
    for rate in found.rates:
        common.say(f"  {rate.text}")
    common.say("still needed:" if found.needed else "nothing measured here has anything to take")
    for place in found.needed:
        common.say(f"  {place.text}")
    if found.knife:
        common.say(found.knife)
