"""A process that starts a screen, paints it once and ends: `bare` or `bench`."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from textual.app import App, ComposeResult

if TYPE_CHECKING:
    from gaugelink.daemon.client import Client


def bare() -> App[None]:
    """An app that shows one word."""
    from textual.widgets import Static

    class Bare(App[None]):
        def compose(self) -> ComposeResult:
            yield Static("bare")

        def on_ready(self) -> None:
            self.exit()

    return Bare()


def bench() -> App[None]:
    """The bench as the command opens it, its hub reached only after the paint."""
    from gaugelink.cli.bench import command  # noqa: F401 - the command's own imports count
    from tui.app import BenchApp
    from tui.plan import Plan

    async def connect() -> Client:
        raise OSError("the first paint needs no hub")

    class Painted(BenchApp):
        def on_ready(self) -> None:
            self.exit()

    return Painted(connect, Plan(reed="R", style="millrace-long", stage="windows", port="p"))


if __name__ == "__main__":
    app = {"bare": bare, "bench": bench}[sys.argv[1]]()
    app.run(headless=True)
    late = [name for name in ("pint", "bleak", "scipy") if name in sys.modules]
    sys.exit(f"imported before the first paint: {late}" if late else 0)
