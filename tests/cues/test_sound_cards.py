"""Tones and voice through the real libraries, over real processes and a card that is a file.

ALSA's file plugin stands in for the loudspeaker: PortAudio and aplay play on it as on any card,
only faster. Where it is not set up, there is no card, as on any machine without one.
"""

from __future__ import annotations

import asyncio
import fcntl
import itertools
import os
import resource
import sys
import termios
import time
from pathlib import Path

import numpy as np
import pytest

from gaugelink.cues import voice
from gaugelink.cues.child import STARTING, Ended, Standby, end, work
from gaugelink.cues.cue import EXAMPLES, CueError, SoakReminder
from gaugelink.cues.output import Output
from gaugelink.cues.phrases import Words
from gaugelink.cues.settings import CueSettings
from gaugelink.cues.sound import Tones
from gaugelink.cues.speaker import speaking
from gaugelink.cues.tones import length, render, score
from gaugelink.cues.voice import Voice
from tests.cues.sounds import card, loudness, pitch, samples, seconds

BOTH = CueSettings(bell=False, tones=True, voice=True)


@pytest.fixture
def no_card(own_folders: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine without a sound card, whatever this one has: ALSA knows none that can be opened."""
    (own_folders / "alsa").write_text("pcm.none { type empty }")
    monkeypatch.setenv("ALSA_CONFIG_PATH", str(own_folders / "alsa"))


@pytest.fixture
def file_card(own_folders: Path, tmp_path: Path) -> Path:
    """The file that what is played ends in."""
    card(own_folders, tmp_path / "heard.wav")
    return tmp_path / "heard.wav"


@pytest.fixture
def stuck_card(own_folders: Path, tmp_path: Path) -> Path:
    """A card on which whatever is played never ends: a pipe that nobody reads."""
    os.mkfifo(tmp_path / "stuck")
    card(own_folders, tmp_path / "stuck")
    return tmp_path / "stuck"


@pytest.fixture
def scratch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where everything keeps its temporary files."""
    folder = tmp_path / "scratch"
    folder.mkdir()
    monkeypatch.setenv("TMPDIR", str(folder))
    monkeypatch.setattr("tempfile.tempdir", None)
    return folder


def unloadable(library: str, own_folders: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a system library be one that cannot be loaded, as good as not installed."""
    (own_folders / library).write_bytes(b"no library")
    monkeypatch.setenv("LD_LIBRARY_PATH", str(own_folders))


def hide(module: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a Python module be one that is not installed."""
    monkeypatch.setattr(
        "importlib.util.find_spec", lambda name: None if name == module else object()
    )


def helpers(scratch: Path) -> list[int]:
    """The processes that keep their temporary files there: those that play or speak for a test."""
    found = []
    for entry in Path("/proc").glob("[0-9]*/environ"):
        try:
            told = entry.read_bytes()
        except OSError:
            continue  # it has ended meanwhile, or is somebody else's
        if f"TMPDIR={scratch}/".encode() in told:
            found.append(int(entry.parent.name))
    return found


async def heard(output: Output, kind: str) -> None:
    """Open an output, let one cue be heard, and close it."""
    try:
        await output.open()
        await output.say(EXAMPLES[kind])  # type: ignore[index]
    finally:
        await output.close()


@pytest.mark.parametrize("kind", ["take", "leave", "over", "soak"])
async def test_tones_come_out_of_the_card_as_they_were_written(kind: str, file_card: Path) -> None:
    await heard(Tones(CueSettings(volume=0.5)), kind)
    data, rate = samples(file_card)
    notes = score(EXAMPLES[kind], 0.5)  # type: ignore[index]
    wanted = np.asarray(render(notes, rate))
    # The card may go on for what is left of its last block.
    assert len(wanted) <= len(data) < len(wanted) + rate / 5
    assert data[: len(wanted)] == pytest.approx(wanted, abs=1e-3)
    assert not data[len(wanted) :].any()
    start = round((length(notes) - notes[-1].duration) * rate)
    assert pitch(data[start : len(wanted)], rate) == pytest.approx(notes[-1].frequency, rel=0.006)


async def test_the_voice_comes_out_of_the_card(file_card: Path, tmp_path: Path) -> None:
    await heard(Voice(CueSettings()), "take")
    await voice.save(EXAMPLES["take"], CueSettings(), tmp_path / "saved.wav")
    assert seconds(file_card) == pytest.approx(seconds(tmp_path / "saved.wav"), abs=0.2)
    assert loudness(file_card) > 0.01


async def test_several_cues_one_after_another(file_card: Path) -> None:
    troubles: list[str] = []
    sizes = []
    async with speaking(BOTH, troubles.append) as speaker:
        await speaker.opened()
        for kind in ("take", "over", "zone", "take"):
            speaker.offer(EXAMPLES[kind])
            await speaker.quiet()
            sizes.append(seconds(file_card))
    assert troubles == []
    assert all(size > 0.5 for size in sizes), "the file holds the newest only, the sentence"
    assert sizes[0] == sizes[3]


async def spoken(cue: str, settings: CueSettings, file: Path) -> tuple[float, float]:
    """Seconds and loudness of a cue in the real engine's voice."""
    await voice.save(EXAMPLES[cue], settings, file)  # type: ignore[index]
    return seconds(file), loudness(file)


async def test_the_real_engine_speaks_longer_for_longer_phrases(tmp_path: Path) -> None:
    file = tmp_path / "said.wav"
    wordings = ("{verdict}", "{value}, {verdict}", "{blade}, {place}, {value}, {verdict}")
    found = []
    for wording in wordings:
        found.append(await spoken("take", CueSettings(words=Words(take=wording)), file))
        assert found[-1][1] > 0.01, "it is not silence"
    for (shorter, _), (longer, _) in itertools.pairwise(found):
        assert longer > shorter + 0.2
    assert 0.4 < found[0][0] < 1.5
    assert found[-1][0] < 4.0, "a capture is told before the next"


async def test_rate_and_volume_reach_the_real_engine(tmp_path: Path) -> None:
    file = tmp_path / "said.wav"
    slow, _ = await spoken("take", CueSettings(speech_rate=100), file)
    brisk, loud = await spoken("take", CueSettings(speech_rate=200, volume=1.0), file)
    _, soft = await spoken("take", CueSettings(speech_rate=200, volume=0.25), file)
    assert slow > 1.5 * brisk
    assert loud > 2 * soft > 0
    _, silent = await spoken("take", CueSettings(volume=0.0), file)
    assert silent < soft / 20


async def test_text_in_any_script_and_with_quotes_is_only_spoken(tmp_path: Path) -> None:
    file = tmp_path / "said.wav"
    await voice.save(SoakReminder("Späne; $(touch x) 'ö' <break/>", 20), CueSettings(), file)
    assert seconds(file) > 1
    assert not Path("x").exists()


async def test_a_wording_that_comes_out_empty_is_not_spoken(file_card: Path) -> None:
    settings = CueSettings(words=Words(take="·"))
    await heard(Voice(settings), "take")
    assert not file_card.exists()


@pytest.mark.usefixtures("no_card")
async def test_without_a_card_each_output_says_so_once_and_the_bell_rings_on() -> None:
    told: list[str] = []
    settings = CueSettings(tones=True, voice=True)
    async with speaking(settings, told.append, lambda: told.append("ding")) as speaker:
        await speaker.opened()
        for kind in ("over", "lost", "zone"):
            speaker.offer(EXAMPLES[kind])
            await speaker.quiet()
    assert told.count("ding") == 3
    tones, spoken = sorted(each for each in told if each != "ding")
    assert tones.startswith("tones: there is no sound card to play on (sounddevice.PortAudioError")
    assert tones.endswith("; connect one and start again, or turn tones off")
    assert spoken.startswith("voice: the speech could not be played (aplay: ")
    assert "\n" not in tones + spoken


async def test_a_library_that_crashes_takes_nothing_along(
    own_folders: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With a configuration that is empty PortAudio aborts the process that it lives in."""
    (own_folders / "alsa").write_text("")
    monkeypatch.setenv("ALSA_CONFIG_PATH", str(own_folders / "alsa"))
    with pytest.raises(CueError, match=r"^tones: there is no sound card to play on "):
        await heard(Tones(CueSettings()), "take")


async def test_a_card_that_fails_while_it_plays(own_folders: Path, tmp_path: Path) -> None:
    """It is there when it is looked for, and its file can no longer be written when it plays."""
    (tmp_path / "folder").mkdir()
    card(own_folders, tmp_path / "folder" / "heard.wav")
    tones = Tones(CueSettings())
    await tones.open()
    for file in (tmp_path / "folder").iterdir():
        file.unlink()
    (tmp_path / "folder").rmdir()
    with pytest.raises(CueError, match=r"^tones: the sound card does not play \(sounddevice\.Por"):
        await tones.say(EXAMPLES["take"])
    await tones.close()


async def test_speech_that_finds_no_room_to_be_played_from(scratch: Path) -> None:
    """The engine plays from a file, which it may no longer write."""
    made = Voice(CueSettings())
    await made.open()
    for helper in helpers(scratch):
        resource.prlimit(helper, resource.RLIMIT_FSIZE, (0, 0))
    with pytest.raises(
        CueError, match=r"^voice: the speech could not be played \(Playback error: "
    ):
        await made.say(EXAMPLES["take"])
    await made.close()


async def test_without_portaudio(own_folders: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    unloadable("libportaudio.so.2", own_folders, monkeypatch)
    with pytest.raises(CueError, match=r"^tones: PortAudio cannot be .*: apt install libportaudio"):
        await heard(Tones(CueSettings()), "take")


async def test_without_a_speech_engine(own_folders: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    unloadable("libespeak-ng.so.1", own_folders, monkeypatch)
    with pytest.raises(CueError, match=r"^voice: there is no speech engine .*: apt install espeak"):
        await heard(Voice(CueSettings()), "take")


async def test_without_a_player_for_the_speech(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "/nowhere")
    with pytest.raises(CueError, match=r"^voice: there is no aplay .*: apt install alsa-utils$"):
        await heard(Voice(CueSettings()), "take")


async def test_without_the_extras(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    hide("sounddevice", monkeypatch)
    with pytest.raises(CueError, match=r"^tones: .* pip install 'gaugelink\[sound\]'$"):
        await heard(Tones(CueSettings()), "take")
    hide("pyttsx3", monkeypatch)
    with pytest.raises(CueError, match=r"^voice: .* pip install 'gaugelink\[voice\]'$"):
        await heard(Voice(CueSettings()), "take")
    with pytest.raises(CueError, match=r"^voice: .* pip install 'gaugelink\[voice\]'$"):
        await voice.save(EXAMPLES["take"], CueSettings(), tmp_path / "said.wav")


async def test_a_file_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    with pytest.raises(CueError, match=r"said\.wav: cannot be written: No such file"):
        await voice.save(EXAMPLES["take"], CueSettings(), tmp_path / "none" / "said.wav")


@pytest.mark.parametrize("output", [Voice, Tones])
async def test_what_sounds_is_cut_off_with_all_that_plays_it(
    output: type[Voice] | type[Tones], stuck_card: Path, scratch: Path
) -> None:
    made = output(CueSettings())
    # While it looks for its card, and while it plays, PortAudio opens the pipe, which waits for a
    # reader; this one never reads.
    reader = os.open(stuck_card, os.O_RDONLY | os.O_NONBLOCK)
    try:
        await made.open()
        long = asyncio.create_task(made.say(SoakReminder("R07 " * 60, 20)))
        until = time.monotonic() + 10
        while not long.done() and time.monotonic() < until:
            await asyncio.sleep(0.05)
            if _is_filling(reader):
                break
        assert not long.done(), "it plays on a card that takes no more"
        assert helpers(scratch)
        started = time.monotonic()
        long.cancel()
        await asyncio.gather(long, return_exceptions=True)
        assert long.cancelled()
        assert time.monotonic() - started < 2
        await made.close()
    finally:
        os.close(reader)
    assert helpers(scratch) == []
    assert list(scratch.iterdir()) == [], "what it played does not stay on the disk"


def _is_filling(reader: int) -> bool:
    waiting = bytearray(4)
    fcntl.ioctl(reader, termios.FIONREAD, waiting)
    return int.from_bytes(waiting, sys.byteorder) > 0


@pytest.mark.parametrize("output", [Voice, Tones])
@pytest.mark.parametrize("rounds", [0, 1, 3, 10, 100])
@pytest.mark.usefixtures("file_card")
async def test_leaving_at_any_moment_leaves_nothing_behind(
    output: type[Voice] | type[Tones], rounds: int, scratch: Path
) -> None:
    """The fixture of every test looks for threads, processes and open files."""
    task = asyncio.create_task(heard(output(CueSettings()), "over"))
    for _ in range(rounds):
        await asyncio.sleep(0.002)
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    assert list(scratch.iterdir()) == []


async def test_a_process_that_is_late_is_ended(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    script = tmp_path / "late.py"
    script.write_text("import time; time.sleep(60)")
    monkeypatch.setattr("gaugelink.cues.child.STARTING", 0.05)
    standby = Standby(script, lambda ended: f"late: {ended.why}")
    with pytest.raises(CueError, match=r"^late: it was not ready after 0\.05 s$"):
        await standby.open()
    await standby.close()
    assert STARTING > 5, "a cold start on a slow machine is no fault"


async def test_one_that_died_while_it_waited_is_told_and_the_next_works(tmp_path: Path) -> None:
    script = tmp_path / "echo.py"
    script.write_text("import sys\nprint('ready w', flush=True)\nsys.exit(len(sys.stdin.read()))")
    standby = Standby(script, lambda ended: ended.why)
    await standby.open()
    first = await standby.ready()
    assert first.word == "w"
    await end(first.process)
    assert (await work(first.process, b"123")).code != 0
    second = await standby.ready()
    assert (await work(second.process, b"123")).code == 3
    await standby.close()


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ("", "it ended with -6"),
        ("noise\n\n", "noise"),
        ("Traceback:\n  x\nOSError: no card\nALSA lib noise\n", "OSError: no card"),
        ("a.b.SomeError: one\nb.OtherError: two", "b.OtherError: two"),
    ],
)  # fmt: skip
def test_why_is_the_line_of_the_exception(said: str, why: str) -> None:
    assert Ended(-6, said).why == why


async def test_numpy_is_never_loaded_for_tones(file_card: Path) -> None:
    code = (
        "import asyncio, sys\n"
        "from gaugelink.cues.cue import EXAMPLES\n"
        "from gaugelink.cues.settings import CueSettings\n"
        "from gaugelink.cues.speaker import speaking\n"
        "async def main():\n"
        "    settings = CueSettings(bell=False, tones=True)\n"
        "    async with speaking(settings, sys.exit) as speaker:\n"
        "        await speaker.opened()\n"
        "        speaker.offer(EXAMPLES['over'])\n"
        "        await speaker.quiet()\n"
        "asyncio.run(main())\n"
        "sys.exit('numpy' in sys.modules or 'sounddevice' in sys.modules)\n"
    )
    process = await asyncio.create_subprocess_exec(sys.executable, "-c", code)
    assert await process.wait() == 0
    assert seconds(file_card) > 0.3
