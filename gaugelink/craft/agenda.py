"""What comes next for a reed on the rack, and when: by its style, its stage and its rest."""

from __future__ import annotations

from datetime import datetime, timedelta

import msgspec

from gaugelink.craft.style import Stage, Style

NIGHT = timedelta(hours=12)
"""How long a reed rests overnight at least. Overnight is common practice, no source; the hours are
an assumption."""


class Agenda(msgspec.Struct, frozen=True):
    """The next step of a reed."""

    text: str
    """What to do, in words."""
    stage: str = ""
    """The stage to walk next, by name; empty when none is."""
    due: datetime | None = None
    """From when on; None when nothing is waited for."""

    def waits(self, now: datetime) -> bool:
        """Whether it is too early."""
        return self.due is not None and now < self.due


def agenda(
    style: Style, state: str, stage: str, complete: bool, since: datetime, note: str = ""
) -> Agenda:
    """The next step of a reed that has been in its `state` since an aware moment.

    `stage` is the one it stands at, empty before the first; `complete` says that every station of
    it is measured and has nothing left to take. `note` is the maker's, told of a reed set aside. A
    state or stage that the style does not know of is a reed to be looked at.
    """
    match state:
        case "set aside":
            return Agenda(f"set aside: {note}" if note else "set aside, without a reason noted")
        case "handed over":
            return Agenda("handed over: nothing to do")
        case "finished":
            return Agenda("play it and note how it plays, then hand it over")
    present = next((each for each in style.stages if each.name == stage), None)
    if present is None:
        if stage:
            return Agenda(f"style {style.name} has no stage {stage!r} any more: choose one")
        return _walk(style.stages[0])
    if state == "resting":
        return _after_rest(style, present, since)
    after = style.after(stage)
    if not complete:
        return _walk(present, "go on with ")
    if after is None:
        return Agenda("crow it, clip it, play it: all its stages are on target")
    if after.day != present.day and state != "second day":
        return Agenda(f"let it rest overnight, then {after.title}", after.name)
    return _walk(after)


def _after_rest(style: Style, present: Stage, since: datetime) -> Agenda:
    """The first stage of a later day, once the night is over."""
    names = [each.name for each in style.stages]
    later = style.stages[names.index(present.name) + 1 :]
    following = next((each for each in later if each.day > present.day), None) or style.after(
        present.name
    )
    due = since + NIGHT
    if following is None:
        return Agenda("soak it and see what moved", present.name, due)
    return Agenda(f"soak it and see what moved, then {following.title}", following.name, due)


def _walk(stage: Stage, how: str = "") -> Agenda:
    return Agenda(f"{how}{stage.title}", stage.name)
