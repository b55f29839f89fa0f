"""The Textual app: what the hub says goes into the state, what the maker does goes to the hub.

Nothing that the first paint does not need is imported before it: the protocol's messages come
with the worker that connects to the hub, once the empty bench stands.
"""

from __future__ import annotations

import time
from collections.abc import Awaitable, Callable, Coroutine, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any, ClassVar

from textual.app import App
from textual.binding import BindingType
from textual.command import CommandPalette, Provider
from textual.events import Event as ScreenEvent
from textual.events import Key
from textual.screen import Screen

from tui.commands import BenchCommands
from tui.keys import ACTIONS, bindings, effective
from tui.look import WORKBENCH
from tui.pace import FRAME, Lapse, Pace
from tui.pages import Pages
from tui.pedals import Pedals
from tui.plan import Plan, Practice
from tui.screens.bench import BenchScreen
from tui.walking import Walking
from tui.widgets.reed_view import ReedView

if TYPE_CHECKING:
    from gaugelink.capture.pedals.setup import PedalSetup
    from gaugelink.cues.settings import CueSettings
    from gaugelink.daemon.client import Client
    from gaugelink.daemon.messages import Event, Request
    from tui.hands import Hands
    from tui.hub import HubLink
    from tui.sound import Sound
    from tui.state import BenchState, Notice

AFTER_PAINT = 0.01
"""Seconds from the first paint until the rest is loaded, so that neither holds up the other."""

QUIET_AFTER = 1.2
"""Seconds without a reading after which the readout says so: soon after captures are refused."""

ROOM = Path(__file__).parent
STYLES: list[str | PurePath] = [
    ROOM / "app.tcss",
    ROOM / "screens/bench.tcss",
    ROOM / "widgets/status.tcss",
    ROOM / "widgets/readout.tcss",
    ROOM / "widgets/zones.tcss",
    ROOM / "widgets/reed_view.tcss",
    ROOM / "widgets/keybar.tcss",
]


class BenchApp(App[None]):
    """The bench of one maker.

    `client_factory` is awaited after the first paint, and again whenever the hub went away.
    `keys` overrides the keys of actions (see `tui.keys`); KeysError says what is wrong with them.
    `cues` says what is heard; None stands for what is usual, the terminal's bell.
    `pedals` says which there are and what they mean; None stands for one that types a key.
    `on_safety_seen` is called when the words on safety were shown and left. `frame`, `quiet_after`
    and `look_every` are seconds; with 0 every event is painted at once, silence is never noticed,
    and the page of the gauges looks once at how they fare.
    """

    TITLE = "gaugelink"
    CSS_PATH: ClassVar[list[str | PurePath]] = STYLES
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(everywhere=True)]
    COMMANDS: ClassVar[set[type[Provider] | Callable[[], type[Provider]]]] = {BenchCommands}
    ENABLE_COMMAND_PALETTE = False

    def __init__(
        self,
        client_factory: Callable[[], Awaitable[Client]],
        plan: Plan,
        keys: Mapping[str, Sequence[str]] | None = None,
        practice: Practice | None = None,
        *,
        cues: CueSettings | None = None,
        pedals: PedalSetup | None = None,
        first_run: bool = False,
        on_safety_seen: Callable[[], None] | None = None,
        frame: float = FRAME,
        quiet_after: float = QUIET_AFTER,
        retry: float = 1.0,
        look_every: float = 1.0,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.key_names = effective(keys)
        super().__init__()
        self.register_theme(WORKBENCH)
        # Set before anything watches it: a change of theme reads and applies all styles anew.
        self.set_reactive(App.theme, WORKBENCH.name)
        self.stylesheet.set_variables(self.get_css_variables())
        self._own_keys = {name: ",".join(self.key_names[name]) for name in keys or {}}
        self._factory = client_factory
        self.plan = plan
        """What the bench is opened with, or was set to since."""
        self._practice = practice
        self._cues = cues
        self._first_run = first_run
        self._on_safety_seen = on_safety_seen
        self._pace = Pace(self, frame, self._paint)
        self._quiet = Lapse(self, quiet_after, self._hush)
        self._retry = retry
        self._bench = BenchScreen(self.key_names, practice is not None)
        self._hub: HubLink | None = None
        self.hands: Hands | None = None
        """The hands of practice; None at a real bench."""
        self._sound: Sound | None = None
        self.walking = Walking(self)
        """What the maker does with the walk."""
        self.pedals = Pedals(
            self, pedals, self.key_names, clock, self.say, partial(self.walking.press, "goto")
        )
        self.pages = Pages(self, frame, look_every, clock)
        """The pages beside the bench."""
        self.state: BenchState | None = None
        """What the bench shows; None until the protocol has been loaded, after the first paint."""

    # Opening -----------------------------------------------------------------------------------

    def get_default_screen(self) -> Screen[Any]:
        """The bench is the first thing painted."""
        return self._bench

    def on_mount(self) -> None:
        """Take on the maker's keys; all else waits for the first paint."""
        if self._own_keys:
            self.set_keymap(self._own_keys)

    def on_ready(self) -> None:
        """The empty bench is painted: the rest is loaded once that has reached the terminal."""
        self.set_timer(AFTER_PAINT, self._open)

    def _open(self) -> None:
        if self._first_run:
            self.pages.safety(self._on_safety_seen)
        self.work(self._attend())

    async def _attend(self) -> None:
        from tui.hub import HubLink
        from tui.sound import Sound
        from tui.state import BenchState

        # It may be said while the walk begins, which must not wipe it away.
        trouble = partial(self.trouble, lasting=True)
        self._sound = Sound(self.plan, self._cues, trouble, self.bell)
        self._sound.start(self)
        self.state = BenchState(bench=self.plan.bench, gauge=self.plan.gauge)
        self._paint()
        if self._practice is not None:
            from tui.hands import Hands

            self.hands = Hands(self._practice, self.trouble)
        self._hub = HubLink(self._factory, self._arrived, self.heard, self._lost, self._retry)
        self.pedals.start()
        await self._hub.run()

    async def on_unmount(self) -> None:
        """Pedals, and the process that sounds, must be gone before the bench is."""
        await self.pedals.ended()
        if self._sound is not None:
            await self._sound.ended()

    # What the hub says -------------------------------------------------------------------------

    async def _arrived(self, client: Client) -> None:
        from gaugelink.daemon.client import HubError

        self._ears.hub_back()
        self.become(replace(self.known, hub="here", hub_reason=""))
        try:
            self.plan = plan = replace(self.plan, gauge=await self._gauge(client))
        except HubError as error:
            # Without the gauge that was asked for, another must not be walked with in its place.
            self.trouble(str(error))
            return
        self.become(replace(self.known, gauge=plan.gauge))
        if plan.ready:
            await self.walking.start(plan)
        elif self.known.walk is None:
            await self.pages.choose()

    async def _gauge(self, client: Client) -> str:
        """The name of the gauge to walk with, connected if it was not."""
        from gaugelink.daemon.messages import AddGauge, Gauges

        plan = self.plan
        name = plan.gauge
        if plan.port:
            wanted = AddGauge(name=name, port=plan.port, description=plan.description)
            name = (await client.ask(wanted)).name
        for gauge in await client.ask(Gauges()):
            name = name or gauge.name
            self.heard(gauge)
        return name

    def heard(self, event: Event) -> None:
        """Take in what the hub says."""
        from tui.state import see, wants_placing

        before = self.known
        after = see(before, event)
        self._ears.hear(event)
        if before.gauge == self.plan.gauge != after.gauge:
            self.plan = replace(self.plan, gauge=after.gauge)
        self.become(after)
        self.pages.watch(after)
        self.pages.hear(event)
        # A watch begins, and a walk goes on after it, with the spindle placed anew.
        anew = before.watching != after.watching
        if self.hands is not None and (anew or wants_placing(event, after, self.hands.lifted)):
            self.work(self.hands.go())

    def _lost(self, reason: str) -> None:
        from tui.state import gone

        self._ears.hub_lost()
        self.become(gone(self.known, reason))

    @property
    def known(self) -> BenchState:
        """What the bench shows, once that stands."""
        assert self.state is not None, "nothing is heard before the state stands"
        return self.state

    @property
    def _ears(self) -> Sound:
        assert self._sound is not None, "nothing is heard before the state stands"
        return self._sound

    def become(self, state: BenchState) -> None:
        """Show that state from now on."""
        before = self.known
        self.state = state
        if state.reading is not before.reading:
            self._quiet.happened()
        if state.gauge != before.gauge:
            self._ears.use(state.gauge)
        if self.hands is not None and state.walk is not before.walk:
            stop = state.stop
            if self.hands.wants(stop.station if stop else None):
                self.work(self.hands.go())
        self._pace.touch()

    def _hush(self) -> None:
        from tui.state import hushed

        self.become(hushed(self.known))

    def _paint(self) -> None:
        self._bench.show(self.known)
        self.pages.show(self.known)

    # What the maker does -----------------------------------------------------------------------

    async def on_event(self, event: ScreenEvent) -> None:
        """A key that is a pedal's is nobody else's."""
        if not (isinstance(event, Key) and not event.is_forwarded and self.pedals.takes(event)):
            await super().on_event(event)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Practice actions exist only in practice, and bench actions only on the bench."""
        if action == "do" and parameters:
            wanted = next((each for each in ACTIONS if each.id == parameters[0]), None)
            if wanted is None or (wanted.practice and self._practice is None):
                return False
        return super().check_action(action, parameters)

    async def action_do(self, name: str) -> None:
        """Do the action of that name; the one door for keys, clicks and the palette."""
        match name:
            case "capture":
                self.work(self.walking.capture())
            case "pause":
                paused = self.state is not None and self.state.walk and self.state.walk.paused
                self.walking.press("resume" if paused else "pause")
            case "back" | "retake" | "skip" | "again":
                self.walking.press(name)
            case "next":
                self.walking.next()
            case "choose":
                self.run_worker(self.pages.choose(), exclusive=True, group="choose")
            case "scrape":
                self.work(self.walking.scrape(1))
            case "scrape_more":
                self.work(self.walking.scrape(5))
            case "lift":
                if self.hands is not None:
                    self.work(self.hands.lift())
            case "gauges":
                self.pages.gauges()
            case "advice":
                self.run_worker(self.pages.advice(), exclusive=True, group="advice")
            case "watch" | "water" | "dry":
                self.work(self.walking.ask_for(name))
            case "mute":
                self._mute()
            case "help":
                self.pages.help(self._practice is not None)
            case "palette":
                if not isinstance(self.screen, CommandPalette):
                    self.push_screen(CommandPalette(placeholder="What is to be done?"))
            case "quit":
                self.exit()

    def on_reed_view_chosen(self, message: ReedView.Chosen) -> None:
        """A station on the drawing was clicked."""
        self.walking.press("goto", message.station)

    def use(self, gauge: str) -> None:
        """Measure with that gauge from the next walk on, or at once when there is none."""
        from tui.gauged import measured_with

        if gauge != self.plan.gauge:
            # The hub has the gauge: it need not be told where it is.
            self.plan = replace(self.plan, gauge=gauge, port="", description="")
        self.become(measured_with(self.known, gauge))

    async def ask(self, request: Request) -> Any:
        """The hub's answer; HubError, with the line to be said, when there is none."""
        from gaugelink.daemon.client import HubError

        if self._hub is None:
            raise HubError("the hub is away: nothing done")
        return await self._hub.ask(request)

    async def asked(self, request: Request) -> Any:
        """The hub's answer; None, said aloud, when there is none."""
        from gaugelink.daemon.client import HubError

        try:
            return await self.ask(request)
        except HubError as error:
            self.trouble(str(error))
        return None

    def bell(self) -> None:
        """Ring the terminal's bell, unless it is turned off or all is muted."""
        muted = self.state is not None and self.state.muted
        if not muted and (self._cues is None or self._cues.bell):
            super().bell()

    def _mute(self) -> None:
        from tui.state import Notice

        if self.state is not None:
            muted = self._ears.mute()
            said = "all sounds are off" if muted else "sounds are on again"
            self.become(replace(self.known, muted=muted, notice=Notice("plain", said)))

    def trouble(self, text: str, lasting: bool = False) -> None:
        """Say what went wrong, and ring."""
        from tui.state import Notice

        self.say(Notice("trouble", text, lasting=lasting))

    def say(self, notice: Notice) -> None:
        """Say a line."""
        if notice.kind == "trouble":
            self.bell()
        if self.state is not None:
            self.become(replace(self.state, notice=notice))

    def work(self, work: Coroutine[Any, Any, Any]) -> None:
        """Do something without waiting for it."""
        self.run_worker(work, exit_on_error=True)
