"""`gaugelink export`: everything that was captured, for other programs."""

from __future__ import annotations

import sys

import click

from gaugelink.cli import common


@click.command("export")
@click.option("--format", "form", type=click.Choice(["csv", "json"]), required=True)
@click.option("--reed", help="Only this reed.")
@click.pass_context
def command(ctx: click.Context, form: str, reed: str | None) -> None:
    """Write every capture to standard output, retaken ones too.

    Thickness is in hundredths of a millimetre. The store is only read: a hub may be running.

    \b
    Example: gaugelink export --format csv --reed R07 > r07.csv
    """
    from gaugelink.reading import GaugelinkError
    from gaugelink.store.export import export_csv, export_json
    from gaugelink.store.store import Store

    path = common.folders_of(ctx).store
    if not path.exists():
        raise GaugelinkError(f"{path}: there is no store yet; capture something first")
    with Store.open(path, read_only=True) as store:
        reeds = [store.reed(reed)] if reed else store.reeds(all=True)
        captures = store.captures(reed)
    lines = export_csv(captures) if form == "csv" else export_json(reeds, captures)
    if sys.stdout is None:
        raise GaugelinkError("standard output is closed: there is nowhere to write to")
    for line in lines:
        sys.stdout.write(line)
    sys.stdout.flush()
