"""A store that holds measured reeds before the hub opens it; the reeds are invented."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from gaugelink.craft.style import Stop, find
from gaugelink.craft.verdict import verdict
from gaugelink.store.records import NewCapture
from gaugelink.store.store import Store

STYLE = "millrace-long"
TENTH = Decimal("0.1")


class Days:
    """A clock of the store's that the test moves."""

    def __init__(self) -> None:
        self.now = datetime.now(UTC) - timedelta(days=3)

    def utc(self) -> datetime:
        return self.now

    def monotonic(self) -> float:
        return (self.now - datetime(2020, 1, 1, tzinfo=UTC)).total_seconds()

    def open(self, path: Path) -> Store:
        """The store, by this clock."""
        return Store.open(path, now_utc=self.utc, monotonic=self.monotonic)


def measure(
    store: Store,
    days: Days,
    reed: str,
    stage: str,
    off: Callable[[Stop], float] = lambda stop: 0.0,
    **more: Any,
) -> None:
    """Walk a stage with every station so many hundredths off its target."""
    style = find(STYLE)
    if reed not in {each.name for each in store.reeds(all=True)}:
        store.add_reed(reed, STYLE, batch="autumn")
    walk = store.start_walk(
        bench="b", reed=reed, style=STYLE, stage=stage, gauge="g", trigger="press", state=b"{}"
    )
    for stop in style.stops(stage):
        days.now += timedelta(seconds=5)
        hundredths = stop.target + Decimal(str(off(stop)))
        store.add_capture(
            NewCapture(
                walk=walk,
                in_pass=1,
                station=stop.station.key,
                zone=stop.zone,
                hundredths=hundredths,
                resolution=TENTH,
                target=stop.target,
                tolerance=stop.tolerance,
                verdict=verdict(hundredths, stop.target, stop.tolerance, TENTH),
                gauge="g",
                unit="mm",
                value="",
                contact=1,
                at=days.monotonic(),
                **more,
            ),
            b"{}",
        )
