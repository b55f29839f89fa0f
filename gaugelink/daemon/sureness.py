"""How sure a verdict is, at the moment of its capture, where the gauge was proved or studied."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from typing import TYPE_CHECKING

from gaugelink.capture.walk import Take
from gaugelink.daemon.keeper import Keeper
from gaugelink.daemon.trust import standard_uncertainty_of

if TYPE_CHECKING:
    from gaugelink.metrology.trust import Trust


class Sureness:
    """What the readings of one walk say, place by place; nothing where nothing is known.

    Readings of the same pass are of the same thickness, for nothing is scraped between them: each
    retake makes the mean of its place surer. Those of an earlier run are not counted.
    """

    def __init__(self, known: Trust | None) -> None:
        self._known = known
        self._readings: dict[tuple[int, str], list[Decimal]] = defaultdict(list)

    def of(self, take: Take) -> str:
        """How far the verdict of what was just captured can be trusted, in a few words."""
        if self._known is None:
            return ""
        from gaugelink.metrology.trust import judge_place, say_judged

        stop = take.stop
        readings = self._readings[take.in_pass, stop.station.key]
        readings.append(take.hundredths)
        judged = judge_place(readings, stop.target, stop.tolerance, take.resolution, self._known)
        return say_judged(judged, take.verdict.word)


async def sureness(keeper: Keeper, gauge: str, resolution: Decimal) -> Sureness:
    """By what was proved and studied of a gauge until now; `resolution` is what it showed last."""
    if not any(await keeper.run(keeper.store.series.newest, gauge)):
        # Most gauges were never proved: their walks do not wait for the analysis to be loaded.
        return Sureness(None)
    # This loads it, while nobody waits with a wet reed in the hand, rather than the first press.
    return Sureness(await keeper.run(standard_uncertainty_of, keeper.store, gauge, resolution))
