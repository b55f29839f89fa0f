"""`gaugelink batch`: many reeds at once."""

from __future__ import annotations

import click

from gaugelink.cli.lazy import Lazy

COMMANDS = {"sort": "batches.sort", "best": "batches.best", "chart": "batches.chart"}


@click.group("batch", cls=Lazy, modules=COMMANDS)
def command() -> None:
    """Sort a batch of blanks, and see what the best reeds have alike.

    \b
    Example: gaugelink batch sort autumn
    """
