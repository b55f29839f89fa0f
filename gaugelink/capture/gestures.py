"""Presses and releases to what they mean, as a pure function of the events and their times.

A press counts the moment the pedal goes down wherever its pedal means nothing else; else as soon
as it can be told from a hold, a double press, or two pedals together. Contacts bounce: a pedal
counts as up only once it has stayed up, so that a burst of any length is one press.

A source that tells of no releases, such as a terminal, repeats a key that is held: after 0.2 to 0.7
seconds at first, then many times a second. There a hold cannot be told in time from a short press,
so it is one; a second press that soon waits for an instant, until no third has shown that the key
is held. The first press and any later one count at once all the same.

Time comes in with the events. Between them `deadline` says when `due` has something to say.
"""

from __future__ import annotations

from typing import Literal, Protocol

import msgspec

from gaugelink.capture.pedals.event import PedalEvent
from gaugelink.capture.pedals.mapping import Action, Context, Kind, Mapping, Meaning, Pedal, waits

FIRST_REPEAT = 0.75
"""Seconds within which a key that is held is repeated for the first time; systems take from 0.2 to
0.7 (from memory)."""

NEXT_REPEAT = 0.12
"""Seconds within which every further repeat comes: systems repeat 10 to 40 times a second (from
memory), and no foot presses twice as soon."""


class Meant(msgspec.Struct, frozen=True):
    """What the maker wants done."""

    action: Action
    pedal: str
    """The pedal's name in the mapping; of two together, the one that was pressed last."""
    kind: Kind
    at: float
    """Seconds, monotonic: when the pedal went down for it, or had been held long enough."""


Told = tuple[Kind, float]
"""What one switch's edges amount to, and when."""


class _Switch(Protocol):
    """The state of one code of one source."""

    pedal: Pedal

    def edge(self, is_down: bool, at: float) -> list[Told]:
        """It went down or up; all that was due before has been expired."""
        ...

    def deadline(self) -> float | None:
        """When `expire` has something to do."""
        ...

    def expire(self) -> list[Told]:
        """The deadline has come."""
        ...

    def turn(self, meaning: Meaning) -> None:
        """Mean something else from now on; what is under way means nothing any more."""
        ...


class Gestures:
    """Follows the events of all pedals and says what the maker means by them."""

    def __init__(self, mapping: Mapping, context: Context = "walk") -> None:
        self._mapping = mapping
        self._context = context
        self._switches: dict[tuple[str, str, bool], _Switch] = {}
        self._now = float("-inf")

    @property
    def context(self) -> Context:
        """Whether presses are read as at a walk or as in a list."""
        return self._context

    def turn_to(self, context: Context) -> None:
        """Read presses as at a walk, or as in a list, from now on.

        A pedal that is down now has meant what it meant: its release does nothing in the other.
        """
        self._context = context
        for switch in self._switches.values():
            switch.turn(self._mapping.meaning(switch.pedal, context))

    def forget(self, source: str) -> None:
        """The source was lost: what its pedals were about is given up, and none of them is down."""
        for key in [key for key in self._switches if key[0] == source]:
            del self._switches[key]

    def feed(self, event: PedalEvent) -> list[Meant]:
        """What the event means, after all that has become due before it. Unknown codes are naught.

        Events of two sources may come a little out of order: none counts as earlier than the last.
        """
        found = self.due(event.at)
        pedal = self._mapping.find(event.source, event.pedal)
        if pedal is None:
            return found
        switch = self._switch(event, pedal)
        held = self._held_beside(switch) if event.is_down else None
        if held is not None and isinstance(switch, _Sensed) and switch.join(self._now):
            held.spend()
            return found + self._meant(switch, [("together", self._now)])
        return found + self._meant(switch, switch.edge(event.is_down, self._now))

    def due(self, now: float) -> list[Meant]:
        """What has come to mean something since by time alone, up to `now` seconds, in order."""
        self._now = max(self._now, now)
        found: list[Meant] = []
        while (switch := self._first_due()) is not None:
            deadline = switch.deadline()
            if deadline is None or deadline > self._now:
                break
            found += self._meant(switch, switch.expire())
        return found

    @property
    def deadline(self) -> float | None:
        """When `due` has something to say, if nothing is fed before; None while nothing waits."""
        switch = self._first_due()
        return None if switch is None else switch.deadline()

    def _first_due(self) -> _Switch | None:
        waiting = [each for each in self._switches.values() if each.deadline() is not None]
        return min(waiting, key=lambda each: each.deadline() or 0.0, default=None)

    def _switch(self, event: PedalEvent, pedal: Pedal) -> _Switch:
        key = (event.source, event.pedal, event.has_release)
        if key not in self._switches:
            kind = _Sensed if event.has_release else _Repeated
            meaning = self._mapping.meaning(pedal, self._context)
            self._switches[key] = kind(pedal, self._mapping, meaning)
        return self._switches[key]

    def _held_beside(self, switch: _Switch) -> _Sensed | None:
        """Another pedal that is down and has not meant anything yet, if the two mean something."""
        if self._mapping.both(self._context) is None:
            return None
        for other in self._switches.values():
            if isinstance(other, _Sensed) and other.is_open and other.pedal != switch.pedal:
                return other
        return None

    def _meant(self, switch: _Switch, told: list[Told]) -> list[Meant]:
        found = []
        for kind, at in told:
            action = self._action(switch.pedal, kind)
            if action is not None:
                found.append(Meant(action, switch.pedal.name, kind, at))
        return found

    def _action(self, pedal: Pedal, kind: Kind) -> Action | None:
        meaning = self._mapping.meaning(pedal, self._context)
        match kind:
            case "short":
                return meaning.short
            case "long":
                return meaning.long
            case "double":
                return meaning.double
            case "together":
                return self._mapping.both(self._context)


class _Sensed:
    """A switch whose releases are told."""

    def __init__(self, pedal: Pedal, times: Mapping, meaning: Meaning) -> None:
        self.pedal = pedal
        self._times = times
        self._meaning = meaning
        self._phase: Literal["up", "down", "between", "spent"] = "up"
        """Between: up after a first press that may become a double one. Spent: down, and done."""
        self._is_said = False
        """Whether a press that is still down has counted as a short one already."""
        self._since = 0.0
        self._up_at: float | None = None
        """When it went up, as long as that may be its contact bouncing."""

    @property
    def is_open(self) -> bool:
        """Whether it is down and has not meant anything yet."""
        return self._phase == "down" and not self._is_said and self._up_at is None

    @property
    def _is_up(self) -> bool:
        return self._phase in ("up", "between")

    def edge(self, is_down: bool, at: float) -> list[Told]:
        if not is_down:
            if not self._is_up and self._up_at is None:
                self._up_at = at
            return []
        if not self._is_up:
            # It had not been up for long enough: its contact bounced.
            self._up_at = None
            return []
        second = self._phase == "between"
        self._since, self._up_at = at, None
        if second:
            self._phase = "spent"
            return [("double", at)]
        self._is_said = not waits(self._meaning)
        self._phase = "spent" if self._is_said and self._meaning.long is None else "down"
        return [("short", at)] if self._is_said else []

    def join(self, at: float) -> bool:
        """Go down together with another; False when it was down already."""
        if not self._is_up:
            return False
        self._phase, self._since, self._up_at = "spent", at, None
        return True

    def spend(self) -> None:
        """What it is down for has been done."""
        self._phase = "spent"

    def deadline(self) -> float | None:
        if self._up_at is not None:
            return self._up_at + self._times.debounce
        if self._phase == "between":
            return self._since + self._times.double
        if self._phase == "down":
            if self._meaning.long is not None:
                return self._since + self._times.hold
            if self._meaning.double is not None:
                return self._since + self._times.double
        return None

    def expire(self) -> list[Told]:
        if self._up_at is not None:
            return self._released(self._up_at)
        if self._phase == "between":
            self._phase = "up"
            return [("short", self._since)]
        self._phase = "spent"
        if self._meaning.long is not None:
            return [("long", self._since + self._times.hold)]
        return [("short", self._since)]

    def _released(self, at: float) -> list[Told]:
        was_open, self._up_at = self._phase == "down" and not self._is_said, None
        self._phase = "up"
        if not was_open:
            return []
        if self._meaning.double is not None and at < self._since + self._times.double:
            self._phase = "between"
            return []
        return [("short", self._since)]

    def turn(self, meaning: Meaning) -> None:
        self._meaning = meaning
        self._phase = "up" if self._is_up else "spent"


class _Repeated:
    """A key whose releases are not told, and which is repeated while it is held."""

    def __init__(self, pedal: Pedal, times: Mapping, meaning: Meaning) -> None:
        self.pedal = pedal
        self._times = times
        self._meaning = meaning
        self._last = float("-inf")
        """When it was last heard, repeats included."""
        self._first: float | None = None
        """When a press came that may become a double one."""
        self._second: float | None = None
        """When a press came that may turn out to be a repeat."""

    def edge(self, is_down: bool, at: float) -> list[Told]:
        if not is_down:
            return []
        gap, self._last = at - self._last, at
        if gap < NEXT_REPEAT:
            # It is held, so what came before was its first repeat; that one press is left.
            self._second = None
        elif gap < FIRST_REPEAT:
            self._second = at
        else:
            return self._pressed(at)
        return []

    def _pressed(self, at: float) -> list[Told]:
        if self._meaning.double is None:
            return [("short", at)]
        if self._first is not None:
            self._first = None
            return [("double", at)]
        self._first = at
        return []

    def deadline(self) -> float | None:
        if self._second is not None:
            return self._second + NEXT_REPEAT
        return None if self._first is None else self._first + self._times.double

    def expire(self) -> list[Told]:
        if self._second is not None:
            at, self._second = self._second, None
            return self._pressed(at)
        at, self._first = self._first or 0.0, None
        return [("short", at)]

    def turn(self, meaning: Meaning) -> None:
        self._meaning = meaning
        self._first = self._second = None
