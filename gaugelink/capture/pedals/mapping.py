"""What the pedals are mapped to: a table of data, checked, and in plain words for the help page.

A pedal means one thing at a walk and another in a list. A short press means what it is mapped to
the moment the pedal goes down, unless a hold or a second press would mean something else: then it
waits until it can be told from them.
"""

from __future__ import annotations

from typing import Any, Literal, get_args

import msgspec

from gaugelink.reading import GaugelinkError

WalkAction = Literal["capture", "retake", "skip", "back", "pause", "next-zone", "again"]
ListAction = Literal["choose", "next", "previous", "leave"]
Action = WalkAction | ListAction
Context = Literal["walk", "lists"]
Kind = Literal["short", "long", "double", "together"]

WORDS: dict[Action, str] = {
    "capture": "capture the station",
    "retake": "take the last station anew",
    "skip": "leave this station out",
    "back": "back to the station before",
    "pause": "pause the walk, or go on with it",
    "next-zone": "on to the next zone",
    "again": "another pass over what is left",
    "choose": "choose this one",
    "next": "on to the next one",
    "previous": "back to the one before",
    "leave": "leave the list",
}
"""What each action does, for people."""

NUMBERS: dict[float, str] = {1: "one second", 2: "two seconds", 3: "three seconds"}


class PedalsError(GaugelinkError):
    """A mapping that cannot be used; the text names the path and what was expected there."""


class AtWalk(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What one pedal means while stations are measured."""

    short: WalkAction | None = None
    long: WalkAction | None = None
    double: WalkAction | None = None
    at_once: bool = False
    """A short press counts as the pedal goes down although a hold means something too; a hold
    then does both."""


class InLists(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What one pedal means where a reed or a stage is picked."""

    short: ListAction | None = None
    long: ListAction | None = None
    double: ListAction | None = None

    @property
    def at_once(self) -> bool:
        """Never: a hold that also moved on would choose the wrong one."""
        return False


Meaning = AtWalk | InLists


class Pedal(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One pedal of the maker's."""

    name: str
    codes: tuple[str, ...] = ()
    """The codes that it sends, any of which will do; `source/code` when two devices send the same
    one. With none given it is the only pedal, and every code is its."""
    walk: AtWalk = AtWalk()
    lists: InLists = InLists()


class Together(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What it means to hold one pedal down and press another."""

    walk: WalkAction | None = None
    lists: ListAction | None = None


class Mapping(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What every pedal means; times are in seconds."""

    pedal: tuple[Pedal, ...]
    together: Together = Together()
    hold: float = 1.0
    """A pedal that is down this long is held."""
    double: float = 0.35
    """A second press that begins within this time of the first makes it a double one."""
    debounce: float = 0.05
    """A pedal is up once it has been up this long: whatever is shorter is its contact bouncing."""

    def meaning(self, pedal: Pedal, context: Context) -> Meaning:
        """What the pedal means there."""
        return pedal.walk if context == "walk" else pedal.lists

    def both(self, context: Context) -> Action | None:
        """What two pedals together mean there."""
        return self.together.walk if context == "walk" else self.together.lists

    def find(self, source: str, code: str) -> Pedal | None:
        """The pedal that sends a code, None when it is nobody's."""
        for wanted in (f"{source}/{code}", code):
            for pedal in self.pedal:
                if wanted in pedal.codes:
                    return pedal
        return self.pedal[0] if not self.pedal[0].codes else None


def waits(meaning: Meaning) -> bool:
    """Whether a short press has to wait until it can be told from the others."""
    return meaning.double is not None or (meaning.long is not None and not meaning.at_once)


ONE_PEDAL = Mapping(
    pedal=(
        Pedal(
            name="pedal",
            walk=AtWalk(short="capture", long="back"),
            lists=InLists(short="next", double="choose", long="leave"),
        ),
    )
)
"""Whatever is pressed is the one pedal."""

TWO_PEDALS = Mapping(
    pedal=(
        Pedal(
            name="left",
            codes=("pageup", "left", "up", "dsr"),
            walk=AtWalk(short="back", long="pause"),
            lists=InLists(short="previous", double="leave"),
        ),
        Pedal(
            name="right",
            codes=("pagedown", "right", "down", "space", "enter", "cts"),
            walk=AtWalk(short="capture"),
            lists=InLists(short="next", double="choose"),
        ),
    ),
    together=Together(walk="skip"),
)
"""The keys are those that page-turners send; common practice, no source."""


def parse(table: Any, source: str) -> Mapping:
    """The mapping in a table of data, such as `[pedals]` of a TOML file that `source` names.

    PedalsError says `source`, the path inside it, and what was expected.
    """
    try:
        mapping = msgspec.convert(table, Mapping)
    except msgspec.ValidationError as error:
        raise PedalsError(f"{source}: {_expected(str(error))}") from error
    check(mapping, source)
    return mapping


def _expected(said: str) -> str:
    said = said.replace("`$", "`pedals") if "`$" in said else f"pedals: {said}"
    if "Invalid enum value" not in said:
        return said
    actions = ListAction if ".lists" in said else WalkAction
    return f"{said}; expected one of {', '.join(get_args(actions))}"


def check(mapping: Mapping, source: str) -> None:
    """Refuse what the types alone cannot: PedalsError names `source`, the path and the fault."""

    def fault(path: str, said: str) -> PedalsError:
        return PedalsError(f"{source}: pedals.{path}: {said}")

    for path, value, low, high in (
        ("hold", mapping.hold, 0.3, 5.0),
        ("double", mapping.double, 0.1, 1.0),
        ("debounce", mapping.debounce, 0.0, 0.2),
    ):
        if not low <= value <= high:
            raise fault(path, f"expected seconds from {low:g} to {high:g}, not {value:g}")
    if not mapping.debounce < mapping.double < mapping.hold:
        raise fault("double", "expected it to lie between debounce and hold")
    if not mapping.pedal:
        raise fault("pedal", "expected at least one pedal")
    names: set[str] = set()
    owner: dict[str, str] = {}
    for index, pedal in enumerate(mapping.pedal):
        path = f"pedal[{index}]"
        if not pedal.name.strip() or pedal.name in names:
            raise fault(f"{path}.name", f"expected a name of its own, not {pedal.name!r}")
        names.add(pedal.name)
        if not pedal.codes and len(mapping.pedal) > 1:
            raise fault(f"{path}.codes", "expected what it sends, as there is more than one pedal")
        for code in pedal.codes:
            if owner.setdefault(code, pedal.name) != pedal.name:
                raise fault(f"{path}.codes", f"{code!r} already belongs to {owner[code]!r}")
        if pedal.walk.at_once and pedal.walk.double is not None:
            raise fault(f"{path}.walk.at_once", "expected no double press beside it")
    for context in get_args(Context):
        if mapping.both(context) is not None and not _first_of_two(mapping, context):
            raise fault(
                f"together.{context}",
                "expected a second pedal, and one with a long or double press to hold first",
            )


def _first_of_two(mapping: Mapping, context: Context) -> list[str]:
    """The pedals that can be held while another is pressed: those that do not act at once."""
    if len(mapping.pedal) < 2:
        return []
    return [each.name for each in mapping.pedal if waits(mapping.meaning(each, context))]


def describe(mapping: Mapping, *, has_release: bool = True) -> list[str]:
    """Every press that means something, a line each, in plain words for the help page.

    Without `has_release` only what a source can say that tells of no releases.
    """
    held = NUMBERS.get(mapping.hold, f"{mapping.hold:g} seconds")
    lines = []
    for context in get_args(Context):
        lead = "" if context == "walk" else "in a list, "
        for pedal in mapping.pedal:
            name = pedal.name if pedal.name.endswith("pedal") else f"{pedal.name} pedal"
            meaning = mapping.meaning(pedal, context)
            for action, press in (
                (meaning.short, "short press"),
                (meaning.double, "pressed twice"),
                (meaning.long if has_release else None, f"hold {held}"),
            ):
                if action is not None:
                    lines.append(f"{lead}{name}, {press}: {WORDS[action]}")
        both = mapping.both(context)
        if both is not None and has_release:
            first = " or ".join(_first_of_two(mapping, context))
            lines.append(f"{lead}hold the {first} pedal and press the other: {WORDS[both]}")
    if not has_release:
        lines.append("a key in the terminal cannot be held: however long, it is a short press")
    return lines
