"""`gaugelink backup`: the whole store in one file."""

from __future__ import annotations

from pathlib import Path

import click

from gaugelink.cli import common


@click.command("backup")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@common.json_option
@click.pass_context
def command(ctx: click.Context, file: Path, as_json: bool) -> None:
    """Copy all that is kept into FILE, which must not be there yet; the bench may be open.

    \b
    Example: gaugelink backup reeds-2031-05-04.db
    """
    from gaugelink.store.backup import backup

    kept = backup(common.folders_of(ctx).store, file)
    if as_json:
        common.say(common.json_line(kept))
    else:
        common.say(f"{kept.path}: reeds {kept.reeds}, captures {kept.captures}")
