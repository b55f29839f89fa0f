"""The pages beside the bench: each is loaded when it is first opened, and told what the hub says
for as long as it is open."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from gaugelink.daemon.messages import Event, Request
    from tui.app import BenchApp
    from tui.plan import Plan
    from tui.screens.page import LivePage
    from tui.state import BenchState

Result = TypeVar("Result")


class Pages:
    """Opens the pages, and is their way to the bench and to the hub.

    `frame` and `look_every` are seconds, as the bench has them. `clock` is seconds; only its
    differences count.
    """

    def __init__(
        self, app: BenchApp, frame: float, look_every: float, clock: Callable[[], float]
    ) -> None:
        self._app = app
        self._live: list[LivePage[Any]] = []
        self._told: dict[str, float] = {}
        self._safety_read = asyncio.Event()
        self._safety_read.set()
        self.frame = frame
        self.look_every = look_every
        self.clock = clock

    # Opening -----------------------------------------------------------------------------------

    def safety(self, seen: Callable[[], None] | None) -> None:
        """The words on safety; `seen` is called when they were left."""
        from tui.screens.safety import SafetyScreen

        def left(_: None) -> None:
            self._safety_read.set()
            if seen is not None:
                seen()

        self._safety_read.clear()
        self._app.push_screen(SafetyScreen(), left)

    def help(self, practising: bool) -> None:
        """The page of keys; when it is open, leave it."""
        from tui.screens.help import HelpScreen

        if isinstance(self._app.screen, HelpScreen):
            self._app.pop_screen()
        else:
            app = self._app
            app.push_screen(HelpScreen(app.key_names, practising, app.pedals.lines))

    async def choose(self, after: bool = False) -> None:
        """The rack; what is chosen there is started. With `after`, at the reed that follows."""
        from gaugelink.daemon.messages import Rack, Styles
        from tui.screens.choose import ChooseScreen

        await self._safety_read.wait()  # nothing covers those words
        app = self._app
        reeds, styles = await app.asked(Rack()), await app.asked(Styles())
        if reeds is None or styles is None:
            return
        if isinstance(app.screen, ChooseScreen):
            await app.pop_screen()

        def chosen(found: Plan | None) -> None:
            if found is not None:
                # The gauge may go by another name by now, or be another.
                wanted = replace(app.plan, reed=found.reed, style=found.style, stage=found.stage)
                app.work(app.walking.start(wanted))

        walk = app.state.walk if app.state is not None else None
        plan = app.plan
        if walk is not None and walk.complete and walk.after:
            plan = replace(plan, reed=walk.reed, stage=walk.after)
        page = ChooseScreen(plan, reeds, styles, after, app.pedals.hint)
        await app.push_screen(page, chosen)

    def gauges(self) -> None:
        """The page of the gauges, unless it is open."""
        from tui.screens.gauges import GaugesScreen

        if not any(isinstance(each, GaugesScreen) for each in self._live):
            self.open(GaugesScreen(self, self._app.key_names))

    async def advice(self) -> None:
        """What remains on the reed in hand, asked for anew; when the page is open, leave it."""
        from gaugelink.daemon.messages import Advise
        from tui.screens.advice import AdviceScreen
        from tui.state import NO_WALK

        app = self._app
        if isinstance(app.screen, AdviceScreen):
            app.screen.dismiss()
            return
        if app.state is None:
            return
        if app.state.walk is None:
            app.trouble(NO_WALK)
            return
        found = await app.asked(Advise(bench=app.plan.bench))
        if found is not None:
            app.heard(found)
            self.open(AdviceScreen(found))

    def watch(self, state: BenchState) -> None:
        """The page of the zone that is watched, unless it is open; it leaves by itself."""
        if not state.watching:
            return
        from tui.screens.watch import WatchScreen

        if not any(isinstance(each, WatchScreen) for each in self._live):
            self.open(WatchScreen(self, self._app.key_names))

    def open(
        self, page: LivePage[Result], left: Callable[[Result | None], None] | None = None
    ) -> None:
        """Open a page that follows the hub; `left` is called with what it gives back."""
        self._live.append(page)

        def over(result: Result | None) -> None:
            self._live.remove(page)
            if left is not None:
                left(result)

        self._app.push_screen(page, over)

    # What the open pages are told --------------------------------------------------------------

    def hear(self, event: Event) -> None:
        """The hub said something."""
        from gaugelink.daemon.messages import GaugeEvent

        if isinstance(event, GaugeEvent):
            self._told[event.name] = self.clock()
        for page in self._live:
            page.hear(event)

    def show(self, state: BenchState) -> None:
        """The bench has changed."""
        for page in self._live:
            page.show(state)

    # What the open pages ask for ---------------------------------------------------------------

    @property
    def state(self) -> BenchState | None:
        """What the bench shows."""
        return self._app.state

    def since_told(self, gauge: str) -> float:
        """Seconds since the hub last told of a gauge; 0 when it never did."""
        return self.clock() - self._told[gauge] if gauge in self._told else 0.0

    async def ask(self, request: Request) -> Any:
        """The hub's answer; HubError, with the line to be said, when there is none."""
        return await self._app.ask(request)

    def send(self, request: Request) -> None:
        """Ask for it, whether or not the page is still open; a trouble is said at the bench."""
        self._app.work(self._app.asked(request))

    def told(self, event: Event) -> None:
        """Take in what the hub has answered, as if it had said it."""
        self._app.heard(event)

    def use(self, gauge: str) -> None:
        """Make a gauge this bench's own."""
        self._app.use(gauge)
