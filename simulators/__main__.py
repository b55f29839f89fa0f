"""`python -m simulators`: one simulated indicator, until it is ended."""

from __future__ import annotations

import asyncio
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from gaugelink.reading import GaugelinkError

Command = TypeVar("Command", bound=Callable[..., None])

STAGE = "windows"
"""The stage to begin with when none is named; a style without it begins with its first."""


def _on_a_reed(fastest: float) -> Callable[[Command], Command]:
    """The options of every simulated indicator; `fastest` is in samples per second."""
    options = (
        click.option(
            "--seed", default=1, show_default=True, help="The same seed repeats the same run."
        ),
        click.option(
            "--rate",
            type=click.FloatRange(min=0.1, max=fastest),
            default=20.0,
            show_default=True,
            metavar="HZ",
            help="Samples per second.",
        ),
        click.option(
            "--script",
            type=click.Path(path_type=Path),
            metavar="FILE",
            help='Commands as JSON lines, each with "at": seconds from the start.',
        ),
        click.option(
            "--style",
            default="millrace-long",
            show_default=True,
            metavar="NAME",
            help="The style of the simulated reed, or the path of a .toml file.",
        ),
        click.option(
            "--stage",
            metavar="NAME",
            help=f"The stage at whose beginning the reed is.  [default: {STAGE}, else the first]",
        ),
        click.option("--until-eof", is_flag=True, help="End when standard input ends."),
    )

    def with_options(command: Command) -> Command:
        for option in reversed(options):
            command = option(command)
        return command

    return with_options


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
def main() -> None:
    """Simulated indicators on a reed that can be scraped, to practise and to test with."""


@main.command()
@click.option(
    "--description",
    default="signed-decimal-unit-cr",
    show_default=True,
    metavar="NAME",
    help="The device description to speak, or the path of a .toml file.",
)
@_on_a_reed(fastest=2000)
@click.option(
    "--link",
    type=click.Path(path_type=Path),
    metavar="PATH",
    help="A symbolic link to keep pointing at the port, also when it is plugged in anew.",
)
@click.option(
    "--lesson",
    metavar="NAME",
    help="Begin with the reed of a practice lesson, or of the .toml file of one.",
)
@click.option(
    "--off-by",
    type=click.FloatRange(0, 2),
    default=0.0,
    metavar="MM",
    help="How far along the blade the maker misses a station: the standard deviation.",
)
def serial(**options: Any) -> None:
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
        _serve_serial(**options)
    except GaugelinkError as error:
        _fail(str(error), 2)


def _serve_serial(
    *,
    description: str,
    style: str,
    stage: str | None,
    lesson: str | None,
    off_by: float,
    **rest: Any,
) -> None:
    from gaugelink.craft import lessons
    from gaugelink.devices import catalog
    from simulators.maker import Placing
    from simulators.serial_server import Setup, serve

    begins = lessons.find(lesson) if lesson else None
    if begins is None:
        reed = _reed(style, stage)
    else:
        # A style that is named says where the lesson's own is found.
        named = click.get_current_context().get_parameter_source("style")
        is_named = named is not click.core.ParameterSource.DEFAULT
        reed = _reed(style if is_named else begins.style, stage or begins.stage)
        if (reed["style"].name, reed["stage"]) != (begins.style, begins.stage):
            raise GaugelinkError(
                f"--lesson {begins.name} is of {begins.style}, stage {begins.stage}: "
                "leave --style and --stage out"
            )
        lessons.fits(begins, reed["style"])
        reed["start"] = begins.start
    placing = Placing(along=off_by)
    asyncio.run(serve(Setup(catalog.find(description), **reed, placing=placing, **rest)))


@main.command()
@_on_a_reed(fastest=200)
@click.option(
    "--format",
    "number",
    default="sint32",
    show_default=True,
    metavar="NAME",
    help="The format that it presents, such as uint16, float32 or medfloat32.",
)
@click.option(
    "--exponent",
    default=-5,
    show_default=True,
    help="The power of ten that it presents; a float has its own.",
)
@click.option("--unit", default="m", show_default=True, help="The length unit that it presents.")
@click.option(
    "--descriptor",
    type=click.Choice(["right", "absent", "wrong-unit", "wrong-format", "short"]),
    default="right",
    show_default=True,
    help="How its presentation descriptor is.",
)
@click.option(
    "--text",
    metavar="NAME",
    help="Send text in this device description over a UART-like service, and present nothing.",
)
@click.option(
    "--also",
    metavar="NAME",
    multiple=True,
    help="One more indicator, which sends text in this description. May be repeated.",
)
@click.option(
    "--name", default="Practice indicator", show_default=True, help="What it calls itself."
)
@click.option(
    "--battery",
    type=click.IntRange(min=-1, max=100),
    default=87,
    show_default=True,
    help="Its battery's charge in percent; -1 for one that tells of none.",
)
def bluetooth(**options: Any) -> None:
    """An indicator on a Bluetooth adapter, both simulated, on a message bus of their own.

    Prints the bus's address, then serves until it is ended. Whatever is started with that address
    in DBUS_SYSTEM_BUS_ADDRESS finds the indicator as ble:C4:5A:1E:00:00:01. Commands on standard
    input steer it, as with serial.

    \b
    Example:
      python -m simulators bluetooth --format float32 --unit in
      {"do": "drop"}
    """
    if sys.platform != "linux":
        _fail("a Bluetooth adapter can be simulated on Linux only", 1, "bluetooth")
    try:
        _serve_bluetooth(**options)
    except GaugelinkError as error:
        _fail(str(error), 2, "bluetooth")


def _serve_bluetooth(
    *,
    number: str,
    exponent: int,
    unit: str,
    text: str | None,
    also: tuple[str, ...],
    battery: int,
    style: str,
    stage: str | None,
    **rest: Any,
) -> None:
    import msgspec

    from gaugelink.devices import catalog
    from gaugelink.devices.bluetooth.presentation import Presentation, is_float
    from gaugelink.devices.description import check
    from gaugelink.units import canonical
    from simulators.bluetooth.server import Setup, described, serve

    try:
        presented = msgspec.convert(
            {
                "format": number,
                "exponent": 0 if is_float(number) else exponent,
                "unit": canonical(unit),
            },
            Presentation,
        )
    except msgspec.ValidationError as error:
        raise GaugelinkError(f"--format {number}: {error}") from error
    check(described(presented), "--format, --exponent, --unit")
    spoken = (text, *also) if text is not None else also
    setup = Setup(
        **_reed(style, stage),
        **rest,
        presented=presented,
        presents=text is None,
        texts=tuple(catalog.find(each) for each in spoken),
        battery=None if battery < 0 else battery,
    )
    asyncio.run(serve(setup))


def _reed(name: str, stage: str | None) -> dict[str, Any]:
    """The style by its name, and the stage at whose beginning its reed is."""
    from gaugelink.craft import style as styles

    style = styles.find(name)
    if stage is None:
        known = [each.name for each in style.stages]
        stage = STAGE if STAGE in known else known[0]
    return {"style": style, "stage": stage}


def _fail(text: str, code: int, command: str = "serial") -> None:
    click.echo(f"simulators {command}: {text}", err=True)
    raise SystemExit(code)


if __name__ == "__main__":
    main(prog_name="python -m simulators")
