"""Advice that comes by itself, whenever a pass of a walk is done, and how far its values count."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable, Sequence
from decimal import Decimal

from gaugelink.capture.walk import WalkState
from gaugelink.craft.style import Style
from gaugelink.daemon import advising
from gaugelink.daemon import messages as m
from gaugelink.daemon.keeper import Keeper
from gaugelink.daemon.trust import standard_uncertainty_of
from gaugelink.reading import GaugelinkError
from gaugelink.store.records import CaptureRecord
from gaugelink.store.store import Store

log = logging.getLogger(__name__)

ASSUMED = "assumed until the gauge is studied on a reed"


class Advisor:
    """Watches the walks at a hub's benches."""

    def __init__(
        self,
        keeper: Keeper,
        tasks: asyncio.TaskGroup,
        style_of: Callable[[str], Style],
        tell: Callable[[m.Event], None],
    ) -> None:
        self._keeper = keeper
        self._tasks = tasks
        self._style_of = style_of
        self._tell = tell
        self._told: dict[str, tuple[str, str, list[m.StopView]]] = {}
        """What was last advised on at each bench."""

    def hear(self, event: m.WalkEvent, state: WalkState) -> None:
        """Tell an advice when this walk's pass is done, once for the same values."""
        about = event.reed, event.stage, event.stops
        if event.at_stop is not None or not state.taken or self._told.get(event.bench) == about:
            return
        self._told[event.bench] = about
        self._tasks.create_task(self._advise_by_itself(event.bench, event.gauge, state))

    async def _advise_by_itself(self, bench: str, gauge: str, state: WalkState) -> None:
        try:
            self._tell(await self.advise(bench, gauge, state))
        except GaugelinkError as error:
            # Whoever wants one can ask, and is told why there is none.
            log.warning("no advice on %s: %s", state.reed, error)
        except Exception:
            # The hub goes on, whatever a walk has come to.
            log.exception("the advice on %r failed", state.reed)

    async def advise(
        self, bench: str, gauge: str, state: WalkState, uncertainty: float | None = None
    ) -> m.Advice:
        """What remains by the values of the walk at a bench; raises what `advising.advice` does."""
        style = self._style_of(state.style)
        resolution = max((each.resolution for each in state.taken.values()), default=Decimal(1))
        spread, source = await self._keeper.run(
            uncertainty_of, self._keeper.store, gauge, resolution, uncertainty
        )
        # Some milliseconds, in which the next press must not wait.
        return await asyncio.to_thread(
            advising.advice, state.reed, style, state.stage, state.taken, (spread, source), bench
        )


async def trust_in(
    keeper: Keeper, captures: Sequence[CaptureRecord], given: float | None = None
) -> advising.Trust:
    """How far one of these captures counts, by the gauge that was used last."""
    gauge = captures[-1].gauge if captures else ""
    resolution = max((each.resolution for each in captures), default=Decimal(1))
    return await keeper.run(uncertainty_of, keeper.store, gauge, resolution, given)


def uncertainty_of(
    store: Store, gauge: str, resolution: Decimal, given: float | None = None
) -> advising.Trust:
    """The standard uncertainty of one captured value in hundredths, and where it comes from.

    What is given; else what a study of the gauge has found. A proof on gauge blocks says nothing of
    how a wet blade is placed, so without a study it is `UNCERTAINTY` at least. In the store's
    thread.
    """
    if given is not None:
        return given, "given"
    known = standard_uncertainty_of(store, gauge, resolution)
    if "study" in known.source:
        return known.standard, f"by the {known.source} of {gauge}"
    return max(advising.UNCERTAINTY, known.standard), ASSUMED
