"""What stands in the maker's file of pedals, and what is said of a wrong one."""

from __future__ import annotations

import subprocess
import sys
import tomllib

import pytest

from gaugelink.capture.pedals.control_line import ControlLine
from gaugelink.capture.pedals.input_device import InputDevice
from gaugelink.capture.pedals.mapping import ONE_PEDAL, AtWalk, InLists, Pedal, PedalsError
from gaugelink.capture.pedals.setup import InputAt, LineAt, PedalSetup, setup

FILE = """
[[input]]
device = "Foot Switch"

[[input]]
device = "/dev/input/by-id/other"
name = "other foot"

[[line]]
port = "/dev/ttyUSB1"
line = "dsr"
rest = "high"

[pedals]
hold = 1.5

[[pedals.pedal]]
name = "right"
codes = ["pagedown", "dsr"]
walk = { short = "capture", long = "skip" }
lists = { short = "next", double = "choose" }
"""


def read(text: str) -> PedalSetup:
    return setup(tomllib.loads(text), "pedals.toml")


def test_a_file_says_what_the_pedals_mean_and_where_they_are() -> None:
    found = read(FILE)
    assert found.mapping.hold == 1.5
    assert found.mapping.pedal == (
        Pedal(
            "right",
            ("pagedown", "dsr"),
            AtWalk("capture", "skip"),
            InLists("next", double="choose"),
        ),
    )
    assert found.input == (
        InputAt("Foot Switch"),
        InputAt("/dev/input/by-id/other", "other foot"),
    )
    assert found.line == (LineAt("/dev/ttyUSB1", "dsr", rest="high"),)


def test_every_device_becomes_a_source_of_its_own_name() -> None:
    sources = read(FILE).sources()
    assert [type(each) for each in sources] == [InputDevice, InputDevice, ControlLine]
    names = ["Foot Switch", "other foot", "/dev/ttyUSB1 dsr"]
    assert [each.name for each in sources] == names == read(FILE).names


def test_without_a_word_on_pedals_whatever_is_pressed_is_the_one() -> None:
    assert read("").mapping == ONE_PEDAL
    assert read('[[input]]\ndevice = "Foot Switch"').mapping == ONE_PEDAL


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[[inputs]]", "unknown field `inputs`; expected input, line or pedals"),
        ("[[input]]", "missing required field `device` - at `input[0]`"),
        ('[[input]]\ndevice = " "', "input[0].device: expected where it is, not ' '"),
        ('[[line]]\nport = ""', "line[0].port: expected where it is, not ''"),
        ('[[line]]\nport = "p"\nline = "rts"', "Invalid enum value 'rts' - at `line[0].line`"),
        ('[[input]]\ndevice = "keys"', "'keys': expected a name of its own for each device"),
        ('[[input]]\ndevice = "a"\n' * 2, "'a': expected a name of its own for each device"),
        ('[[pedals.pedal]]\nname = "a"\nwalk = { short = "jump" }', "pedals.pedal[0].walk.short"),
        ("[pedals]\npedal = []", "pedals.pedal: expected at least one pedal"),
    ],
)
def test_a_wrong_file_is_told_with_the_path_inside_it(text: str, said: str) -> None:
    with pytest.raises(PedalsError) as error:
        read(text)
    assert str(error.value).startswith("pedals.toml: ")
    assert said in str(error.value)
    assert "\n" not in str(error.value)


def test_reading_the_file_loads_no_library_of_devices() -> None:
    code = (
        "import sys\n"
        "from gaugelink.capture.pedals.setup import setup\n"
        "setup({'input': [{'device': 'a'}], 'line': [{'port': 'b'}]}, 'f').sources()\n"
        "print(sorted({'evdev', 'serial', 'asyncio'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert done.stdout.strip() == "['asyncio']", done.stderr
