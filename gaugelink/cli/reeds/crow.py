"""`gaugelink reed NAME crow`: the pitch of its crow, typed or from a recording."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import click

from gaugelink.cli import common, reeds
from gaugelink.cli.reeds.clip import length_option, show

if TYPE_CHECKING:
    from gaugelink.craft.crow import Crow


# What is flat begins as an option does.
@click.command("crow", context_settings={"ignore_unknown_options": True})
@click.argument("pitch", nargs=-1)
@click.option("--hertz", type=float, help="Its pitch in hertz.")
@click.option(
    "--wav", type=click.Path(exists=True, dir_okay=False, path_type=Path), help="A recording of it."
)
@click.option("--a4", type=float, help="Hertz of A that the tuner is set to; that of the style.")
@length_option
@reeds.correct_option
@common.json_option
@click.pass_context
def command(
    ctx: click.Context,
    pitch: tuple[str, ...],
    hertz: float | None,
    wav: Path | None,
    a4: float | None,
    length: Decimal | None,
    correct: bool,
    as_json: bool,
) -> None:
    """Note the reed's crow, and say how much to clip next, or why not to.

    PITCH is what a tuner shows: the note and the cents from it. Crows in any octave count as the
    goal's own. It is kept with the reed's length: give that with --length, or with `clip` before.

    \b
    Example: gaugelink reed R07 crow C5-15
             gaugelink reed R07 crow --wav crow.wav
    """
    if sum((bool(pitch), hertz is not None, wav is not None)) != 1:
        raise click.UsageError(
            "give the crow as PITCH, with --hertz or with --wav, one of them", ctx
        )
    common.run(_note(ctx, " ".join(pitch), hertz, wav, a4, length, correct, as_json))


async def _note(
    ctx: click.Context,
    pitch: str,
    hertz: float | None,
    wav: Path | None,
    a4: float | None,
    length: Decimal | None,
    correct: bool,
    as_json: bool,
) -> None:
    from gaugelink.daemon import messages as m

    name = reeds.name_of(ctx)
    heard = None if wav is None else _heard(wav)
    async with common.reach(common.folders_of(ctx)) as client:
        if length is not None:
            await client.ask(m.NoteLength(reed=name, length=length))
        found = await client.ask(
            m.NoteCrow(
                reed=name,
                pitch=pitch,
                hertz=hertz if heard is None else heard.hertz,
                tuning=a4,
                source="typed" if heard is None else "wav",
                correct=correct,
            )
        )
    if heard is not None:
        _tell(heard, as_json)
    show(found, as_json)


def _heard(file: Path) -> Crow:
    from gaugelink.craft.crow import NoPitch, hear
    from gaugelink.craft.wav import read_wav
    from gaugelink.reading import GaugelinkError

    try:
        data = file.read_bytes()
    except OSError as error:
        raise GaugelinkError(f"{file}: cannot be read: {error.strerror}") from error
    found = hear(read_wav(data))
    if isinstance(found, NoPitch):
        raise GaugelinkError(f"{file}: {found.text}")
    return found


def _tell(heard: Crow, as_json: bool) -> None:
    """What the recording says beyond the pitch."""
    about = {
        "is": "heard",
        "hertz": heard.hertz,
        "spread": heard.spread,
        "octave": heard.octave,
        "has_octave": heard.has_octave,
        "seconds": heard.seconds,
        "overdriven": heard.overdriven,
    }
    if as_json:
        common.say(common.json_line(about))
        return
    octave = "sounds with it" if heard.has_octave else "is missing"
    common.say(
        f"heard {heard.hertz:.1f} Hz for {heard.seconds:.1f} s; "
        f"the octave {octave} ({heard.octave:+.0f} dB)"
    )
    if heard.overdriven:
        common.say("overdriven: record it softer")
