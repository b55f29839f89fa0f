"""`gaugelink styles`: the styles, and one of them whole."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from gaugelink.cli import common

if TYPE_CHECKING:
    from gaugelink.craft.style import Style


@click.command("styles")
@click.argument("name", required=False)
@click.option("--where", is_flag=True, help="Say where your own styles are kept.")
@common.json_option
@click.pass_context
def command(ctx: click.Context, name: str | None, where: bool, as_json: bool) -> None:
    """List the styles, or show one: its stages and each zone's target.

    A style is a TOML file. The shipped ones are invented examples: copy one to the folder that
    --where names, give it a name of your own, and make the numbers yours. NAME may be a file.

    \b
    Example: gaugelink styles millrace-long
    """
    from gaugelink.craft import style as styles

    folder = common.folders_of(ctx).styles
    if where:
        common.say(str(folder))
    elif name is not None:
        found = styles.find(name, folder)
        if as_json:
            common.say(common.json_line(found))
        else:
            _show(found)
    else:
        known, broken = styles.usable(folder)
        if as_json:
            from gaugelink.daemon import answers

            common.say(common.json_line(answers.styles(known)))
        else:
            for each in known.values():
                common.say(f"{each.name:<16} {each.title}")
        for error in broken:
            raise error


def _show(style: Style) -> None:
    common.say(f"{style.title}\n{style.note}")
    lengths = style.lengths
    common.say(
        f"lengths in mm: tube {lengths.tube:g}, blank {lengths.blank:g}, tip line "
        f"{lengths.tip_line:g}, first day {lengths.first_day:g}, finished {lengths.finished:g}"
    )
    for stage in style.stages:
        common.say(f"day {stage.day}  {stage.name:<9} {stage.title}. {stage.note}")
        for target in stage.targets:
            zone = style.zone(target.zone)
            heights = ", ".join(f"{height:g}" for height in zone.heights)
            common.say(
                f"         {zone.title:<18} {target.target:f} ± {target.tolerance:f}  "
                f"at {heights} mm, {len(zone.stations())} stations"
            )
