"""The page of a watched zone, and the water in the status line, as pictures."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import msgspec
import pytest

from gaugelink.craft.verdict import LEAVE
from gaugelink.daemon.messages import Event, SoakReminder, Water, ZoneAlert
from tests.tui.bench import make
from tests.tui.test_snapshots import MIDWAY, SETTLED, SOFAR, Still, feed
from tests.tui.test_watching import WATCHING, watched
from tui import scene
from tui.scene import SceneClient

SIZES = pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["small", "large"])
WET = msgspec.structs.replace(WATCHING, water=Water("out", "wet", 4))

STATES: dict[str, Sequence[Event]] = {
    "begun": [WATCHING, watched(), scene.reading("52", "settled", 0.6)],
    "falling": [
        WET,
        watched(52, 51, 49, 48, 46, 46, tendency="falling", per_minute=-2.1),
        scene.reading("46", "settled", 0.6),
    ],
    "on_target": [
        WET,
        watched(44, 42, 41, 41, tendency="steady", per_minute=-0.3, alert="windows: on target"),
        ZoneAlert("bench", scene.REED, "windows", "windows", LEAVE),
        scene.reading("1240", "moving"),
    ],
    "link_down": [
        WATCHING,
        watched(44, 42),
        scene.gauge("down", "/dev/ttyUSB0 is gone: plug the cable in", 2.0),
    ],
}


@SIZES
@pytest.mark.parametrize("state", STATES)
def test_watching(state: str, size: tuple[int, int], snap_compare: Callable[..., bool]) -> None:
    client = SceneClient()
    run_before = feed(client, STATES[state])
    assert snap_compare(make([client]), terminal_size=size, run_before=run_before)


def test_watching_in_practice(snap_compare: Callable[..., bool]) -> None:
    client = SceneClient()
    run_before = feed(client, STATES["falling"])
    app = make([client], practice=Still())
    assert snap_compare(app, terminal_size=(80, 24), run_before=run_before)


def test_watching_without_colour(
    snap_compare: Callable[..., bool], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    client = SceneClient()
    run_before = feed(client, STATES["on_target"])
    assert snap_compare(make([client]), terminal_size=(80, 24), run_before=run_before)


@SIZES
def test_out_of_the_water(size: tuple[int, int], snap_compare: Callable[..., bool]) -> None:
    client = SceneClient()
    out: Any = msgspec.structs.replace(MIDWAY, water=Water("out", "wet", 5))
    run_before = feed(client, [out, *SOFAR, SETTLED, SoakReminder("bench", scene.REED, 5)])
    assert snap_compare(make([client]), terminal_size=size, run_before=run_before)
