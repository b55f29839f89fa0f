"""Every action of the app, once: the keys, the help and the command palette all come from here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import msgspec
from textual.binding import Binding
from textual.keys import KEY_DISPLAY_ALIASES, Keys, format_key

from gaugelink.reading import GaugelinkError


class KeysError(GaugelinkError):
    """The keys that were asked for cannot be used; the text names the action and the key."""


class Action(msgspec.Struct, frozen=True):
    """Something that the maker can do at the bench."""

    id: str
    keys: tuple[str, ...]
    title: str
    """A word or two, for the bar of keys."""
    help: str
    """What it does, in a sentence without a full stop."""
    practice: bool = False
    """Only in practice mode."""
    everywhere: bool = False
    """On every screen, not only on the bench."""


ACTIONS: tuple[Action, ...] = (
    Action("capture", ("space", "enter", "pagedown", "right"), "take", "take the reading here"),
    Action("back", ("pageup", "left"), "back", "go back to the station before"),
    Action("retake", ("r",), "retake", "go to the last capture and take it anew"),
    Action("skip", ("k",), "skip", "leave this station out of the pass"),
    Action("pause", ("p",), "pause", "pause the walk, or go on with it"),
    Action("again", ("a",), "again", "another pass over what is left"),
    Action("next", ("n",), "next", "start the stage that follows"),
    Action("choose", ("c",), "choose", "choose another reed or stage"),
    Action("gauges", ("g",), "gauges", "see the gauges, rename one, or teach it"),
    Action("watch", ("z",), "watch", "watch the zone in hand while you scrape, or stop"),
    Action("advice", ("v",), "advice", "see what to take first, and the balance"),
    Action("water", ("w",), "water", "say that the reed goes into the water, or out"),
    Action("dry", ("d",), "measured dry", "say that the reed is measured dry"),
    Action("mute", ("m",), "mute", "turn all sounds off, or on again"),
    Action("scrape", ("s",), "scrape", "scrape the zone in hand, one stroke", practice=True),
    Action(
        "scrape_more", ("S",), "scrape 5", "scrape the zone in hand, five strokes", practice=True
    ),
    Action("lift", ("l",), "lift", "lift the spindle, or set it down again", practice=True),
    Action("help", ("?", "f1"), "help", "show this page of keys, or leave it", everywhere=True),
    Action("palette", ("ctrl+p",), "all", "search everything there is to do", everywhere=True),
    Action("quit", ("q",), "quit", "leave the bench; the walk can be resumed", everywhere=True),
)

MODIFIERS = {"ctrl", "alt", "shift", "super", "hyper", "meta"}
NAMED = {key.value for key in Keys if not key.value.startswith("<")}


def effective(keys: Mapping[str, Sequence[str]] | None = None) -> dict[str, tuple[str, ...]]:
    """The keys of every action, with the maker's own in place of the default ones.

    Raises KeysError for an action or a key that does not exist, for an action left without a key,
    and for a key given to two actions.
    """
    own = dict(keys or {})
    known = {action.id for action in ACTIONS}
    for name, wanted in own.items():
        if name not in known:
            raise KeysError(f"keys: no action is called {name!r}; there are: {_list(known)}")
        if isinstance(wanted, str) or not wanted:
            raise KeysError(f'keys.{name}: expected a list with at least one key, as ["space"]')
        for key in wanted:
            if not is_key(key):
                raise KeysError(
                    f"keys.{name}: no key is called {key!r}; use one character, or a name such as "
                    "space, enter, pagedown, left, f2, ctrl+k"
                )
    found = {action.id: tuple(own.get(action.id, action.keys)) for action in ACTIONS}
    owner: dict[str, str] = {}
    for name, wanted in found.items():
        for key in wanted:
            if owner.setdefault(key, name) != name:
                raise KeysError(
                    f"keys.{name}: {key!r} already means {owner[key]!r}; give one of them another"
                )
    return found


def bindings(
    keys: Mapping[str, Sequence[str]] | None = None, *, everywhere: bool | None = None
) -> list[Binding]:
    """The key bindings of the actions; KeysError as in `effective`.

    `everywhere` picks those of every screen (True), those of the bench (False), or all (None).
    """
    found = effective(keys)
    return [
        Binding(",".join(found[action.id]), command(action.id), action.title, id=action.id)
        for action in ACTIONS
        if everywhere is None or action.everywhere == everywhere
    ]


def command(action: str) -> str:
    """The app's own name for an action, as a key, a click or the palette runs it."""
    return f"app.do('{action}')"


def shown(key: str) -> str:
    """A key as it stands on the keyboard: `PgDn`, `→`, `Space`, `?`."""
    *modifiers, last = key.split("+") if len(key) > 1 else [key]
    names = {"pagedown": "PgDn", "pageup": "PgUp", "space": "Space", "enter": "Enter"}
    word = names.get(last) or KEY_DISPLAY_ALIASES.get(last) or format_key(last)
    if len(word) > 1 and word.islower():
        word = word.capitalize()
    return "+".join([*(modifier.capitalize() for modifier in modifiers), word])


def is_key(key: str) -> bool:
    """Whether there is a key of that name."""
    if len(key) == 1:
        return key.isprintable() and key not in " ,"
    *modifiers, last = key.split("+")
    return set(modifiers) <= MODIFIERS and (last in NAMED or (len(last) == 1 and last.isalnum()))


def _list(words: set[str]) -> str:
    return ", ".join(sorted(words))
