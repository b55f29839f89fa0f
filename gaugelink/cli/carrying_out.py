"""Carrying out a series: each step is asked for, its reading taken and kept, until all are there.

Shared by `prove` and `study run`.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from gaugelink.cli import common
from gaugelink.cli.taking import Taker, Trigger

if TYPE_CHECKING:
    from gaugelink.daemon import messages as m
    from gaugelink.daemon.client import Client
    from gaugelink.metrology.plans import Plan, Step

NEAR = 30
"""Hundredths from a standard within which a reading may be of it: beyond, the spindle is in the
air, or was not zeroed; common practice, no source."""

SURE = 2
"""Hundredths within which a reading is of the standard asked for, whichever else is near."""

THINNEST, THICKEST = 3, 150
"""Hundredths between which a settled reading is cane; above, the spindle is lifted. As in a style's
walk."""


async def carry_out(
    client: Client, series: m.Series, gauge: str, trigger: Trigger, as_json: bool
) -> bool:
    """Ask for what is missing of a series, and keep it; whether all of it is there then.

    With lines, the end of the input leaves it as it stands.
    """
    from gaugelink.daemon import messages as m

    carrier = Carrier(client, series, gauge, trigger, as_json)
    if carrier.done:
        return True
    await client.ask(m.Follow(gauges=[gauge]))
    heard: asyncio.Queue[m.Event | str | None] = asyncio.Queue()
    works = [_hear(client, heard), carrier.work(heard)]
    if trigger == "lines":
        works.append(_read_lines(heard))
    carrier.ask()
    await common.first(*works)
    return carrier.done


async def _hear(client: Client, heard: asyncio.Queue[m.Event | str | None]) -> None:
    async for event in client.events():
        heard.put_nowait(event)
    heard.put_nowait(None)
    await asyncio.Event().wait()


async def _read_lines(heard: asyncio.Queue[m.Event | str | None]) -> None:
    from gaugelink.cli.walk import lines_of_stdin

    lines = lines_of_stdin()
    while await lines.get() is not None:
        heard.put_nowait("line")
    heard.put_nowait("end of input")
    await asyncio.Event().wait()


class Carrier:
    """Where a series stands, and what is told of it."""

    def __init__(
        self, client: Client, series: m.Series, gauge: str, trigger: Trigger, as_json: bool
    ) -> None:
        import msgspec

        from gaugelink.metrology.plans import Plan, steps

        self._client = client
        self._series = series
        self._gauge = gauge
        self._plan: Plan = msgspec.json.decode(series.plan, type=Plan)
        self._steps = steps(self._plan)
        self._made = series.made
        self._json = as_json
        self._taker = Taker(trigger)
        self._doubt = _doubt_of(self._plan)
        self._down = ""

    @property
    def done(self) -> bool:
        """Whether every reading is there."""
        return self._made == len(self._steps)

    def ask(self) -> None:
        """Say what is to be measured now."""
        if not self.done and not self._json:
            asked = words_of(self._plan, self._steps[self._made])
            common.say(f"next ({self._made + 1} of {len(self._steps)}): {asked}")

    async def work(self, heard: asyncio.Queue[m.Event | str | None]) -> None:
        """Take what comes until all is there, or the input has ended."""
        from gaugelink.daemon import messages as m
        from gaugelink.reading import GaugelinkError

        while not self.done:
            match await heard.get():
                case None:
                    raise GaugelinkError("the hub ended; start again: what was taken is on disk")
                case "end of input":
                    return
                case "line":
                    taken = self._taker.press(time.monotonic(), self._doubts())
                    if isinstance(taken, str):
                        self._refuse(taken)
                    else:
                        await self._keep(taken)
                case m.ReadingEvent() as event if event.gauge == self._gauge:
                    await self._hear(event)
                case m.GaugeEvent() as event if event.name == self._gauge:
                    self._link(event.link, event.reason)
                case m.GaugeGone() as event if event.name == self._gauge:
                    self._gauge = event.renamed
                    if event.renamed:
                        continue
                    raise GaugelinkError(f"gauge {event.name!r} was let go of: connect it again")

    async def _hear(self, event: m.ReadingEvent) -> None:
        found = self._taker.hear(event, time.monotonic(), self._doubts(), self._same_place())
        if isinstance(found, str):
            # A lifted spindle, however still, needs no word.
            if event.pushed or event.hundredths <= THICKEST:
                self._refuse(found)
        elif found is not None:
            await self._keep(found)

    def _doubts(self) -> Callable[[m.ReadingEvent], str]:
        step = self._steps[self._made]
        return lambda event: self._doubt(step, event)

    def _same_place(self) -> bool:
        """Whether the next step lifts at the place of the last one, without moving the reed."""
        from gaugelink.metrology.study import Placed

        step = self._steps[self._made]
        return isinstance(step, Placed) and step.lift > 1

    async def _keep(self, taken: m.ReadingEvent) -> None:
        from gaugelink.daemon import messages as m

        assert taken.settled is not None
        step, number = self._steps[self._made], self._made
        await self._client.ask(
            m.AddToSeries(
                series=self._series.series,
                number=number,
                hundredths=taken.settled,
                resolution=taken.resolution,
                unit=taken.unit,
                value=taken.value,
            )
        )
        self._made += 1
        if self._json:
            line = {
                "is": "taken",
                "series": self._series.series,
                "number": number,
                "of": len(self._steps),
                "step": step,
                "hundredths": taken.settled,
            }
            common.say(common.json_line(line))
        else:
            common.say(f"  {taken.settled:f}")
        self.ask()

    def _refuse(self, why: str) -> None:
        line = {"is": "refused", "series": self._series.series, "text": why}
        common.say(common.json_line(line) if self._json else f"  not taken: {why}")

    def _link(self, state: str, reason: str) -> None:
        if state != "up":
            self._taker.lost()
        if state == "down" and reason != self._down:
            common.say(f"gaugelink: {reason}", err=True)
        self._down = reason if state == "down" else self._down


def words_of(plan: Plan, step: Step) -> str:
    """What to do at a step, in words."""
    from gaugelink.metrology.plans import ProofPlan
    from gaugelink.metrology.standards import Touch, Zero
    from gaugelink.metrology.study import Trial

    if isinstance(step, Zero):
        return "the bare tongue, to see the zero"
    if isinstance(step, Touch):
        assert isinstance(plan, ProofPlan)
        thick = plan.standards[step.standard].nominal / 100
        return f"the {thick.normalize():f} mm standard, going {step.direction}, {_nth(step.repeat)}"
    if isinstance(step, Trial):
        return f"{step.person} measures {step.station}, {_nth(step.trial)}"
    if step.lift == 1:
        return f"place {step.station} anew, {_nth(step.placing)}"
    return f"lift, and set down at {step.station} again without moving the reed"


def _nth(number: int) -> str:
    return f"round {number}"


def _doubt_of(plan: Plan) -> Callable[[Step, m.ReadingEvent], str]:
    """What makes a settled reading unlikely to be of the step that is asked for."""
    from gaugelink.metrology.plans import ProofPlan
    from gaugelink.metrology.standards import Touch

    def cane(step: Step, event: m.ReadingEvent) -> str:
        value = event.settled
        if value is not None and THINNEST <= value <= THICKEST:
            return ""
        return f"{value} is no thickness of cane: is the spindle down?"

    if not isinstance(plan, ProofPlan):
        return cane
    nominals = [0, *(float(each.nominal) for each in plan.standards)]

    def standard(step: Step, event: m.ReadingEvent) -> str:
        value = float(event.settled if event.settled is not None else event.hundredths)
        wanted = nominals[step.standard + 1] if isinstance(step, Touch) else 0
        off = abs(value - wanted)
        if off > NEAR:
            return f"{value:g} is far from {wanted:g}: is the spindle down, was it zeroed?"
        nearest = min(nominals, key=lambda each: abs(value - each))
        if off > SURE and nearest != wanted:
            return f"{value:g} is nearer to {nearest:g} than to {wanted:g}: is it the right one?"
        return ""

    return standard
