"""Cues read aloud, with pyttsx3 and so with the system's own speech engine."""

from __future__ import annotations

import asyncio
import importlib.util
import json
import re
import shutil
import sys
from pathlib import Path

from gaugelink.cues.child import Ended, Ready, Standby, work
from gaugelink.cues.cue import Cue, CueError
from gaugelink.cues.phrases import phrase
from gaugelink.cues.settings import CueSettings

SCRIPT = Path(__file__).with_name("speak.py")

LONGEST = 60.0
"""Seconds in which anything can be written to a file; an engine that needs longer hangs."""


class Voice:
    """Reads each cue aloud in the maker's wording."""

    def __init__(self, settings: CueSettings) -> None:
        self._settings = settings
        self._engines = Standby(SCRIPT, _no_engine)

    async def open(self) -> None:
        _check_installed()
        if sys.platform == "linux" and shutil.which("aplay") is None:
            raise CueError(
                "voice: there is no aplay to play the speech; install it, on Debian: "
                "apt install alsa-utils"
            )
        await self._engines.open()

    async def say(self, cue: Cue) -> None:
        await _speak(await self._engines.ready(), cue, self._settings)

    async def close(self) -> None:
        await self._engines.close()


async def save(cue: Cue, settings: CueSettings, path: Path) -> None:
    """Write a cue as it is read aloud to a sound file: WAV, but on macOS the system's own AIFF.

    CueError when there is no engine or the file cannot be written.
    """
    _check_installed()
    target = _made(path)
    engines = Standby(SCRIPT, _no_engine)
    try:
        async with asyncio.timeout(LONGEST):
            await engines.open()
            await _speak(await engines.ready(), cue, settings, target)
    except TimeoutError as error:
        raise CueError(f"voice: the speech engine was not done after {LONGEST:g} s") from error
    finally:
        await engines.close()


async def _speak(engine: Ready, cue: Cue, settings: CueSettings, path: str = "") -> None:
    text = phrase(cue, settings.words)
    wanted = {"text": text, "rate": settings.speech_rate, "volume": settings.volume, "path": path}
    # A wording may consist of nothing but fields that are empty here: then nothing is said.
    ended = await work(engine.process, json.dumps(wanted).encode() if text else b"")
    if ended.code != 0:
        raise CueError(f"voice: the speech engine failed ({ended.why}); is it whole?")
    # When nothing could be played the library only prints it, or leaves that to the player.
    if unheard := re.search("(aplay|Playback error): .*", ended.said):
        raise CueError(f"voice: the speech could not be played ({unheard[0]}); is there a card?")


def _check_installed() -> None:
    if importlib.util.find_spec("pyttsx3") is None:
        raise CueError("voice: pyttsx3 is not installed; pip install 'gaugelink[voice]'")


def _made(path: Path) -> str:
    """The file, empty: the engine would not say that it cannot write it."""
    try:
        path.write_bytes(b"")
    except OSError as error:
        raise CueError(f"{path}: cannot be written: {error.strerror or error}") from error
    return str(path.absolute())


def _no_engine(ended: Ended) -> str:
    return (
        f"voice: there is no speech engine ({ended.why}); install one, on Debian: "
        "apt install espeak-ng"
    )
