"""`gaugelink teach`: let gaugelink work out what an unknown indicator sends."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gaugelink.cli import common

if TYPE_CHECKING:
    from gaugelink.devices.description import Description
    from gaugelink.devices.teaching.finding import Finding
    from gaugelink.devices.teaching.listening import Tried

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")


def _checked_name(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    if value is not None and not _NAME.fullmatch(value):
        raise click.BadParameter("takes letters, digits, dots and hyphens", ctx, param)
    return value


@click.command("teach")
@click.argument("path")
@click.option("--name", callback=_checked_name, help="The description's name, and its file's.")
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

    Move its spindle slowly up and down meanwhile, or press its data button a few times. When
    nothing comes by itself it is asked with harmless queries; its settings are never changed.

    \b
    Example: gaugelink teach /dev/ttyUSB0 --name workshop-dial --save
    """
    folder = common.folders_of(ctx).descriptions
    if save and name is not None:
        _refuse_existing(folder, name)
    finding, tried = common.run(_teach(path, name or "taught", seconds, as_json))
    chosen, answered = finding.description, False
    if finding.question and not as_json and sys.stdin.isatty():
        chosen, answered = _asked(finding), True
    if name is None:
        chosen = _renamed(chosen, _usual_name(chosen))
    evidence = list(finding.evidence)
    if finding.question and not answered:
        evidence.append(f"not certain: {finding.question} The likeliest answer was taken")
    text = _text(chosen, evidence)
    saved = _saved(folder, chosen.name, text) if save else None
    if as_json:
        common.say(common.json_line(_report(finding, chosen, text, evidence, tried, saved)))
    else:
        _say_plainly(finding, text, evidence, answered, saved)


async def _teach(path: str, name: str, seconds: float, as_json: bool) -> tuple[Finding, Tried]:
    """The finding; when there is none, says what was tried and ends with 1."""
    from gaugelink.devices.link import LinkError
    from gaugelink.devices.serial_link import SerialLink
    from gaugelink.devices.teaching.listening import Teacher

    teacher = Teacher(
        path,
        SerialLink,
        lambda line: common.say(f"gaugelink: {line}", err=True),
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


def _usual_name(description: Description) -> str:
    """A name that says what it is: speed, bits, and how frames end."""
    from gaugelink.devices.description import ByTerminator

    framing = description.framing
    end = {"\r": "cr", "\n": "lf", "\r\n": "crlf"}.get(
        framing.end if isinstance(framing, ByTerminator) else "",
        str(framing.__struct_config__.tag),
    )
    return f"taught-{description.link.short.lower().replace(' ', '-')}-{end}-{description.unit}"


def _renamed(description: Description, name: str) -> Description:
    import msgspec

    return msgspec.structs.replace(description, name=name)


def _text(description: Description, evidence: list[str]) -> str:
    from gaugelink.devices.teaching.writing import written

    return written(description, evidence)


def _path(folder: Path, name: str) -> Path:
    return folder / f"{name}.toml"


def _refuse_existing(folder: Path, name: str) -> None:
    from gaugelink.reading import GaugelinkError

    if _path(folder, name).exists():
        raise GaugelinkError(f"{_path(folder, name)}: is there already; choose another --name")


def _saved(folder: Path, name: str, text: str) -> Path:
    """Write the file, never over another."""
    from gaugelink.reading import GaugelinkError

    path = _path(folder, name)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError as error:
        raise GaugelinkError(f"{path}: is there already; choose another --name") from error
    except OSError as error:
        raise GaugelinkError(f"{path}: cannot be written ({error.strerror})") from error
    return path


def _tried(tried: Tried) -> dict[str, Any]:
    return {
        "speeds": [{"baud": baud, "bytes": count} for baud, count in tried.speeds.items()],
        "bytes": sum(tried.speeds.values()),
        "requests": tried.requests,
        "seconds": tried.seconds,
    }


def _report(
    finding: Finding,
    chosen: Description,
    text: str,
    evidence: list[str],
    tried: Tried,
    saved: Path | None,
) -> dict[str, Any]:
    import msgspec

    alternatives = [
        {"answer": says, "description": msgspec.to_builtins(each), "toml": _text(each, [])}
        for says, each in (
            (says, _renamed(each, chosen.name)) for says, each in finding.alternatives or []
        )
    ]
    return {
        "description": msgspec.to_builtins(chosen),
        "toml": text,
        "evidence": evidence,
        "sure": finding.sure,
        "question": finding.question,
        "alternatives": alternatives or None,
        "tried": _tried(tried),
        "saved": str(saved) if saved else None,
    }


def _say_plainly(
    finding: Finding, text: str, evidence: list[str], answered: bool, saved: Path | None
) -> None:
    for sentence in evidence:
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
