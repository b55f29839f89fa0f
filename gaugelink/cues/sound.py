"""Tones through the sound card, with sounddevice and so with PortAudio."""

from __future__ import annotations

import importlib.util
from pathlib import Path

from gaugelink.cues.child import Ended, Standby, work
from gaugelink.cues.cue import Cue, CueError
from gaugelink.cues.settings import CueSettings
from gaugelink.cues.tones import render, score

SCRIPT = Path(__file__).with_name("play.py")


class Tones:
    """Plays the score of each cue."""

    def __init__(self, settings: CueSettings) -> None:
        self._volume = settings.volume
        self._players = Standby(SCRIPT, _no_card)

    async def open(self) -> None:
        if importlib.util.find_spec("sounddevice") is None:
            raise CueError("tones: sounddevice is not installed; pip install 'gaugelink[sound]'")
        await self._players.open()

    async def say(self, cue: Cue) -> None:
        player = await self._players.ready()
        samples = render(score(cue, self._volume), int(player.word))
        ended = await work(player.process, samples.tobytes())
        if ended.code != 0:
            raise CueError(f"tones: the sound card does not play ({ended.why}); is it in use?")

    async def close(self) -> None:
        await self._players.close()


def _no_card(ended: Ended) -> str:
    if ended.why.startswith("OSError"):
        return (
            f"tones: PortAudio cannot be loaded ({ended.why}); install it, on Debian: "
            "apt install libportaudio2"
        )
    return (
        f"tones: there is no sound card to play on ({ended.why}); connect one and start again, "
        "or turn tones off"
    )
