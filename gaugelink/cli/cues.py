"""`gaugelink cues`: what the maker hears, shown and tried."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gaugelink.cli import common

if TYPE_CHECKING:
    from gaugelink.cues.cue import Cue
    from gaugelink.cues.settings import CueSettings

OUTPUTS = ("bell", "tones", "voice")


@click.command("cues")
@click.option("--play", metavar="KIND", help="Let one be heard.")
@click.option(
    "--with",
    "outputs",
    type=click.Choice(OUTPUTS),
    multiple=True,
    help="For --play: by this, whether it is turned on or not; may be given again.",
)
@click.option(
    "--wav",
    nargs=2,
    metavar="FILE KIND",
    type=(click.Path(dir_okay=False, path_type=Path), str),
    help="Write one as a sound file.",
)
@click.option("--spoken", is_flag=True, help="For --wav: its words instead of its tones.")
@click.option("--where", is_flag=True, help="Say where your own settings are kept.")
@common.json_option
@click.pass_context
def command(
    ctx: click.Context,
    play: str | None,
    outputs: tuple[str, ...],
    wav: tuple[Path, str] | None,
    spoken: bool,
    where: bool,
    as_json: bool,
) -> None:
    """List what you hear at the bench while your eyes are on the cane, or try it.

    Bell, tones and voice are turned on, tuned and worded in the TOML file that --where names. Tones
    need `pip install 'gaugelink[sound]'`, the voice `pip install 'gaugelink[voice]'`. The captures
    shown are invented.

    \b
    Example: gaugelink cues --play take --with tones
             gaugelink cues --wav take.wav take
    """
    from gaugelink.cues import settings

    if (play is not None) + (wav is not None) + where > 1:
        raise click.UsageError("give one of --play, --wav and --where", ctx)
    if outputs and play is None:
        raise click.UsageError("--with says by what to --play", ctx)
    if spoken and wav is None:
        raise click.UsageError("--spoken says what to write with --wav", ctx)
    file = common.folders_of(ctx).cues
    if where:
        common.say(common.json_line({"is": "where", "file": str(file)}) if as_json else str(file))
        return
    own = settings.load(file)
    if play is not None:
        _play(_picked(ctx, play), own, outputs, as_json)
    elif wav is not None:
        _write(_picked(ctx, wav[1]), own, wav[0], spoken, as_json)
    else:
        _list(own, as_json)


def _picked(ctx: click.Context, kind: str) -> Cue:
    from gaugelink.cues.cue import EXAMPLES, KINDS

    for known, cue in EXAMPLES.items():
        if known == kind:
            return cue
    raise click.UsageError(f"no cue is called {kind!r}; known are: {', '.join(KINDS)}", ctx)


def _list(own: CueSettings, as_json: bool) -> None:
    from gaugelink.cues.cue import EXAMPLES

    for cue in EXAMPLES.values():
        found = _described(cue, own)
        if as_json:
            common.say(common.json_line(found))
            continue
        silent = "" if found["heard"] else "  (turned off)"
        bell = ", bell" if found["rings"] else ""
        common.say(f"{cue.kind:<8} “{found['says']}”{silent}")
        common.say(f"         {found['sounds']}: {' '.join(found['names'])}{bell}")
    if not as_json:
        on = [name for name in OUTPUTS if getattr(own, name)]
        common.say(f"on: {', '.join(on) or 'nothing'}")


def _described(cue: Cue, own: CueSettings) -> dict[str, Any]:
    from gaugelink.cues.phrases import phrase
    from gaugelink.cues.tones import HEARD, name, score

    notes = score(cue, own.volume)
    return {
        "is": "cue",
        "kind": cue.kind,
        "says": phrase(cue, own.words),
        "sounds": HEARD[cue.kind],
        "names": [name(note.frequency) for note in notes],
        "notes": notes,
        "heard": cue.kind in own.which,
        "rings": own.bell and cue.kind in own.which and cue.kind in own.rings,
    }


def _write(cue: Cue, own: CueSettings, file: Path, spoken: bool, as_json: bool) -> None:
    from gaugelink.cues.tones import score
    from gaugelink.cues.wav import to_wav

    if spoken:
        from gaugelink.cues import voice

        common.run(voice.save(cue, own, file))
    else:
        to_wav(score(cue, own.volume), file)
    if as_json:
        said = {"is": "written", "kind": cue.kind, "file": str(file), "spoken": spoken}
        common.say(common.json_line(said))
    else:
        common.say(f"wrote {file}")


def _play(cue: Cue, own: CueSettings, outputs: tuple[str, ...], as_json: bool) -> None:
    """Let a cue be heard, whatever its kind's settings are: it was asked for."""
    import msgspec

    from gaugelink.cues.cue import KINDS, CueError

    if outputs:
        own = msgspec.structs.replace(own, **{name: name in outputs for name in OUTPUTS})
    tried = [name for name in OUTPUTS if getattr(own, name)]
    if not tried:
        raise CueError("bell, tones and voice are all turned off; choose one by --with")
    own = msgspec.structs.replace(own, which=KINDS, rings=KINDS)
    troubles: list[str] = []
    common.run(_heard(cue, own, troubles))
    if as_json:
        said = {"is": "played", "kind": cue.kind, "by": tried, "troubles": troubles}
        common.say(common.json_line(said))
    if troubles:
        raise CueError("; ".join(troubles))


async def _heard(cue: Cue, own: CueSettings, troubles: list[str]) -> None:
    from gaugelink.cues.speaker import speaking

    async with speaking(own, troubles.append) as speaker:
        # An engine that starts slowly must not make it too late to be said.
        await speaker.opened()
        speaker.offer(cue)
        await speaker.quiet()
