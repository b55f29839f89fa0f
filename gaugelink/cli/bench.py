"""`gaugelink bench`: the working screen."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from gaugelink.cli import common

if TYPE_CHECKING:
    from gaugelink.capture.pedals.setup import PedalSetup
    from gaugelink.cues.settings import CueSettings
    from gaugelink.daemon.client import Client
    from gaugelink.folders import Folders
    from tui.plan import Plan, Practice


@click.command("bench")
@click.option("--port", default="", help="The indicator's port; not needed if the hub has it.")
@click.option("--description", default="", help="What it sends; recognised when not given.")
@click.option("--gauge", default="", help="The gauge's name; the one at the port, or a free one.")
@click.option("--bench", default="bench", show_default=True, help="This bench's name.")
@click.option("--reed", default="", help="The reed; chosen on the screen when not given.")
@click.option("--style", default="", help="The style's name.")
@click.option("--stage", default="", help="The stage to measure.")
@click.option(
    "--trigger",
    type=click.Choice(["press", "dwell"]),
    default="press",
    show_default=True,
    help="Capture by pedal or key, or by standing still.",
)
@click.pass_context
def command(
    ctx: click.Context,
    port: str,
    description: str,
    gauge: str,
    bench: str,
    reed: str,
    style: str,
    stage: str,
    trigger: str,
) -> None:
    """Open the working screen.

    It joins a running hub; with none it hosts the hub itself, and other commands join it.

    \b
    Example: gaugelink bench --port /dev/ttyUSB0 --reed R07 --style millrace-long --stage windows
    """
    from tui.plan import Plan

    folders = common.folders_of(ctx)
    plan = Plan(
        reed=reed,
        style=style,
        stage=stage,
        gauge=gauge,
        bench=bench,
        port=port,
        description=description,
        trigger="dwell" if trigger == "dwell" else "press",
    )
    common.run(open_screen(folders, folders, plan))


async def open_screen(
    folders: Folders, own: Folders, plan: Plan, practice: Practice | None = None
) -> None:
    """Run the screen on the hub of `folders`, with keys, pedals and sounds of the user's `own`."""
    from tui.app import BenchApp

    seen = own.data / "safety-shown"
    async with _door(folders) as connect:
        app = BenchApp(
            connect,
            plan,
            keys=read_keys(own.keys),
            practice=practice,
            cues=read_cues(own.cues),
            pedals=read_pedals(own.pedals),
            first_run=not seen.exists(),
            on_safety_seen=lambda: _touch(seen),
        )
        await app.run_async()
    if app.return_code:
        raise click.exceptions.Exit(app.return_code)


def _touch(file: Path) -> None:
    # Not being able to remember it means only that the words are shown once more.
    with contextlib.suppress(OSError):
        file.parent.mkdir(parents=True, exist_ok=True)
        file.touch()


def read_keys(file: Path) -> dict[str, list[str]]:
    """The user's keys, `action = ["key", …]` in TOML; GaugelinkError says what is wrong where."""
    import tomllib

    import msgspec

    from gaugelink.reading import GaugelinkError

    try:
        text = file.read_text(encoding="utf-8")
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError) as error:
        raise GaugelinkError(f"{file}: cannot be read: {error}") from error
    try:
        return msgspec.convert(tomllib.loads(text), dict[str, list[str]])
    except (tomllib.TOMLDecodeError, msgspec.ValidationError) as error:
        raise GaugelinkError(f'{file}: {error}; write: capture = ["space", "enter"]') from error


def read_pedals(file: Path) -> PedalSetup | None:
    """The user's pedals; None without such a file, PedalsError for a wrong one.

    Without one nothing of it is loaded before the first paint.
    """
    import tomllib

    try:
        text = file.read_text(encoding="utf-8")
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as error:
        from gaugelink.capture.pedals.mapping import PedalsError

        raise PedalsError(f"{file}: cannot be read: {error}") from error
    from gaugelink.capture.pedals.mapping import PedalsError
    from gaugelink.capture.pedals.setup import setup

    try:
        return setup(tomllib.loads(text), str(file))
    except tomllib.TOMLDecodeError as error:
        raise PedalsError(f"{file}: {error}") from error


def read_cues(file: Path) -> CueSettings | None:
    """What the user wants to hear; None without such a file, CueError for a wrong one.

    Without one nothing of it is loaded before the first paint.
    """
    if not file.exists():
        return None
    from gaugelink.cues.settings import load

    return load(file)


@contextlib.asynccontextmanager
async def _door(folders: Folders) -> AsyncIterator[Callable[[], Awaitable[Client]]]:
    """A way to a client that can be asked again when the hub has gone.

    The hub, if it is hosted here, lives in a task of its own: it is entered and left in one task,
    whatever the screen's tasks do.
    """
    closing = asyncio.Event()
    tasks: list[asyncio.Task[None]] = []

    async def stay(ready: asyncio.Future[Client]) -> None:
        try:
            async with common.reach(folders, remembered=True) as client:
                if not ready.done():  # else whoever asked has left meanwhile
                    ready.set_result(client)
                    await closing.wait()
        except Exception as error:
            # Whoever asked for the client is told; afterwards there is nobody to tell but the end.
            if ready.done():
                raise
            ready.set_exception(common.innermost(error))

    async def connect() -> Client:
        ready: asyncio.Future[Client] = asyncio.get_running_loop().create_future()
        tasks.append(asyncio.create_task(stay(ready)))
        return await ready

    try:
        yield connect
    finally:
        closing.set()
        for result in await asyncio.gather(*tasks, return_exceptions=True):
            if isinstance(result, BaseException):
                raise result
