"""What the commands that open the screen say of pedals and triggers that cannot be."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from gaugelink.capture.pedals.mapping import ONE_PEDAL, TWO_PEDALS, PedalsError
from gaugelink.capture.pedals.setup import InputAt
from gaugelink.cli.bench import read_pedals
from gaugelink.folders import folders


def run(home: Path, *words: str) -> tuple[int, str]:
    command = [sys.executable, "-m", "gaugelink", "--home", str(home), *words]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60)
    return done.returncode, done.stderr


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[[pedals.pedal]]\nname = "a"\nwalk = { short = "jump" }', "pedals.pedal[0].walk.short"),
        ("[[inputs]]", "unknown field `inputs`"),
        ("[[input", "Expected ']]' at the end of an array declaration"),
    ],
)
def test_a_wrong_file_is_told_before_the_screen_opens(tmp_path: Path, text: str, said: str) -> None:
    file = folders(tmp_path).pedals
    file.parent.mkdir(parents=True)
    file.write_text(text)
    code, err = run(tmp_path, "bench")
    assert code == 1
    assert err.startswith(f"gaugelink: {file}: ")
    assert said in err
    assert err.count("\n") == 1


def test_the_file_lies_beside_the_keys_and_need_not_be_there(tmp_path: Path) -> None:
    file = folders(tmp_path).pedals
    assert file == tmp_path / "config" / "pedals.toml"
    assert read_pedals(file) is None
    file.parent.mkdir()
    file.write_text('[[input]]\ndevice = "Foot Switch"\n')
    found = read_pedals(file)
    assert found is not None
    assert (found.mapping, found.input) == (ONE_PEDAL, (InputAt("Foot Switch"),))
    file.write_bytes(b"\xff")
    with pytest.raises(PedalsError, match="cannot be read"):
        read_pedals(file)


def test_the_two_pedals_can_be_written_in_a_file(tmp_path: Path) -> None:
    file = tmp_path / "pedals.toml"
    file.write_text("""
[[pedals.pedal]]
name = "left"
codes = ["pageup", "left", "up", "dsr"]
walk = { short = "back", long = "pause" }
lists = { short = "previous", double = "leave" }

[[pedals.pedal]]
name = "right"
codes = ["pagedown", "right", "down", "space", "enter", "cts"]
walk = { short = "capture" }
lists = { short = "next", double = "choose" }

[pedals.together]
walk = "skip"
""")
    found = read_pedals(file)
    assert found is not None
    assert found.mapping == TWO_PEDALS


def test_a_simulated_maker_presses_and_does_not_dwell(tmp_path: Path) -> None:
    code, err = run(tmp_path, "practice", "--trigger", "dwell", "--headless")
    assert code == 2
    assert "headless, the maker presses" in err
