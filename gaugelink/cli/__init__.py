"""The `gaugelink` command. Each subcommand lives in a module of its own, imported when it runs."""

from __future__ import annotations

import sys

import click

from gaugelink import __version__
from gaugelink.cli.lazy import Lazy
from gaugelink.reading import GaugelinkError

COMMANDS: dict[str, str] = {
    "practice": "practice",
    "bench": "bench",
    "serve": "serve",
    "teach": "teach",
    "find": "find",
    "watch": "watch",
    "walk": "walk",
    "prove": "prove",
    "study": "study",
    "rack": "rack",
    "reed": "reed",
    "batch": "batch",
    "styles": "styles",
    "cues": "cues",
    "export": "export",
    "backup": "backup",
    "restore": "restore",
    "diagnose": "diagnose",
}
"""Commands in the order of the day, and the module below `gaugelink.cli` that holds each."""


@click.group(cls=Lazy, modules=COMMANDS, context_settings={"help_option_names": ["-h", "--help"]})
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
