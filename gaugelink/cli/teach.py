"""`gaugelink teach`: let gaugelink work out what an unknown indicator sends."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gaugelink.cli import common

if TYPE_CHECKING:
    from gaugelink.devices.description import Description
    from gaugelink.devices.teaching.finding import Finding
    from gaugelink.devices.teaching.listening import Tried


@click.command("teach")
@click.argument("path")
@click.option("--name", help="The description's name, and its file's.")
@click.option("--save", is_flag=True, help="Write it into your own descriptions folder.")
@click.option(
    "--seconds",
    type=click.FloatRange(1, 600),
    default=20.0,
    show_default=True,
    help="Listen at most so long once the speed is found.",
)
@common.json_option
@click.pass_context
def command(
    ctx: click.Context, path: str, name: str | None, save: bool, seconds: float, as_json: bool
) -> None:
    """Work out an unknown indicator's settings and format from what it sends.

    PATH is a serial port, ble:ADDRESS for a Bluetooth device, or replay:FILE for a recording.

    Move its spindle slowly up and down meanwhile, or press its data button a few times. When
    nothing comes by itself it is asked with harmless queries; its settings are never changed.

    \b
    Example: gaugelink teach /dev/ttyUSB0 --name workshop-dial --save
    """
    from gaugelink.devices.teaching import keeping

    folder = common.folders_of(ctx).descriptions
    _check_name(folder, name, save)
    finding, tried = common.run(_teach(path, name or "taught", seconds, as_json))
    chosen, answered = finding.description, False
    if finding.question and not as_json and sys.stdin.isatty():
        chosen, answered = _asked(finding), True
    if name is None:
        usual = keeping.usual_name(chosen)
        chosen = keeping.renamed(chosen, keeping.unused(folder, usual) if save else usual)
    text = keeping.text_of(finding, chosen, answered)
    saved = keeping.keep(folder, chosen.name, text) if save else None
    if as_json:
        common.say(common.json_line(_report(finding, chosen, text, tried, saved)))
    else:
        _say_plainly(finding, text, answered, saved)


def _check_name(folder: Path, name: str | None, save: bool) -> None:
    """Refuse a name before anyone has moved a spindle for it."""
    from gaugelink.devices.teaching import keeping

    if name is None:
        return
    try:
        keeping.check_name(name)
    except keeping.KeepingError as error:
        raise click.BadParameter(str(error), param_hint="--name") from error
    if save:
        keeping.refuse_existing(folder, name)


async def _teach(path: str, name: str, seconds: float, as_json: bool) -> tuple[Finding, Tried]:
    """The finding; when there is none, says what was tried and ends with 1."""
    from gaugelink.devices.link import LinkError
    from gaugelink.devices.teaching.listening import Teacher

    teacher = Teacher(
        path,
        say=lambda line: common.say(f"gaugelink: {line}", err=True),
        name=name,
        seconds=seconds,
    )
    try:
        return await teacher.teach(), teacher.tried
    except LinkError as error:
        if not as_json:
            raise
        common.say(common.json_line({"error": str(error), "tried": _tried(teacher.tried)}))
        sys.exit(1)


def _asked(finding: Finding) -> Description:
    """Ask the finding's one question at the terminal."""
    alternatives = finding.alternatives or []
    click.echo(finding.question)
    for number, (says, _) in enumerate(alternatives, 1):
        click.echo(f"  {number}  {says}")
    answer = click.prompt("Which", type=click.IntRange(1, len(alternatives)), default=1)
    return alternatives[answer - 1][1]


def _tried(tried: Tried) -> dict[str, Any]:
    return {
        "speeds": [{"baud": baud, "bytes": count} for baud, count in tried.speeds.items()],
        "characteristics": [
            {"uuid": uuid, "bytes": count} for uuid, count in tried.characteristics.items()
        ],
        "bytes": tried.bytes,
        "requests": tried.requests,
        "seconds": tried.seconds,
    }


def _report(
    finding: Finding, chosen: Description, text: str, tried: Tried, saved: Path | None
) -> dict[str, Any]:
    import msgspec

    from gaugelink.devices.teaching import keeping
    from gaugelink.devices.teaching.writing import written

    alternatives = [
        {"answer": says, "description": msgspec.to_builtins(each), "toml": written(each, [])}
        for says, each in (
            (says, keeping.renamed(each, chosen.name)) for says, each in finding.alternatives or []
        )
    ]
    return {
        "description": msgspec.to_builtins(chosen),
        "toml": text,
        "evidence": keeping.reasons(finding),
        "sure": finding.sure,
        "question": finding.question,
        "alternatives": alternatives or None,
        "tried": _tried(tried),
        "saved": str(saved) if saved else None,
    }


def _say_plainly(finding: Finding, text: str, answered: bool, saved: Path | None) -> None:
    from gaugelink.devices.teaching import keeping

    for sentence in keeping.reasons(finding, answered):
        common.say(f"- {sentence}")
    if finding.question and not answered:
        for says, _ in finding.alternatives or []:
            common.say(f"  perhaps {says}")
    if not answered:
        common.say(f"sure to {finding.sure:.0%}")
    common.say("")
    common.say(text.rstrip("\n"))
    if saved is not None:
        common.say(f"gaugelink: saved as {saved}", err=True)
