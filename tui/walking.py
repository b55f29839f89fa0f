"""What the maker does with the walk and the reed: asked of the hub, or said why not."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from tui.app import BenchApp
    from tui.plan import Plan

Gesture = Literal["capture", "retake", "skip", "back", "pause", "resume", "goto", "again"]


class Walking:
    """Moves the walk of one bench, and begins the next."""

    def __init__(self, app: BenchApp) -> None:
        self._app = app

    def press(self, gesture: Gesture, station: str = "") -> None:
        """Have the walk take a gesture, without waiting for it."""
        self._app.work(self._gesture(gesture, station))

    async def _gesture(self, gesture: Gesture, station: str = "") -> Any:
        from gaugelink.daemon.messages import Press
        from tui.state import NO_WALK

        app = self._app
        if app.state is None or (app.known.walk is None and app.known.hub == "here"):
            app.trouble(NO_WALK)
            return None
        return await app.asked(Press(gesture=gesture, bench=app.plan.bench, station=station))

    async def capture(self) -> None:
        """Take the reading here; at the end of a stage, begin the one that follows."""
        from gaugelink.daemon.messages import Refused
        from tui.state import night

        app = self._app
        complete = app.state is not None and app.state.walk and app.state.walk.complete
        answer = await self._gesture("capture")
        # The hub has the last word: a bouncing pedal is "too soon" and must not begin a stage.
        if complete and isinstance(answer, Refused) and answer.why == "done":
            walk = app.known.walk
            if (rest := night(app.known)) is not None:
                app.say(rest)
            else:
                self.next()
            if rest is not None or (walk is not None and not walk.after):
                # This reed is done with for today: the pedal alone must reach the next one.
                await app.pages.choose(after=True)

    async def ask_for(self, action: str) -> None:
        """Ask the hub for what an action of `tui.asks` means now, or say why not."""
        from tui.asks import ASKS
        from tui.state import Notice

        app = self._app
        if app.state is None:
            return
        wanted = ASKS[action](app.state)
        if isinstance(wanted, Notice):
            app.say(wanted)
        else:
            await app.asked(wanted)

    def next(self) -> None:
        """Begin the stage that follows, or say why not."""
        from tui.state import why_not_next

        app = self._app
        walk = app.state.walk if app.state else None
        why = why_not_next(walk)
        if why is not None:
            app.say(why)
        elif walk is not None:
            plan = replace(app.plan, reed=walk.reed, style=walk.style, stage=walk.after)
            app.work(self.start(plan))

    async def start(self, plan: Plan) -> None:
        """Have the hub begin that walk, or go on with it."""
        from gaugelink.daemon.messages import StartWalk

        app = self._app
        wanted = StartWalk(
            reed=plan.reed,
            style=plan.style,
            stage=plan.stage,
            gauge=plan.gauge,
            trigger=plan.trigger,
            bench=plan.bench,
        )
        walk = await app.asked(wanted)
        if walk is not None:
            app.plan = replace(plan, gauge=app.plan.gauge)  # renamed meanwhile, perhaps
            app.heard(walk)

    async def scrape(self, strokes: int) -> None:
        """Scrape the zone in hand, in practice."""
        from tui.state import scraped

        app = self._app
        stop = app.state.stop if app.state else None
        if stop is None:
            app.trouble("no station in hand: nothing scraped")
        elif app.hands is not None and await app.hands.scrape(stop.station, stop.zone, strokes):
            app.become(scraped(app.known, stop, strokes))
