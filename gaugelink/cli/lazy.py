"""A group of commands, each in a module of its own that is imported when it runs."""

from __future__ import annotations

from importlib import import_module
from typing import Any

import click


class Lazy(click.Group):
    """Finds a command's module when the command is asked for."""

    def __init__(self, *args: Any, modules: dict[str, str], **more: Any) -> None:
        """`modules` has the commands in their order, and below `gaugelink.cli` where each is."""
        super().__init__(*args, **more)
        self._modules = modules

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self._modules)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self._modules:
            return None
        command = import_module(f"gaugelink.cli.{self._modules[cmd_name]}").command
        assert isinstance(command, click.Command)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        try:
            return super().resolve_command(ctx, args)
        except click.UsageError as error:
            raise click.UsageError(
                f"{error.message.rstrip('.')}; known are {', '.join(self._modules)}", ctx
            ) from error
