"""What the maker hears at the bench: the bell counted, tones on a card that is a file."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import msgspec
import pytest
from textual.widgets import OptionList

from gaugelink.cues.settings import CueSettings
from gaugelink.cues.tones import length, score
from gaugelink.daemon import messages as m
from gaugelink.daemon.client import HubError
from gaugelink.daemon.cueing import Hearing, hear
from tests.cues.sounds import card, seconds
from tests.tui.bench import Bench, bench
from tui import scene
from tui.scene import SceneClient
from tui.screens.help import HelpScreen
from tui.widgets.keybar import Notice
from tui.widgets.status import Header

WALK = scene.walk(1)
OVER = scene.captured(scene.walk(1, offsets=(-2,)), 0)
REFUSED = m.Refused("bench", "moving", "not settled yet: hold still and press again")
ALERT = m.ZoneAlert("bench", scene.REED, "windows", "windows")
SOAK = m.SoakReminder("bench", scene.REED, 20)
TONES = CueSettings(tones=True)


@pytest.fixture
def no_card(own_folders: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine without a sound card, whatever this one has: ALSA knows none that can be opened."""
    (own_folders / "alsa").write_text("pcm.none { type empty }")
    monkeypatch.setenv("ALSA_CONFIG_PATH", str(own_folders / "alsa"))


def other(link: str) -> m.GaugeEvent:
    return msgspec.structs.replace(scene.gauge(), name="window", link=link)


@pytest.mark.parametrize(
    ("events", "rings"),
    [
        ([scene.captured(WALK, 0)], 0),
        ([OVER], 1),
        ([WALK], 0),
        ([REFUSED], 1),
        ([m.Refused("bench", "nowhere", "this is the first station")], 1),
        ([m.Refused("bench", "too soon", "second press: not taken")], 0),
        ([m.Refused("window", "moving", "not settled yet")], 0),
        ([ALERT], 1),
        ([msgspec.structs.replace(ALERT, bench="window")], 0),
        ([scene.gauge("down", "unplugged")], 1),
        ([scene.gauge("down"), scene.gauge("opening"), scene.gauge("down"), scene.gauge()], 1),
        ([m.GaugeGone(scene.GAUGE)], 1),
        ([m.GaugeGone(scene.GAUGE, renamed="big")], 0),
        ([other("up"), other("down"), m.GaugeGone("window")], 0),
        ([SOAK], 0),
    ],
)
async def test_the_bell_rings_once_for_what_the_maker_has_to_look_up_for(
    events: list[m.Event], rings: int
) -> None:
    async with bench() as at:
        for event in events:
            await at.hear(event)
        assert at.app.rung == rings


async def test_a_press_that_is_refused_rings_once_though_it_is_answered_and_told() -> None:
    client = SceneClient({m.Press: REFUSED})
    async with bench(client) as at:
        await at.press("space")
        await at.hear(REFUSED)
        assert at.presses == [("capture", "")]
        assert at.app.rung == 1


async def test_the_maker_chooses_what_rings() -> None:
    async with bench(cues=CueSettings(rings=("take", "soak"))) as at:
        await at.hear(scene.captured(WALK, 0))
        await at.hear(SOAK)
        await at.hear(REFUSED)
        assert at.app.rung == 2


async def test_without_the_bell_nothing_rings_it() -> None:
    async with bench(
        SceneClient({m.Press: HubError("no walk at this bench")}), cues=CueSettings(bell=False)
    ) as at:
        await at.hear(REFUSED)
        await at.press("k")
        assert "no walk at this bench" in at.text(Notice)
        assert at.app.rung == 0


async def test_mute_turns_all_off_says_so_and_turns_it_on_again() -> None:
    client = SceneClient({m.Press: HubError("no walk at this bench")})
    async with bench(client, retry=60) as at:
        await at.press("m")
        assert "sounds off" in at.text(Header)
        assert at.text(Notice) == "all sounds are off"
        await at.hear(REFUSED, ALERT, scene.gauge("down", "unplugged"))
        await at.press("k")
        client.leave()
        await at.until(lambda: at.app.state is not None and at.app.state.hub == "gone")
        assert at.app.rung == 0
        await at.press("m")
        assert "sounds" not in at.text(Header)
        assert at.text(Notice) == "sounds are on again"
        assert at.app.rung == 0, "what was missed is not made up for"
        await at.press("k")
        assert at.app.rung == 1


async def test_after_mute_the_cues_are_heard_again() -> None:
    async with bench() as at:
        await at.press("m", "m")
        await at.hear(REFUSED)
        assert at.app.rung == 1


async def test_mute_is_in_the_help_and_the_palette() -> None:
    async with bench() as at:
        await at.press("f1")
        assert isinstance(at.app.screen, HelpScreen)
        await at.press("f1")
        await at.pilot.press("ctrl+p", *"turn all sounds")
        options = at.app.screen.query_one(OptionList)
        await at.until(lambda: options.option_count > 0)
        await at.press("enter")
        await at.until(lambda: at.app.state is not None and at.app.state.muted)


@pytest.mark.usefixtures("no_card")
async def test_without_a_card_the_bench_says_so_once_and_rings_on() -> None:
    async with bench(cues=TONES) as at:
        await at.until(lambda: "no sound card" in at.text(Notice))
        assert at.text(Notice).startswith("tones: there is no sound card to play on (")
        rung = at.app.rung
        assert rung == 1
        await at.hear(scene.walk(2, stage="windows"))
        assert "no sound card" in at.text(Notice), "a walk that begins does not wipe it away"
        await at.hear(REFUSED)
        assert "NOT TAKEN" in at.text(Notice)
        await at.hear(OVER)
        assert "no sound card" not in at.text(Notice)
        assert at.app.rung == rung + 2


async def opened(at: Bench) -> None:
    sound = at.app._sound
    assert sound is not None
    assert sound._speaker is not None
    await sound._speaker.opened()


async def test_a_capture_is_played_as_its_tones(own_folders: Path, tmp_path: Path) -> None:
    card(own_folders, tmp_path / "heard.wav")
    capture = scene.captured(WALK, 0)
    async with bench(cues=TONES) as at:
        await opened(at)
        await at.hear(capture)
        assert at.app.rung == 0
    (said,) = hear(Hearing("bench"), capture)[1]
    # The card may go on for what is left of its last block.
    wanted = length(score(said))
    assert wanted <= seconds(tmp_path / "heard.wav") < wanted + 0.2


def helpers() -> list[str]:
    """The processes that play for this one."""
    tasks = Path("/proc/self/task").glob("*/children")
    return [child for task in tasks for child in task.read_text().split()]


async def test_mute_cuts_off_what_sounds(own_folders: Path, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "stuck")
    # A card on which whatever is played never ends: a pipe that nobody reads.
    card(own_folders, tmp_path / "stuck")
    async with bench(cues=TONES) as at:
        await opened(at)
        at.client.say(scene.captured(WALK, 0))
        await at.client.heard()
        assert helpers()
        await at.press("m")
        await at.until(lambda: not helpers())
        await at.hear(OVER)
        assert not helpers()
        await at.press("m")
        await opened(at)
        assert helpers()
    assert not helpers(), "and none outlives the bench"


PAINTED = """
import sys
from gaugelink.cli.bench import command
from tests.benchmarks.first_paint import bench
bench().run(headless=True)
print(*sys.modules)
"""

VERSION = """
import sys
from gaugelink.cli import main
sys.argv = ["gaugelink", "--version"]
try:
    main()
except SystemExit:
    pass
print(*sys.modules)
"""


@pytest.mark.parametrize("code", [PAINTED, VERSION], ids=["first paint", "version"])
def test_no_sound_is_loaded_before_it_is_needed(code: str) -> None:
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.splitlines()[-1].split())
    assert "gaugelink.cli" in loaded
    late = {"sounddevice", "pyttsx3", "numpy", "gaugelink.cues", "tui.sound"}
    assert not late & loaded


def test_the_bench_never_loads_a_sound_library() -> None:
    """They live in processes of their own."""
    code = "import sys, tui.sound; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    assert "gaugelink.cues.speaker" in loaded
    assert not {"sounddevice", "pyttsx3", "numpy"} & loaded
