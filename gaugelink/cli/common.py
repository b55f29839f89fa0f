"""What several commands share: reaching a hub, running a coroutine, printing."""

from __future__ import annotations

import asyncio
import contextlib
import sys
from collections.abc import AsyncIterator, Callable, Coroutine
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from gaugelink.daemon.client import Client
    from gaugelink.daemon.hub import Hub
    from gaugelink.folders import Folders
    from gaugelink.store.store import Store

T = TypeVar("T")

json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


def folders_of(ctx: click.Context) -> Folders:
    """The folders that the `--home` of the whole command names."""
    from gaugelink.folders import folders

    return folders(Path(ctx.obj) if ctx.obj else None)


def run(main: Coroutine[Any, Any, T]) -> T:
    """Run a command's coroutine; the errors in a group that holds but one are that one."""
    try:
        return asyncio.run(main)
    except BaseExceptionGroup as group:
        raise _innermost(group) from group


def _innermost(error: BaseException) -> BaseException:
    while isinstance(error, BaseExceptionGroup) and len(error.exceptions) == 1:
        error = error.exceptions[0]
    return error


def say(line: str, err: bool = False) -> None:
    """Print a line and let it be seen at once, also through a pipe."""
    click.echo(line, err=err)
    (sys.stderr if err else sys.stdout).flush()


def json_line(value: Any) -> str:
    """A struct or plain value as one line of JSON, decimals as exact numbers."""
    from gaugelink.daemon.messages import encoder

    return encoder.encode(value).decode()


def open_store(folders: Folders) -> Callable[[], Store]:
    """How the store of these folders is opened for writing."""

    def opening() -> Store:
        from gaugelink.daemon.address import address_in
        from gaugelink.store.store import Store

        return Store.open(folders.store, socket=str(address_in(folders.runtime).socket))

    return opening


@contextlib.asynccontextmanager
async def host(folders: Folders) -> AsyncIterator[tuple[Hub, str]]:
    """A hub in this process that serves others too, and where it listens.

    StoreError when another process holds the store.
    """
    from gaugelink.daemon.address import address_in
    from gaugelink.daemon.hub import HubSettings, hosting
    from gaugelink.daemon.keeper import keeping
    from gaugelink.daemon.server import serving

    settings = HubSettings(styles=folders.styles, descriptions=folders.descriptions)
    async with (
        keeping(open_store(folders)) as keeper,
        hosting(keeper, settings) as hub,
        serving(hub, address_in(folders.runtime)) as where,
    ):
        yield hub, where


@contextlib.asynccontextmanager
async def reach(folders: Folders) -> AsyncIterator[Client]:
    """A client of the running hub, or, when none runs, of one in this process."""
    from gaugelink.daemon.address import address_in
    from gaugelink.daemon.client import LocalClient, connect

    running = await connect(address_in(folders.runtime))
    if running is not None:
        try:
            yield running
        finally:
            await running.close()
        return
    async with host(folders) as (hub, _):
        client = LocalClient(hub)
        try:
            yield client
        finally:
            await client.close()
