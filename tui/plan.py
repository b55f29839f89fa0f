"""What the app is opened with: the walk to start, and the hands of practice mode."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol


@dataclass(frozen=True, slots=True)
class Plan:
    """What is to be measured and with what; without a reed or a stage the rack is shown first."""

    reed: str = ""
    style: str = ""
    stage: str = ""
    gauge: str = ""
    """The gauge's name; empty for the one at the port, or for the first that the hub has."""
    port: str = ""
    """Where the indicator is; empty when the hub already has the gauge."""
    description: str = ""
    """The indicator's description; empty lets the hub recognise it."""
    trigger: Literal["press", "dwell"] = "press"
    bench: str = "bench"

    @property
    def ready(self) -> bool:
        """Whether a walk can be started without asking."""
        return bool(self.reed and self.style and self.stage)


class Practice(Protocol):
    """The simulated spindle and knife of practice mode."""

    async def place(self, station: str) -> None:
        """Lift the spindle and set it down at the station of that key."""
        ...

    async def lift(self) -> None:
        """Lift the spindle off the reed."""
        ...

    async def scrape(self, station: str, zone: str, strokes: int) -> None:
        """Scrape a zone on the blade of that station, so many strokes."""
        ...
