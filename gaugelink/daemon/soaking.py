"""The soaking of the reeds at the benches: in the water or out of it, and the reminder to dip.

What is known is kept by bench and reed for as long as the hub runs: a reed that is laid aside for
another goes on drying. Only the reed in hand at a bench is told of.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable

import msgspec

from gaugelink.craft import soaking
from gaugelink.craft.rules import Soaking
from gaugelink.craft.soaking import Bath
from gaugelink.daemon.messages import Water, Where

Sleep = Callable[[float], Awaitable[None]]
"""Waits for so many seconds of the hub's clock."""


class Soaked(msgspec.Struct, frozen=True):
    """What is known of a reed."""

    bath: Bath = Bath()
    dry: bool = False
    """The maker says that it is measured dry."""


def moved(known: Soaked, to: Where, now: float, rule: Soaking) -> Soaked:
    """The reed after the maker has said where it goes; seconds of one clock.

    One that comes out of the water, but was never said to go in, is out from now on, and whether it
    is wet is not known. `dry` holds until it next goes in or comes out.
    """
    bath = known.bath
    match to:
        case "in":
            return Soaked(soaking.dip(bath, now, rule))
        case "out":
            if bath.where == "unknown":
                bath = soaking.dip(bath, now, rule)
            return Soaked(soaking.lift(bath, now, rule))
        case "dry":
            return Soaked(dry=True)


def water(known: Soaked, now: float, rule: Soaking) -> Water:
    """How it stands now, as followers are told of it."""
    bath = known.bath
    if known.dry:
        return Water(wet="dry")
    if bath.where == "unknown":
        return Water()
    condition = soaking.condition(bath, now, rule)
    return Water(bath.where, condition, int((now - bath.since) // 60))


def next_change(known: Soaked, now: float, rule: Soaking) -> float | None:
    """Seconds until there may be something else to tell of it; None while time changes nothing."""
    bath = known.bath
    if bath.where == "unknown":
        return None
    gone = now - bath.since
    minutes = [gone // 60 + 1, rule.soak, rule.remind, rule.wet_for]
    return min(60 * each for each in minutes if 60 * each > gone) - gone


class Basin:
    """All that is known of the reeds' soaking."""

    def __init__(
        self, tasks: asyncio.TaskGroup, clock: Callable[[], float], sleep: Sleep = asyncio.sleep
    ) -> None:
        self.tasks, self.clock, self.sleep = tasks, clock, sleep
        self.known: dict[tuple[str, str], Soaked] = {}
        """By bench and reed."""

    def at(self, bench: str, reed: str, rule: Soaking) -> ReedInHand:
        """The soaking of the reed that is taken in hand at a bench."""
        return ReedInHand(self, (bench, reed), rule)


class ReedInHand:
    """Follows the soaking of one reed from `begin` to `end`."""

    def __init__(self, basin: Basin, key: tuple[str, str], rule: Soaking) -> None:
        self._basin = basin
        self._key = key
        self._rule = rule
        self._told = self.water
        self._changed: Callable[[], None] = lambda: None
        self._remind: Callable[[int], None] = lambda minutes: None
        self._task: asyncio.Task[None] | None = None

    @property
    def water(self) -> Water:
        """How it stands now."""
        return water(self._known, self._basin.clock(), self._rule)

    @property
    def _known(self) -> Soaked:
        return self._basin.known.get(self._key, Soaked())

    def begin(self, changed: Callable[[], None], remind: Callable[[int], None]) -> None:
        """From now on `changed` is called when `water` has changed by itself.

        `remind` is called once for each time out of the water, when it has lasted for the style's
        time, with the whole minutes that it has.
        """
        self._changed, self._remind = changed, remind
        self._follow()

    def go(self, to: Where) -> None:
        """The maker says where it goes now; `changed` is not called for it."""
        now = self._basin.clock()
        self._basin.known[self._key] = moved(self._known, to, now, self._rule)
        self._told = self.water
        self._follow()

    async def end(self) -> None:
        """It is laid aside."""
        if self._task is not None:
            self._task.cancel()
            await asyncio.wait([self._task])
            self._task = None

    def _follow(self) -> None:
        if self._task is not None:
            self._task.cancel()
        self._task = self._basin.tasks.create_task(self._look_again_and_again())

    async def _look_again_and_again(self) -> None:
        while True:
            self._look()
            wait = next_change(self._known, self._basin.clock(), self._rule)
            if wait is None:
                return
            await self._basin.sleep(wait)

    def _look(self) -> None:
        known = self._known
        bath, reminder = soaking.remind(known.bath, self._basin.clock(), self._rule)
        if (water := self.water) != self._told:
            self._told = water
            self._changed()
        if reminder is not None:
            self._basin.known[self._key] = msgspec.structs.replace(known, bath=bath)
            self._remind(int(reminder.out_for // 60))
