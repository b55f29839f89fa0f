"""The bench's sounds: what the hub says is offered to bell, tones and voice as it comes."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from typing import TYPE_CHECKING

from textual.worker import Worker, WorkerCancelled, WorkerFailed

from gaugelink.cues.settings import CueSettings
from gaugelink.cues.speaker import Speaker, speaking
from gaugelink.daemon import cueing
from gaugelink.daemon.cueing import Heard, Hearing
from gaugelink.daemon.messages import Event
from tui.plan import Plan

if TYPE_CHECKING:
    from tui.app import BenchApp


class Sound:
    """Lets one bench be heard, from `start` to the end of its app."""

    def __init__(
        self,
        plan: Plan,
        settings: CueSettings | None,
        trouble: Callable[[str], None],
        ring: Callable[[], None],
    ) -> None:
        """`trouble` is told in a sentence what cannot be heard; `ring` rings the bell."""
        self._settings = settings or CueSettings()
        self._hearing = Hearing(plan.bench, plan.gauge)
        self._trouble = trouble
        self._ring = ring
        self._speaker: Speaker | None = None
        self._turned = asyncio.Event()
        self._worker: Worker[None] | None = None
        self.muted = False

    def start(self, app: BenchApp) -> None:
        """Be heard until the app's work is cancelled."""
        self._worker = app.run_worker(self._run())

    async def ended(self) -> None:
        """Return once everything is let go of: what sounds is a process of its own."""
        if self._worker is not None:
            # Had it failed, that would have ended the app already.
            with contextlib.suppress(WorkerCancelled, WorkerFailed):
                await self._worker.wait()

    async def _run(self) -> None:
        while True:
            self._turned.clear()
            if self.muted:
                # Nothing is held meanwhile. Afterwards all is opened anew.
                await self._turned.wait()
            else:
                await self._speak()

    async def _speak(self) -> None:
        async with speaking(self._settings, self._trouble, self._ring) as self._speaker:
            try:
                await self._turned.wait()
            finally:
                self._speaker = None

    def mute(self) -> bool:
        """Turn all sounds off, also what sounds now, or on again; whether they are off."""
        self.muted = not self.muted
        self._turned.set()
        return self.muted

    def hear(self, event: Event) -> None:
        """The hub said something."""
        self._take(cueing.hear(self._hearing, event))

    def use(self, gauge: str) -> None:
        """Another gauge is the bench's own."""
        self._take(cueing.measured_with(self._hearing, gauge))

    def hub_lost(self) -> None:
        """The hub is away."""
        self._take(cueing.hub_lost(self._hearing))

    def hub_back(self) -> None:
        """The hub is there, for the first time or again."""
        self._take(cueing.hub_back(self._hearing))

    def _take(self, heard: Heard) -> None:
        # What is known goes on while it is muted: what was missed is not made up for afterwards.
        self._hearing, cues = heard
        if self._speaker is not None and not self.muted:
            for cue in cues:
                self._speaker.offer(cue)

    async def quiet(self) -> None:
        """Return once nothing sounds or waits."""
        if self._speaker is not None:
            await self._speaker.quiet()
