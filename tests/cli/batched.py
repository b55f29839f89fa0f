"""A store with an invented batch in it, each reed measured at a few places of the windows."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

import msgspec

from gaugelink.craft.verdict import verdict
from gaugelink.store.records import NewCapture
from gaugelink.store.store import Store

PLACES = ("crossed/53/-0.5", "crossed/53/+0.5")
STEP = Decimal("0.1")


class Kept:
    """Writes captures as a walk does, with what the test wants of them."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self._walks: dict[tuple[str, str], int] = {}

    def capture(
        self,
        reed: str,
        value: float,
        station: str = PLACES[0],
        stage: str = "windows",
        in_pass: int = 1,
        target: int = 45,
        **more: Any,
    ) -> None:
        if reed not in {each.name for each in self.store.reeds(all=True)}:
            self.store.add_reed(reed, "millrace-long", batch=more.pop("batch", "autumn"))
        key = (reed, stage)
        if key not in self._walks:
            self._walks[key] = self.store.start_walk(
                bench="b",
                reed=reed,
                style="millrace-long",
                stage=stage,
                gauge="left",
                trigger="press",
                state=b"{}",
            )
        new = NewCapture(
            walk=self._walks[key],
            in_pass=in_pass,
            station=station,
            zone="windows",
            hundredths=Decimal(str(value)),
            resolution=STEP,
            target=Decimal(target),
            tolerance=Decimal(1),
            verdict=verdict(Decimal(str(value)), Decimal(target), Decimal(1), STEP),
            gauge="left",
            unit="mm",
            value=str(value),
            contact=1,
            at=0.0,
        )
        self.store.add_capture(msgspec.structs.replace(new, **more), b"{}")


def keep(home: Path, values: Sequence[float], **more: Any) -> None:
    """A batch with these values at its first place, reed by reed: R01, R02, …"""
    with Store.open(home / "data" / "gaugelink.db") as store:
        kept = Kept(store)
        for number, value in enumerate(values, 1):
            kept.capture(f"R{number:02}", value, **more)
