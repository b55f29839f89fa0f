"""A store to test with: clocks that are moved by hand, and captures of an invented reed."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import msgspec

from gaugelink.craft.verdict import LEAVE
from gaugelink.store.records import NewCapture
from gaugelink.store.store import Store

NOON = datetime(2031, 5, 4, 12, tzinfo=UTC)
"""The moment at which an invented clock stood at 1000 seconds."""

CAPTURE = NewCapture(
    walk=1,
    in_pass=1,
    station="crossed/53/+0",
    zone="heart",
    hundredths=Decimal("43.5"),
    resolution=Decimal("0.1"),
    target=Decimal(43),
    tolerance=Decimal(1),
    verdict=LEAVE,
    gauge="left",
    unit="mm",
    value="0.435",
    contact=1,
    at=1000.0,
)


class Clock:
    """Both clocks of a machine, that go on only when told to."""

    def __init__(self) -> None:
        self.seconds = 1000.0
        self.slept = timedelta()

    def utc(self) -> datetime:
        """The wall clock, which goes on while the machine sleeps."""
        return NOON + timedelta(seconds=self.seconds - 1000) + self.slept

    def monotonic(self) -> float:
        """Seconds; this one stands still while the machine sleeps."""
        return self.seconds


def open_store(path: Path, clock: Clock | None = None, **more: Any) -> Store:
    """The store at `path`, by the clock given or one that stands still."""
    clock = clock or Clock()
    return Store.open(path, now_utc=clock.utc, monotonic=clock.monotonic, version="1.2.3", **more)


def begin_walk(store: Store, reed: str = "amber 1", state: bytes = b"{}", **more: str) -> int:
    """A walk of a reed, which is added when it is not there."""
    if reed not in {each.name for each in store.reeds(all=True)}:
        store.add_reed(reed, "long")
    words = {"bench": "bench", "stage": "windows", "gauge": "left", "trigger": "press", **more}
    return store.start_walk(reed=reed, style="long", state=state, **words)


def capture(walk: int, **changed: Any) -> NewCapture:
    """The sample capture in that walk, with what is changed."""
    return msgspec.structs.replace(CAPTURE, walk=walk, **changed)


def files_in(folder: Path) -> set[str]:
    """The names of the files in a folder."""
    return {entry.name for entry in folder.iterdir()}
