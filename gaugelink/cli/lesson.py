"""Lessons in practice: a simulated maker works through one, or what was done on the screen counts.

The maker does what the craft advises: measures a pass, scrapes what is to be taken, measures again;
or crows, and clips what is planned.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from datetime import UTC, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from gaugelink.cli import common
from gaugelink.cli.walk import Report
from gaugelink.craft import scoring
from gaugelink.craft.advice import advise
from gaugelink.craft.clipping import Crowed, goal_of_day, learn_slope, plan
from gaugelink.craft.lessons import Lesson
from gaugelink.craft.strokes import Pass, assumed, learn, strokes

if TYPE_CHECKING:
    from gaugelink.cli.simulation import Simulation
    from gaugelink.craft.style import Style
    from gaugelink.daemon.messages import Event, WalkEvent
    from gaugelink.folders import Folders

PASSES = 6
"""More often than this the simulated maker does not measure a stage."""

MOST_CROWS = 60

UNCERTAINTY = 0.3
"""Hundredths: how far two values of the simulated indicator repeat."""


class Run:
    """What happens in a lesson, as it happens."""

    def __init__(self, lesson: Lesson, style: Style) -> None:
        self.lesson = lesson
        self.style = style
        self.events: list[scoring.Event] = []

    def score(self) -> scoring.Score:
        """What it is worth so far."""
        stage = self.style.stage(self.lesson.stage)
        history = scoring.History(
            tuple(self.style.stops(stage.name)),
            goal_of_day(self.style.clipping, stage.day),
            tuple(self.events),
            self.style.balancing,
        )
        return scoring.score(self.lesson, history)

    def summary(self) -> dict[str, Any]:
        """For the last JSON line."""
        return {"lesson": self.lesson.name, "score": self.score()}

    def tell(self) -> None:
        """Print the score in words."""
        first, *rest = self.score().lines
        for line in (f"{self.lesson.title}: {first}", *rest):
            common.say(line)


class LessonReport(Report):
    """The walk's report, which also keeps what was captured."""

    def __init__(self, walk: WalkEvent, as_json: bool, run: Run) -> None:
        super().__init__(walk, as_json)
        self.taken: dict[str, scoring.Captured] = {}
        self._run = run

    def event(self, event: Event) -> None:
        """Keep a capture, and print what concerns the walk."""
        from gaugelink.daemon import messages as m

        if isinstance(event, m.Captured):
            captured = scoring.Captured(event.station, event.hundredths, event.resolution)
            self.taken[event.station] = captured
            self._run.events.append(captured)
        super().event(event)


async def scrape_lesson(
    run: Run,
    simulation: Simulation,
    report: LessonReport,
    measure: Callable[[], Awaitable[None]],
) -> None:
    """Let the simulated maker measure and scrape until nothing is advised; `measure` does a pass.

    Only what is on the reed is scraped: each place by itself, after a pass over all of them.
    """
    style, stops = run.style, run.style.stops(run.lesson.stage)
    passes: list[Pass] = []
    await measure()
    for _ in range(PASSES - 1):
        before = dict(report.taken)
        found = advise(stops, before, UNCERTAINTY, style.risk, style.scraping)
        rates = learn(passes, style.scraping)
        lower = {stop.station.key: stop.target - stop.tolerance for stop in stops}
        done: dict[str, tuple[str, int]] = {}
        for step in found.steps:
            for each in step.stations:
                key = each.station.key
                rate = rates.get(each.zone) or assumed(each.zone, style.scraping)
                room = float(before[key].hundredths - lower[key]) if each.take else 0.0
                how = strokes(rate, each.take, room, style.risk.under)
                if count := min(how.likely, how.safe):
                    await simulation.scrape(key, "", count)
                    run.events.append(scoring.Scraped(key, "", count))
                    done[key] = (each.zone, count)
        if not done:
            return
        await measure()
        for key, (zone, count) in done.items():
            gone = float(before[key].hundredths - report.taken[key].hundredths)
            passes.append(Pass(zone, count, gone))


async def clip_lesson(run: Run, simulation: Simulation, as_json: bool) -> None:
    """Let the simulated maker crow and clip until the plan says to leave it, and sum up."""
    style = run.style
    rule, goal = style.clipping, goal_of_day(style.clipping, style.stage(run.lesson.stage).day)
    slope = learn_slope([], rule)
    points: list[Crowed] = []
    while len(points) < MOST_CROWS:
        cents, length = await simulation.crow()
        points.append(Crowed(Decimal(str(length)), Decimal(str(cents))))
        run.events.append(points[-1])
        found = plan(points, goal, slope, rule, style.shortest, style.risk.past)
        if as_json:
            common.say(
                common.json_line(
                    {"is": "crowed", "length": length, "cents": cents, "plan": found.text}
                )
            )
        else:
            common.say(f"  {found.text}")
        if found.step is not None:
            await simulation.clip(float(found.step))
            run.events.append(scoring.Clipped(found.step))
        elif found.why != "again":
            break
    if as_json:
        summary = {"is": "summary", "style": style.name, "stage": run.lesson.stage}
        common.say(common.json_line({**summary, "crows": len(points), **run.summary()}))
    else:
        run.tell()


class Watched:
    """The simulated spindle and knife of the screen, of which every scrape is noted."""

    def __init__(self, simulation: Simulation) -> None:
        self._simulation = simulation
        self._scraped: list[tuple[str, scoring.Scraped]] = []

    async def place(self, station: str) -> None:
        """Lift the spindle and set it down at a station."""
        await self._simulation.place(station)

    async def lift(self) -> None:
        """Lift the spindle off the reed."""
        await self._simulation.lift()

    async def scrape(self, station: str, zone: str, strokes: int) -> None:
        """Scrape a zone on the blade and side of a station, and note it."""
        from gaugelink.store.store import utc_text

        await self._simulation.scrape(station, zone, strokes)
        at = utc_text(datetime.now(UTC))
        self._scraped.append((at, scoring.Scraped(station, zone, strokes)))

    def into(self, run: Run, folders: Folders) -> None:
        """Add what was captured and scraped to a run, in the order in which it happened."""
        from gaugelink.store.store import Store

        with Store.open(folders.store) as store:
            captured = [
                (each.taken_at, scoring.Captured(each.station, each.hundredths, each.resolution))
                for each in store.captures()
            ]
        timed: list[tuple[str, scoring.Event]] = [*captured, *self._scraped]
        run.events += [event for _, event in sorted(timed, key=lambda each: each[0])]
