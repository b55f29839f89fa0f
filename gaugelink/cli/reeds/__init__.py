"""What `gaugelink reed NAME` can do, one module a command."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from gaugelink.cli import common

if TYPE_CHECKING:
    from gaugelink.daemon.messages import Request

uncertainty_option = click.option(
    "--uncertainty",
    type=click.FloatRange(min=0),
    help="Standard uncertainty of one value in hundredths, instead of what is known of the gauge.",
)

correct_option = click.option(
    "--correct", is_flag=True, help="Put it in place of the newest entry of its kind."
)


def name_of(ctx: click.Context) -> str:
    """The reed that was named before the command."""
    assert ctx.parent is not None
    name: str = ctx.parent.params["name"]
    return name


async def ask(ctx: click.Context, request: Request) -> Any:
    """The hub's answer to a request."""
    async with common.reach(common.folders_of(ctx)) as client:
        return await client.ask(request)
