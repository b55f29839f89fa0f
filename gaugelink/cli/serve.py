"""`gaugelink serve`: the hub as a daemon."""

from __future__ import annotations

import asyncio

import click

from gaugelink.cli import common


@click.command("serve")
@click.option("--port", help="Connect the indicator at this port from the start.")
@click.option("--description", default="", help="What it sends; recognised when not given.")
@click.option("--gauge", default="gauge", show_default=True, help="The name to give it.")
@common.json_option
@click.pass_context
def command(
    ctx: click.Context, port: str | None, description: str, gauge: str, as_json: bool
) -> None:
    """Run the hub until it is told to end (Ctrl-C or SIGTERM).

    Gauges that were connected before are connected again. The bench and every other command join
    a running hub by themselves.

    \b
    Example: gaugelink serve --port /dev/ttyUSB0 --description signed-decimal-unit-cr
    """
    common.run(_serve(ctx, port, description, gauge, as_json))


async def _serve(
    ctx: click.Context, port: str | None, description: str, gauge: str, as_json: bool
) -> None:
    from gaugelink.daemon.address import address_in
    from gaugelink.reading import GaugelinkError

    folders = common.folders_of(ctx)
    ended = asyncio.Event()
    common.on_signals(("SIGINT", "SIGTERM", "SIGHUP"), lambda _: ended.set())
    async with common.running_hub(folders) as running:
        if running is not None:
            raise GaugelinkError(
                f"a hub is already serving at {address_in(folders.runtime).socket}: "
                "end that one first"
            )
    async with common.host(folders) as (hub, where):
        if port is not None:
            await hub.add_gauge(gauge, port, description)
        await hub.connect_remembered()
        if as_json:
            common.say(
                common.json_line({"is": "serving", "at": where, "store": str(folders.store)})
            )
        else:
            common.say(f"serving at {where}; the store is {folders.store}; Ctrl-C ends it")
        await ended.wait()
    if not as_json:
        common.say("ended; every capture is on disk")
