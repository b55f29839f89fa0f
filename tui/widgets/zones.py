"""The zones of the stage with their verdicts, and how far the walk has come."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.content import Content

from tui.look import FAINT, INK, ink
from tui.widgets.pane import Pane
from tui.words import number, place, target

if TYPE_CHECKING:
    from gaugelink.daemon.messages import ZoneView
    from tui.state import BenchState


class Progress(Pane):
    """What comes next, what is still to go, and how much of the pass is done."""

    def tell(self, state: BenchState) -> Content:
        walk, ahead = state.walk, state.next_stop
        if walk is None:
            return Content.styled("next  –", FAINT)
        if ahead is not None:
            coming = place(ahead.station)
        else:
            after = walk.after_title if self.wide else walk.after
            coming = "the last of this pass" if walk.at_stop is not None else after or "–"
        return Content.assemble(
            ("next  ", FAINT),
            (coming, INK),
            ("\nto go ", FAINT),
            (f"{walk.to_go}" if any(stop.verdict for stop in walk.stops) else "–", f"bold {INK}"),
            (f" · pass {walk.in_pass}, {walk.done} of {walk.of}", FAINT),
        )


class Zones(Pane):
    """One line a zone."""

    def tell(self, state: BenchState) -> Content:
        walk = state.walk
        if walk is None:
            return Content()
        room = max(1, self.size.height)
        zones = list(walk.zones)
        hidden = 0
        if len(zones) > room:
            # What is on target can be left out first: there is nothing to do there.
            open_first = sorted(zones, key=lambda zone: _is_left(zone))
            kept = {zone.name for zone in open_first[: room - 1]}
            hidden = len(zones) - len(kept)
            zones = [zone for zone in zones if zone.name in kept]
        here = state.stop.zone if state.stop else ""
        lines = [self._line(zone, state, zone.name == here) for zone in zones]
        if hidden:
            lines.append(Content.styled(f"  and {hidden} more", FAINT))
        return Content("\n").join(lines)

    def _line(self, zone: ZoneView, state: BenchState, here: bool) -> Content:
        width = max(16, self.size.width)
        verdict = zone.verdict
        word = (str(verdict), ink(verdict)) if verdict else ("open", FAINT)
        title = Content.assemble(
            ("▸ " if here else "  ", f"bold {INK}"), (zone.title, f"bold {INK}" if here else INK)
        )
        title = title.truncate(width - 9, ellipsis=True)
        if self.wide:
            title = Content.assemble(
                title.pad_right(max(0, 21 - title.cell_length)), (_measured(zone, state), FAINT)
            )
        return Content.assemble(title, " " * max(1, width - title.cell_length - len(word[0])), word)


class Taken(Pane):
    """The newest captures; only where there is room for more than the essential."""

    def tell(self, state: BenchState) -> Content:
        room = max(0, self.size.height - 1)
        lines = [Content.styled("captured", FAINT)]
        for each in state.captures[:room]:
            lines.append(
                Content.assemble(
                    (f"{number(each.hundredths):>5} ", f"bold {INK}"),
                    (f"{each.verdict!s:<8}", ink(each.verdict)),
                    (place(each.station), FAINT),
                )
            )
        return Content("\n").join(lines) if state.captures else Content()


def _is_left(zone: ZoneView) -> bool:
    return zone.verdict is not None and zone.verdict.word == "leave"


def _measured(zone: ZoneView, state: BenchState) -> str:
    """The target of a zone and how many of its stations have a value: `18 ±1  3/4`."""
    stops = [stop for stop in state.walk.stops if stop.zone == zone.name] if state.walk else []
    if not stops:
        return ""
    known = sum(stop.hundredths is not None for stop in stops)
    return f"{target(stops[0].target, stops[0].tolerance):<9} {known}/{len(stops)}"
