"""A walk without a screen, heard: as its user runs it, over a real pseudo-terminal."""

from __future__ import annotations

import contextlib
import json
import os
import pty
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from gaugelink.cues.tones import length, score
from gaugelink.daemon.cueing import Hearing, hear
from gaugelink.daemon.messages import Captured, message_decoder
from tests.cli.test_commands import Cli, Indicator
from tests.cues.sounds import card, seconds
from tests.devices.pty_port import PtyPort


@pytest.fixture
def port() -> Iterator[str]:
    """The port of an indicator that measures 43 and 38, three under the target, in turn."""
    with PtyPort() as port:
        sending = Indicator(port, (43, 38))
        sending.start()
        yield port.path
        sending.end()


@pytest.fixture
def cli(tmp_path: Path) -> Cli:
    return Cli(tmp_path / "home")


def walk(port: str, *more: str) -> tuple[str, ...]:
    return (
        *("walk", "--port", port, "--description", "signed-decimal-unit-cr"),
        *("--style", "quick", "--stage", "w", "--reed", "R1", "--trigger", "dwell", *more),
    )


def wants(cli: Cli, toml: str) -> None:
    """The user's choice of what is heard."""
    (cli.home / "config" / "cues.toml").write_text(toml)


def test_without_a_sound_card_a_walk_says_so_once_and_goes_on_capturing(
    cli: Cli, port: str, own_folders: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (own_folders / "alsa").write_text("pcm.none { type empty }")
    monkeypatch.setenv("ALSA_CONFIG_PATH", str(own_folders / "alsa"))
    wants(cli, "tones = true")
    *lines, summary = cli.lines(*walk(port, "--json"))
    assert [line["is"] for line in lines if line["is"] != "refused"] == [
        *("captured", "captured", "advice")
    ]
    assert summary["done"]
    (said,) = [line for line in cli.err.splitlines() if "tones" in line]
    assert said.startswith("gaugelink: tones: there is no sound card to play on (")
    assert said.endswith("; connect one and start again, or turn tones off")
    assert "bell" not in cli.err


def test_a_walk_with_tones_ends_with_those_of_its_last_capture(
    cli: Cli, port: str, own_folders: Path, tmp_path: Path
) -> None:
    card(own_folders, tmp_path / "heard.wav")
    wants(cli, "tones = true")
    lines = cli(*walk(port, "--json")).splitlines()
    captured = [
        found for line in lines[:-1] if isinstance(found := message_decoder.decode(line), Captured)
    ]
    (last,) = hear(Hearing("walk"), captured[-1])[1]
    wanted = length(score(last))
    # The file holds what was played last. The card may go on for what is left of its last block.
    assert wanted <= seconds(tmp_path / "heard.wav") < wanted + 0.2
    assert "tones" not in cli.err


def test_a_wrong_file_of_cues_is_named_with_the_path_inside(cli: Cli, port: str) -> None:
    wants(cli, "volume = 3.0")
    cli(*walk(port), code=1)
    assert f"{cli.home / 'config' / 'cues.toml'}: volume: 3.0 must lie from 0 to 1" in cli.err
    cli("bench", code=1)
    assert "cues.toml: volume" in cli.err


def test_in_a_pipe_no_bell_is_rung(cli: Cli, port: str) -> None:
    wants(cli, 'rings = ["take", "leave", "over"]')
    assert "\a" not in cli(*walk(port))
    assert "\a" not in cli.err


def test_at_a_terminal_the_bell_rings_for_what_the_user_chose(cli: Cli, port: str) -> None:
    wants(cli, 'rings = ["over"]')
    ours, theirs = pty.openpty()
    with subprocess.Popen(
        cli.command(*walk(port)), stdin=subprocess.DEVNULL, stdout=theirs, stderr=subprocess.PIPE
    ) as process:
        os.close(theirs)
        shown = b""
        # On Linux it is at its end once nobody holds the other side any more.
        with contextlib.suppress(OSError):
            while part := os.read(ours, 4096):
                shown += part
        os.close(ours)
        assert process.wait(20) == 0
    assert shown.count(b"  over 2\r\n") == shown.count(b"\a") == 1


def test_headless_practice_is_silent(
    cli: Cli, own_folders: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (own_folders / "alsa").write_text("pcm.none { type empty }")
    monkeypatch.setenv("ALSA_CONFIG_PATH", str(own_folders / "alsa"))
    wants(cli, "tones = true")
    practice = ("practice", "--headless", "--style", "quick", "--stage", "w", "--json")
    *_, summary = map(json.loads, cli(*practice).splitlines())
    assert summary["is"] == "summary"
    assert cli.err == ""
