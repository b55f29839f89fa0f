"""What several commands share: reaching a hub, running a coroutine, printing."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import sys
import time
from collections.abc import AsyncIterator, Callable, Coroutine, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from gaugelink.daemon.client import Client
    from gaugelink.daemon.hub import Hub
    from gaugelink.folders import Folders
    from gaugelink.store.store import Store

T = TypeVar("T")

STARTING = 3.0
"""Seconds in which a hub that has taken the store listens, and one that ends has let go of it."""

json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


def folders_of(ctx: click.Context) -> Folders:
    """The folders that the `--home` of the whole command names."""
    from gaugelink.folders import folders

    return folders(Path(ctx.obj) if ctx.obj else None)


def run(main: Coroutine[Any, Any, T]) -> T:
    """Run a command's coroutine; the errors in a group that holds but one are that one.

    SIGTERM and SIGHUP end it as Ctrl-C does, with everything that it holds let go.
    """
    try:
        return asyncio.run(_cancelled_by_signals(main))
    except BaseExceptionGroup as group:
        raise innermost(group) from group


async def _cancelled_by_signals(main: Coroutine[Any, Any, T]) -> T:
    running = asyncio.current_task()
    assert running is not None
    came: list[int] = []

    def end(number: int) -> None:
        came.append(number)
        running.cancel()

    on_signals(("SIGTERM", "SIGHUP"), end)
    try:
        result = await main
    except asyncio.CancelledError:
        if not came:
            raise
    if came:  # the screen returns when it is cancelled
        raise click.exceptions.Exit(128 + came[0])
    return result


def on_signals(names: Iterable[str], end: Callable[[int], None]) -> None:
    """Call `end` with a signal's number when it comes, as far as the system has it.

    One that is ignored stays so: that is how `nohup` asks for it.
    """
    loop = asyncio.get_running_loop()
    for number in (getattr(signal, name, None) for name in names):
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            # On Windows there is none of this; there Ctrl-C raises KeyboardInterrupt.
            with contextlib.suppress(NotImplementedError):
                loop.add_signal_handler(number, end, number)


def innermost(error: BaseException) -> BaseException:
    """The one error in a group, however deep; the group itself when there are more."""
    while isinstance(error, BaseExceptionGroup) and len(error.exceptions) == 1:
        error = error.exceptions[0]
    return error


def say(line: str, err: bool = False) -> None:
    """Print a line and let it be seen at once, also through a pipe."""
    click.echo(line, err=err)
    stream = sys.stderr if err else sys.stdout
    if stream is not None:  # closed by whoever started it
        stream.flush()


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
async def running_hub(folders: Folders) -> AsyncIterator[Client | None]:
    """A client of the hub that runs in another process; None when none does."""
    from gaugelink.daemon.address import address_in
    from gaugelink.daemon.client import connect

    client = await connect(address_in(folders.runtime))
    try:
        yield client
    finally:
        if client is not None:
            await client.close()


@contextlib.asynccontextmanager
async def reach(folders: Folders, remembered: bool = False) -> AsyncIterator[Client]:
    """A client of the running hub, or, when none runs, of one in this process.

    With `remembered`, a hub in this process connects the gauges of earlier days.
    """
    from gaugelink.daemon.client import LocalClient

    async with contextlib.AsyncExitStack() as stack:
        found = await _hub_or_client(folders, stack)
        if isinstance(found, tuple):
            hub, _ = found
            if remembered:
                await hub.connect_remembered()
            client: Client = LocalClient(hub)
        else:
            client = found
        try:
            yield client
        finally:
            await client.close()


async def _hub_or_client(
    folders: Folders, stack: contextlib.AsyncExitStack
) -> Client | tuple[Hub, str]:
    """Join the hub, or host it; whoever loses the race to host it joins the winner."""
    from gaugelink.daemon.address import address_in
    from gaugelink.daemon.client import connect
    from gaugelink.store.errors import StoreError
    from gaugelink.store.lock import holder_of

    until = time.monotonic() + STARTING
    while (running := await connect(address_in(folders.runtime))) is None:
        try:
            return await stack.enter_async_context(host(folders))
        except StoreError:
            # Held by a hub that does not listen yet, or not any more.
            if holder_of(folders.store) is None or time.monotonic() > until:
                raise
            await asyncio.sleep(0.05)
    return running


async def first(*works: Coroutine[Any, Any, None]) -> None:
    """Do these side by side until one has ended, and leave off the others; raises what it did."""
    tasks = [asyncio.create_task(work) for work in works]
    try:
        ended, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
    for task in ended:
        task.result()
