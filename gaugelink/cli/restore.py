"""`gaugelink restore`: a backup in the place of the store."""

from __future__ import annotations

from pathlib import Path

import click

from gaugelink.cli import common


@click.command("restore")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@common.json_option
@click.pass_context
def command(ctx: click.Context, file: Path, as_json: bool) -> None:
    """Put the backup in FILE in the place of the store, which is kept beside it.

    Close the bench first, and end `gaugelink serve`.

    \b
    Example: gaugelink restore reeds-2031-05-04.db
    """
    from gaugelink.store.backup import restore
    from gaugelink.store.store import system_utc

    found = restore(common.folders_of(ctx).store, file, system_utc())
    if as_json:
        common.say(common.json_line(found))
        return
    kept = found.kept
    common.say(f"restored from {kept.path}: reeds {kept.reeds}, captures {kept.captures}")
    if found.before:
        common.say(f"as it was before: {found.before}")
