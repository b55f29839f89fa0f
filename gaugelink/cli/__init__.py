"""The `gaugelink` command. Each subcommand lives in a module of its own, imported when it runs."""

from __future__ import annotations

import sys
from importlib import import_module

import click

from gaugelink import __version__
from gaugelink.reading import GaugelinkError

COMMANDS: dict[str, str] = {
    "practice": "practice",
    "bench": "bench",
    "serve": "serve",
    "teach": "teach",
    "find": "find",
    "watch": "watch",
    "walk": "walk",
    "rack": "rack",
    "reed": "reed",
    "styles": "styles",
    "cues": "cues",
    "export": "export",
    "diagnose": "diagnose",
}
"""Commands in the order of the day, and the module below `gaugelink.cli` that holds each."""


class _Commands(click.Group):
    """Finds a command's module when the command is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = import_module(f"gaugelink.cli.{COMMANDS[cmd_name]}")
        command = module.command
        assert isinstance(command, click.Command)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        try:
            return super().resolve_command(ctx, args)
        except click.UsageError as error:
            raise click.UsageError(
                f"{error.message.rstrip('.')}; known are {', '.join(COMMANDS)}", ctx
            ) from error


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, message="gaugelink %(version)s")
@click.option(
    "--home",
    metavar="DIR",
    type=click.Path(file_okay=False),
    envvar="GAUGELINK_HOME",
    help="Keep everything below this folder instead of where the system keeps it.",
)
@click.pass_context
def gaugelink(ctx: click.Context, home: str | None) -> None:
    """Capture a digital indicator's hundredths while making reeds by hand.

    \b
    gaugelink practice           try everything without hardware
    gaugelink bench --port PATH  work with an indicator
    """
    ctx.obj = home


def main() -> None:
    """Run the command line; errors are one line on standard error."""
    try:
        # A command that ends with a code of its own comes back with it; all others with None.
        sys.exit(gaugelink.main(prog_name="gaugelink", standalone_mode=False))
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.ctx.get_help() if error.ctx else error.message)
    except click.UsageError as error:
        asked = error.ctx.command_path if error.ctx else "gaugelink"
        said = " ".join(error.format_message().split()).rstrip(".")
        click.echo(f"gaugelink: {said}; see {asked} --help", err=True)
        sys.exit(error.exit_code)
    except click.ClickException as error:
        click.echo(f"gaugelink: {error.format_message()}", err=True)
        sys.exit(error.exit_code)
    except (click.Abort, KeyboardInterrupt):
        sys.exit(130)
    except GaugelinkError as error:
        click.echo(f"gaugelink: {error}", err=True)
        sys.exit(1)
