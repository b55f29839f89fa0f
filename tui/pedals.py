"""The pedals of the bench: every press of theirs to a gesture, and that to what the maker does.

The keys that are pedals are read here too, so that a foot switch which types one goes the same way
as one that is read directly. At the bench a pedal captures and moves the walk; on a page it moves
on, chooses and leaves.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Protocol, cast, runtime_checkable

from textual.events import Key
from textual.screen import Screen

from tui.keys import is_key, shown

if TYPE_CHECKING:
    from textual.worker import Worker

    from gaugelink.capture.gestures import Meant
    from gaugelink.capture.pedals.board import PedalBoard
    from gaugelink.capture.pedals.mapping import Action, Context, ListAction, Pedal
    from gaugelink.capture.pedals.setup import PedalSetup
    from gaugelink.capture.pedals.source import SourceState
    from gaugelink.daemon.messages import WalkEvent
    from tui.app import BenchApp
    from tui.state import Notice

OF_A_LIST = {"space", "enter", "left", "right", "up", "down"}
"""Keys that capture at the bench, and mean something of their own on every page: no pedal's, unless
the maker's file says so."""

SAME_AS = {"next": "down", "previous": "up", "choose": "enter", "leave": "escape"}
"""The keys that do the same on every page."""

SHORTLY = {"next": "on", "previous": "back", "choose": "choose", "leave": "leave"}


@runtime_checkable
class Driven(Protocol):
    """A page that a pedal moves in a way of its own."""

    def driven(self, action: ListAction) -> None:
        """Do what a pedal asks of it."""
        ...


@runtime_checkable
class Keeps(Protocol):
    """A page on which some keys are not the pedals'."""

    def keeps(self, key: str) -> bool:
        """Whether the key now means something of the page's own."""
        ...


class Pedals:
    """Listens to the pedals for as long as `run` runs.

    `setup` is what the maker's file says; None is one pedal, which types a key that captures.
    `keys` are the keys of every action. `clock` is the monotonic clock that events are dated by.
    `say` puts a line on the bench; `go_to` takes the walk to a station.
    """

    def __init__(
        self,
        app: BenchApp,
        setup: PedalSetup | None,
        keys: Mapping[str, Sequence[str]],
        clock: Callable[[], float],
        say: Callable[[Notice], None],
        go_to: Callable[[str], None],
    ) -> None:
        self._app = app
        self._setup = setup
        self._keys = keys
        self._clock = clock
        self._say = say
        self._go_to = go_to
        self._board: PedalBoard | None = None
        self._context: Context = "walk"
        self._states: dict[str, SourceState] = {}
        self.running: Worker[Any] | None = None
        """What listens; None before it does."""

    def start(self) -> None:
        """Listen from now on, until the app ends."""
        self.running = self._app.run_worker(self._run())

    async def ended(self) -> None:
        """Wait until every pedal has been let go of."""
        from textual.worker import WorkerCancelled, WorkerFailed

        if self.running is not None:
            # It was cancelled with all work; had it failed, that has ended the bench.
            with contextlib.suppress(WorkerCancelled, WorkerFailed):
                await self.running.wait()

    async def _run(self) -> None:
        from gaugelink.capture.gestures import Gestures
        from gaugelink.capture.pedals.board import PedalBoard
        from gaugelink.capture.pedals.setup import PedalSetup

        if self._setup is None:
            self._setup = PedalSetup()
        gestures = Gestures(self._setup.mapping)
        self._board = PedalBoard(gestures, self._does, self._told, self._clock)
        self._app.screen_change_signal.subscribe(self._app, self._turn, immediate=True)
        self._turn(self._app.screen)
        try:
            await self._board.run(self._setup.sources())
        finally:
            self._board = None

    def _turn(self, screen: Screen[Any]) -> None:
        """Another page lies in front."""
        context: Context = "walk" if screen is self._app.screen_stack[0] else "lists"
        if self._board is not None and context != self._context:
            self._context = context
            self._board.turn_to(context)

    @property
    def listening(self) -> bool:
        """Whether presses are heard by now."""
        return self._board is not None

    # Keys --------------------------------------------------------------------------------------

    def takes(self, key: Key) -> bool:
        """Whether a key is a pedal's; what it means is then done, now or when it can be told."""
        from textual.widgets import Input

        screen = self._app.screen
        if self._board is None or isinstance(screen.focused, Input):
            return False
        code = next((name for name in _names(key) if self._pedal_of(name)), "")
        if not code or (isinstance(screen, Keeps) and screen.keeps(code)):
            return False
        from gaugelink.capture.pedals.event import PedalEvent
        from gaugelink.capture.pedals.setup import TERMINAL

        # Dated when it was typed: a screen that was busy would else take two presses for one.
        self._board.feed(PedalEvent(TERMINAL, code, True, key.time, has_release=False))
        return True

    def _pedal_of(self, key: str) -> Pedal | None:
        """The pedal that types a key, None when that is nobody's."""
        from gaugelink.capture.pedals.setup import TERMINAL

        assert self._setup is not None
        pedal = self._setup.mapping.find(TERMINAL, key)
        # One that names no key is whatever is pressed, elsewhere; here the other keys have a say.
        return pedal if pedal is None or pedal.codes or key in self._usual() else None

    def _usual(self) -> list[str]:
        """The keys that are a pedal's when the maker has named none."""
        return [key for key in self._keys["capture"] if len(key) > 1 and key not in OF_A_LIST]

    # What is meant -----------------------------------------------------------------------------

    def _does(self, meant: Meant) -> None:
        if self._context == "walk":
            self._at_walk(meant.action)
        else:
            self._on_page(meant.action)

    def _at_walk(self, action: Action) -> None:
        state = self._app.state
        if action == "next-zone":
            # With no zone to come the walk says aloud that it has no such station.
            walk = state.walk if state is not None else None
            self._go_to(next_zone(walk) or "next zone")
        elif action == "capture" and state is not None and state.hub == "here" and not state.walk:
            self._app.work(self._app.pages.choose())
        else:
            self._app.work(self._app.action_do(action))

    def _on_page(self, action: Action) -> None:
        screen = self._app.screen
        if isinstance(screen, Driven):
            screen.driven(cast("ListAction", action))
            return
        found = screen.active_bindings.get(SAME_AS[action])
        if found is not None and found.enabled:
            self._app.work(self._app.run_action(found.binding.action, found.node))

    # What is said ------------------------------------------------------------------------------

    def _told(self, state: SourceState) -> None:
        """Say once that a pedal is away, and that it is back; it is looked for all the while."""
        from tui.state import Notice

        before = self._states.get(state.source)
        self._states[state.source] = state
        if not state.is_up and (before is None or before.is_up):
            self._say(Notice("trouble", f"PEDAL AWAY · {state.reason}", lasting=True))
        elif state.is_up and before is not None and not before.is_up:
            self._say(Notice("plain", f"the pedal is there: {state.source}"))

    @property
    def lines(self) -> list[str]:
        """Every press that means something, and every pedal that is away, in words for the help."""
        from gaugelink.capture.pedals.mapping import describe
        from gaugelink.capture.pedals.setup import PedalSetup

        setup = self._setup or PedalSetup()
        found = [f"{', '.join(keys)}: the {name}" for name, keys in self._typed(setup).items()]
        found += describe(setup.mapping, has_release=bool(setup.names))
        states = self._states.values()
        away = [f"away, looked for: {each.reason}" for each in states if not each.is_up]
        return found + list(dict.fromkeys(away))

    def _typed(self, setup: PedalSetup) -> dict[str, list[str]]:
        """The keys of the terminal that are pedals, by what the pedal is called."""
        found = {}
        for pedal in setup.mapping.pedal:
            codes = [code.removeprefix("keys/") for code in pedal.codes] or self._usual()
            keys = [shown(code) for code in codes if is_key(code)]
            if keys:
                found[called(pedal.name)] = keys
        return found

    @property
    def hint(self) -> str:
        """What the pedals do on a page, on a line."""
        from gaugelink.capture.pedals.setup import PedalSetup

        setup = self._setup or PedalSetup()
        parts = []
        for pedal in setup.mapping.pedal:
            meaning = pedal.lists
            held = meaning.long if setup.names else None
            presses = (("", meaning.short), ("twice ", meaning.double), ("held ", held))
            does = [f"{press}{SHORTLY[action]}" for press, action in presses if action is not None]
            if does:
                parts.append(f"{called(pedal.name)}: {', '.join(does)}")
        return " · ".join(parts)


def _names(key: Key) -> list[str]:
    """What a key may be called in a file."""
    typed = [key.character] if key.character is not None and key.is_printable else []
    return [key.key, *typed]


def called(name: str) -> str:
    """What a pedal is called in a sentence: `left pedal`, and `pedal` for one that is called so."""
    return name if name.endswith("pedal") else f"{name} pedal"


def next_zone(walk: WalkEvent | None) -> str:
    """The key of the first station to be measured in the next zone, "" when none is left.

    As the walk itself reads it: see `gaugelink.capture.pedals.asking`.
    """
    if walk is None or walk.at_stop is None:
        return ""
    here = walk.stops[walk.at_stop]
    for stop in (*walk.stops[walk.at_stop + 1 :], *walk.stops[: walk.at_stop]):
        if not stop.queued or stop.skipped or stop.in_pass == walk.in_pass:
            continue
        if (stop.zone, _blade(stop.station)) != (here.zone, _blade(here.station)):
            return stop.station
    return ""


def _blade(station: str) -> str:
    return station.partition("/")[0]
