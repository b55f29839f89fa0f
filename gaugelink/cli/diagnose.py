"""`gaugelink diagnose`: what is connected, how well it is heard, and what was refused."""

from __future__ import annotations

import platform
from typing import TYPE_CHECKING

import click

from gaugelink.cli import common

if TYPE_CHECKING:
    from gaugelink.daemon.messages import Diagnosis, GaugeCounts


@click.command("diagnose")
@common.json_option
@click.pass_context
def command(ctx: click.Context, as_json: bool) -> None:
    """Show what is connected and how well it is heard: good readings, refused frames and why.

    \b
    Example: gaugelink diagnose --json
    """
    common.run(_diagnose(ctx, as_json))


async def _diagnose(ctx: click.Context, as_json: bool) -> None:
    from gaugelink.daemon import messages as m

    folders = common.folders_of(ctx)
    async with common.reach(folders) as client:
        found: Diagnosis = await client.ask(m.Diagnose())
    if as_json:
        common.say(common.json_line(found))
        return
    common.say(f"gaugelink {found.version}, protocol {found.protocol}, {platform.platform()}")
    common.say(f"Python {platform.python_version()}")
    common.say(f"store {found.store}, schema {found.schema}, {found.captures} captures")
    common.say(f"own styles in {folders.styles}, own descriptions in {folders.descriptions}")
    common.say(f"{found.followers} followers, {found.missed} readings too fast for slow ones")
    if not found.gauges:
        common.say("no gauge is connected: gaugelink serve --port PATH")
    for gauge in found.gauges:
        heard = f"{gauge.last_heard:.1f} s ago" if gauge.last_heard is not None else "never"
        common.say(
            f"{gauge.name} at {gauge.port} ({gauge.description or 'not recognised yet'}): link "
            f"{gauge.link}, {gauge.readings} readings, {gauge.per_second:g} a second, "
            f"last {heard}, opened anew {gauge.reopened} times"
        )
        common.say(f"  {proved(gauge)}")
        for reason, count in gauge.refused.items():
            common.say(f"  refused {count}: {reason}")
        if gauge.last_refused:
            common.say(f"  the newest: {gauge.last_refused}")


def proved(gauge: GaugeCounts) -> str:
    """When a gauge was proved, and what to do when that is too long ago or never was."""
    how = f"gaugelink prove --gauge {gauge.name} --standards FILE.toml"
    if not gauge.proved_at:
        return f"never proved: {how}"
    when = f"proved on {gauge.proved_at[:10]}"
    return f"{when}, too long ago to rely on: {how}" if gauge.proof_old else when
