"""`gaugelink cues`, run as its user runs it: what is heard, in words, in files and aloud."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from gaugelink.cues.cue import EXAMPLES, KINDS
from gaugelink.cues.tones import length, render, score
from tests.cues.sounds import card, loudness, samples, seconds

MINE = """
volume = 0.5
which = ["take", "over", "lost"]
[words]
take = "{verdict} at {station}"
"""


class Cli:
    """`gaugelink cues` with a home of its own."""

    def __init__(self, home: Path) -> None:
        self.file = home / "config" / "cues.toml"
        self.file.parent.mkdir(parents=True)
        self.command = [sys.executable, "-m", "gaugelink", "--home", str(home), "cues"]
        self.err = ""

    def __call__(self, *words: str, code: int = 0) -> str:
        done = subprocess.run(
            [*self.command, *words],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=60,
        )
        assert done.returncode == code, done.stderr
        self.err = done.stderr
        return done.stdout

    def lines(self, *words: str, code: int = 0) -> list[dict[str, Any]]:
        return [json.loads(line) for line in self(*words, code=code).splitlines()]


@pytest.fixture
def cli(tmp_path: Path) -> Cli:
    return Cli(tmp_path / "home")


def test_each_cue_is_told_in_words(cli: Cli) -> None:
    shown = cli()
    for said in (
        "take     “crossed, left window, forty-three, take three”",
        "short-long, falling: the further, the more there is to take: E5 C5",
        "over     “crossed, left window, thirty-eight, over two”",
        "short-short-long, low, on one note: A3 A3 A3, bell",
        "on: bell",
    ):
        assert said in shown
    assert len(shown.splitlines()) == 2 * len(KINDS) + 1
    assert "turned off" not in shown


def test_ones_own_settings_are_shown(cli: Cli) -> None:
    assert cli("--where") == f"{cli.file}\n"
    assert cli.lines("--where", "--json") == [{"is": "where", "file": str(cli.file)}]
    cli.file.write_text(MINE)
    found = {line["kind"]: line for line in cli.lines("--json")}
    assert tuple(found) == KINDS
    assert found["take"]["says"] == "take three at crossed, left, fifty-three"
    assert [kind for kind, line in found.items() if line["heard"]] == ["take", "over", "lost"]
    assert [kind for kind, line in found.items() if line["rings"]] == ["over", "lost"]
    for kind, line in found.items():
        notes = score(EXAMPLES[kind], 0.5)
        assert [note["frequency"] for note in line["notes"]] == [note.frequency for note in notes]
        assert [note["level"] for note in line["notes"]] == [note.level for note in notes]
    assert "leave it”  (turned off)" in cli()


@pytest.mark.parametrize("kind", KINDS)
def test_each_cue_as_a_sound_file(cli: Cli, tmp_path: Path, kind: str) -> None:
    file = tmp_path / f"{kind}.wav"
    (line,) = cli.lines("--wav", str(file), kind, "--json")
    assert line == {"is": "written", "kind": kind, "file": str(file), "spoken": False}
    data, rate = samples(file)
    wanted = render(score(EXAMPLES[kind], 0.6), rate)  # type: ignore[index]
    assert data == pytest.approx(np.asarray(wanted), abs=2 / 32_768)


def test_a_cue_as_it_is_read_aloud(cli: Cli, tmp_path: Path) -> None:
    file = tmp_path / "said.wav"
    assert cli("--wav", str(file), "take", "--spoken") == f"wrote {file}\n"
    assert 1 < seconds(file) < 4
    assert loudness(file) > 0.01


def test_playing_by_tones_and_voice(cli: Cli, own_folders: Path, tmp_path: Path) -> None:
    file = tmp_path / "heard.wav"
    card(own_folders, file)
    assert cli("--play", "over", "--with", "tones") == ""
    assert seconds(file) == pytest.approx(length(score(EXAMPLES["over"])), abs=0.2)
    # Chosen by the maker's own file, and of a kind that is turned off at the bench.
    cli.file.write_text('bell = false\nvoice = true\nwhich = ["lost"]')
    (line,) = cli.lines("--play", "take", "--json")
    assert line == {"is": "played", "kind": "take", "by": ["voice"], "troubles": []}
    assert seconds(file) > 1


def test_the_bell_of_a_real_terminal(cli: Cli) -> None:
    ours, theirs = pty.openpty()
    try:
        subprocess.run([*cli.command, "--play", "leave"], stderr=theirs, timeout=60, check=True)
        assert os.read(ours, 100) == b"\a"
    finally:
        os.close(ours)
        os.close(theirs)


def test_whatever_cannot_be_heard_is_told_and_ends_with_1(cli: Cli, own_folders: Path) -> None:
    (own_folders / "alsa").write_text("pcm.none { type empty }")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("ALSA_CONFIG_PATH", str(own_folders / "alsa"))
        words = ("--play", "take", "--with", "tones", "--with", "bell")
        (line,) = cli.lines(*words, "--json", code=1)
    assert line["by"] == ["bell", "tones"]
    bell, tones = sorted(line["troubles"])
    assert "there is no terminal to ring" in bell
    assert "there is no sound card to play on" in tones
    assert cli.err.startswith("gaugelink: ")
    assert cli.err.count("\n") == 1


def test_a_full_disk_is_told(cli: Cli) -> None:
    """No file may hold anything, as far as this process and those it starts go."""
    words = [*cli.command, "--play", "take", "--with", "voice"]
    done = subprocess.run(
        ["sh", "-c", 'ulimit -f 0; exec "$@"', "sh", *words],
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 1
    assert done.stderr.startswith("gaugelink: no cue can be sounded ([Errno 2] No usable temporary")
    assert done.stderr.endswith("; make room, or turn tones and voice off\n")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--play", "took"), "no cue is called 'took'; known are: take, leave, over"),
        (("--wav", "x.wav", "took"), "no cue is called 'took'"),
        (("--wav", "x.wav"), "'--wav' requires 2 arguments"),
        (("--play", "take", "--where"), "give one of --play, --wav and --where"),
        (("--with", "tones"), "--with says by what to --play"),
        (("--spoken",), "--spoken says what to write with --wav"),
        (("--play", "take", "--with", "drum"), "'drum' is not one of"),
    ],
)
def test_a_wrong_call_ends_with_2(cli: Cli, words: tuple[str, ...], said: str) -> None:
    assert cli(*words, code=2) == ""
    assert said in cli.err
    assert cli.err.count("\n") == 1


@pytest.mark.parametrize(
    ("text", "words", "said"),
    [
        ("volume = 2", (), "cues.toml: volume: 2.0 must lie from 0 to 1"),
        ("words.zone = '{zon}'", (), "words.zone: no field is called 'zon'; known are: {zone}"),
        ("bell = false", ("--play", "take"), "all turned off; choose one by --with"),
        ("", ("--wav", "/none/x.wav", "take"), "/none/x.wav: cannot be written: No such file"),
    ],
)
def test_a_failure_is_one_line_and_ends_with_1(
    cli: Cli, text: str, words: tuple[str, ...], said: str
) -> None:
    cli.file.write_text(text)
    assert cli(*words, code=1) == ""
    assert said in cli.err
    assert cli.err.count("\n") == 1


def test_nothing_heavy_is_loaded_to_list_them(cli: Cli) -> None:
    code = (
        "import sys\n"
        "from gaugelink.cli import gaugelink\n"
        "gaugelink.main(['cues'], standalone_mode=False)\n"
        "heavy = {'numpy', 'sounddevice', 'pyttsx3', 'textual', 'pint'}\n"
        "sys.exit(', '.join(heavy & set(sys.modules)) or 0)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert (done.returncode, done.stderr) == (0, "")
