"""`python -m simulators`: one simulated indicator, until it is ended."""

from __future__ import annotations

import asyncio
import os
from pathlib import Path

import click

from gaugelink.reading import GaugelinkError

STAGE = "windows"
"""The stage to begin with when none is named; a style without it begins with its first."""


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
def main() -> None:
    """Simulated indicators on a reed that can be scraped, to practise and to test with."""


@main.command()
@click.option(
    "--description",
    "name",
    default="signed-decimal-unit-cr",
    show_default=True,
    metavar="NAME",
    help="The device description to speak, or the path of a .toml file.",
)
@click.option("--seed", default=1, show_default=True, help="The same seed repeats the same run.")
@click.option(
    "--rate",
    type=click.FloatRange(min=0.1, max=2000),
    default=20.0,
    show_default=True,
    metavar="HZ",
    help="Samples per second.",
)
@click.option(
    "--script",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help='Commands as JSON lines, each with "at": seconds from the start.',
)
@click.option(
    "--style",
    default="millrace-long",
    show_default=True,
    metavar="NAME",
    help="The style of the simulated reed, or the path of a .toml file.",
)
@click.option(
    "--stage",
    metavar="NAME",
    help=f"The stage at whose beginning the reed is.  [default: {STAGE}, else the first]",
)
@click.option(
    "--link",
    type=click.Path(path_type=Path),
    metavar="PATH",
    help="A symbolic link to keep pointing at the port, also when it is plugged in anew.",
)
@click.option("--until-eof", is_flag=True, help="End when standard input ends.")
def serial(
    name: str,
    seed: int,
    rate: float,
    script: Path | None,
    style: str,
    stage: str | None,
    link: Path | None,
    until_eof: bool,
) -> None:
    """An indicator on a pseudo-terminal. Prints the port's path, then serves until it is ended.

    By itself it walks through the stage's stations for ever. Commands on standard input, one JSON
    object a line, steer it; each is answered by a JSON line.

    \b
    Example:
      python -m simulators serial --description bare-decimal-lf --seed 3
      {"do": "visit", "station": "crossed/53/-0.5"}
    """
    if os.name != "posix":
        _fail("a pseudo-terminal needs Linux or another POSIX system", 1)
    try:
        _serve_serial(name, seed, rate, script, style, stage, link, until_eof)
    except GaugelinkError as error:
        _fail(str(error), 2)


def _serve_serial(
    name: str,
    seed: int,
    rate: float,
    script: Path | None,
    style_name: str,
    stage: str | None,
    link: Path | None,
    until_eof: bool,
) -> None:
    from gaugelink.craft import style as styles
    from gaugelink.devices import catalog
    from simulators.serial_server import Setup, serve

    description = catalog.find(name)
    style = styles.find(style_name)
    if stage is None:
        known = [each.name for each in style.stages]
        stage = STAGE if STAGE in known else known[0]
    setup = Setup(description, style, stage, seed, rate, script, link, until_eof)
    asyncio.run(serve(setup))


def _fail(text: str, code: int) -> None:
    click.echo(f"simulators serial: {text}", err=True)
    raise SystemExit(code)


if __name__ == "__main__":
    main(prog_name="python -m simulators")
