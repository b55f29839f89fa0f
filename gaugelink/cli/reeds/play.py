"""`gaugelink reed NAME play`: how it plays, day by day."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING

import click

from gaugelink.cli import common, reeds

if TYPE_CHECKING:
    from gaugelink.daemon import messages as m

GRADE = click.IntRange(1, 5)


@click.command("play")
@click.option("--response", type=GRADE, help="How it speaks.")
@click.option("--high", type=GRADE, help="High notes held.")
@click.option("--slurs", type=GRADE, help="Slurs across the break.")
@click.option("--pitch", type=GRADE, help="Its pitch.")
@click.option("--tone", type=GRADE, help="Its tone.")
@click.option("--note", default="", help="What was heard.")
@click.option("--day", type=click.DateTime(["%Y-%m-%d"]), help="The day; today if not given.")
@reeds.correct_option
@common.json_option
@click.pass_context
def command(
    ctx: click.Context,
    /,
    note: str,
    day: datetime | None,
    correct: bool,
    as_json: bool,
    **grades: int | None,
) -> None:
    """Note how the reed plays, from 1 (poor) to 5 (as good as it gets), and show all its days.

    What was not tested is left out. With no grade and no note nothing is noted.

    \b
    Example: gaugelink reed R07 play --response 4 --tone 3 --note "low D slow"
    """
    from gaugelink.daemon import messages as m

    name = reeds.name_of(ctx)
    given = {aspect: grade for aspect, grade in grades.items() if grade is not None}
    request: m.Request = m.Tests(reed=name)
    if given or note:
        on = day.date() if day is not None else date.today()
        request = m.NoteTest(
            reed=name, day=on.isoformat(), grades=given, note=note, correct=correct
        )
    elif correct or day is not None:
        raise click.UsageError("there is nothing to note: give a grade or a --note", ctx)
    common.run(_show(ctx, request, as_json))


async def _show(ctx: click.Context, request: m.Request, as_json: bool) -> None:
    found: list[m.PlayingTest] = await reeds.ask(ctx, request)
    if as_json:
        common.say(common.json_line(found))
        return
    if not found:
        common.say("not played yet")
    for test in found:
        mean = f"  mean {test.mean}" if test.mean is not None else ""
        common.say(f"{test.day}  {test.text}{mean}")
