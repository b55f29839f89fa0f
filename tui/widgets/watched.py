"""The zone that is watched: a large number, what is to be done, how it changes, and its values."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.content import Content

from tui.look import FAINT, INK, chip
from tui.numerals import rows
from tui.widgets.pane import Pane
from tui.words import count, figures, number, remaining, target, trend

if TYPE_CHECKING:
    from tui.state import BenchState

HOW = (
    "Scrape, set the spindle down anywhere in the zone, lift it, scrape on. "
    "Nothing is captured: any press goes back to the walk."
)


class About(Pane):
    """The zone, its side, and its target."""

    def tell(self, state: BenchState) -> Content:
        watched = state.watched
        if watched is None:
            return Content.styled("watching", FAINT)
        side = f", {watched.blade} side" if watched.blade else ""
        return Content.assemble(
            ("watching  ", FAINT),
            (f"{watched.title}{side}", f"bold {INK}"),
            ("   target ", FAINT),
            (target(watched.target, watched.tolerance), INK),
        )


class Estimate(Pane):
    """How thick the zone is, five rows high."""

    def tell(self, state: BenchState) -> Content:
        thick = state.watched.estimate if state.watched else None
        return Content.styled("\n".join(rows(figures(thick))), INK if thick is not None else FAINT)


class Remains(Pane):
    """The verdict, what is to be done, and how the zone changes; in words."""

    def tell(self, state: BenchState) -> Content:
        watched = state.watched
        verdict = watched.verdict if watched else None
        word = (f" {str(verdict).upper()} ", chip(verdict)) if verdict else (" – ", FAINT)
        lines = [
            Content.assemble(word),
            Content.styled(remaining(verdict), f"bold {INK}"),
            Content(),
        ]
        if watched is not None and verdict is not None:
            changes = trend(watched.tendency, watched.per_minute)
            lines.append(Content.assemble(("it is ", FAINT), (changes, f"bold {INK}")))
            if watched.tendency == "unknown":
                lines[-1] = Content.assemble(("how it changes: ", FAINT), (changes, INK))
            lines.append(Content.styled(f"{count(watched.measured, 'value')} so far", FAINT))
        return Content("\n").join(lines)


class Values(Pane):
    """The newest values, the newest last, and how far the three lie apart that make the number."""

    def tell(self, state: BenchState) -> Content:
        watched = state.watched
        if watched is None or not watched.values:
            return Content.assemble(("values   ", FAINT), ("none yet", FAINT))
        *before, last = map(number, watched.values)
        parts = [("values   ", FAINT), *((f"{each}  ", INK) for each in before)]
        parts.append((last, f"bold {INK}"))
        if watched.spread is not None:
            newest = "two" if len(watched.values) == 2 else "three"
            apart = number(watched.spread)
            parts.append((f"   the newest {newest} within {apart}", FAINT))
        return Content.assemble(*parts)


class Now(Pane):
    """What the gauge says now, and what the hand does next."""

    def tell(self, state: BenchState) -> Content:
        return Content.assemble(("now      ", FAINT), (_now(state), INK))


def _now(state: BenchState) -> str:
    reading = state.reading
    if reading is None or not state.linked:
        return "no reading"
    if state.quiet:
        return "silent: no reading for a while"
    live = figures(state.live)
    if reading.pushed:
        return f"{live}, sent by its button"
    if reading.standing == "settled":
        return f"{live}, SETTLED: lift it, and place it anew"
    return f"{live}, {reading.standing}"
