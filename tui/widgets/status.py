"""The top two lines: what is on the bench, the link; and the banner."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from textual.content import Content

from tui.keys import shown
from tui.look import FAINT, INK, VERMILLION
from tui.widgets.pane import Pane
from tui.words import FIRST, water

if TYPE_CHECKING:
    from gaugelink.craft.advice import Step
    from gaugelink.daemon.messages import WalkEvent
    from tui.state import BenchState


class Header(Pane):
    """Reed, stage and pass on the left; gauge, link and the indicator's own word on the right."""

    def tell(self, state: BenchState) -> Content:
        left = self._work(state)
        right = self._link(state)
        if said := water(state.water):
            right = Content.assemble((said, INK), "  ", right)
        if state.muted:
            right = Content.assemble(("sounds off", f"bold {INK}"), "  ", right)
        width = max(20, self.size.width)
        length = state.walk.length if state.walk else None
        if length is not None:
            longer = Content.assemble(left, (f"  {length:g} mm", FAINT))
            if longer.cell_length + right.cell_length < width:
                left = longer
        left = left.truncate(max(8, width - right.cell_length - 1), ellipsis=True)
        gap = " " * max(1, width - left.cell_length - right.cell_length)
        return Content.assemble(left, gap, right)

    def _work(self, state: BenchState) -> Content:
        walk = state.walk
        if walk is None:
            return Content.styled("the bench", f"bold {INK}")
        return Content.assemble((walk.reed, f"bold {INK}"), (f"  {walk.title}", INK))

    def _link(self, state: BenchState) -> Content:
        link = state.link
        if state.hub == "waiting":
            return Content.styled("waiting for the hub", FAINT)
        if state.hub == "gone":
            return Content.styled("hub away", f"bold {VERMILLION}")
        if state.without:
            return Content.styled(f"{state.in_use}: gone", f"bold {VERMILLION}")
        if link is None:
            return Content.styled(state.in_use or "no gauge", FAINT)
        style = FAINT if link.link == "up" else f"bold {VERMILLION}"
        parts = [(f"{link.name}: link {link.link}", style)]
        if link.status:
            parts.append((f" · {link.status}", f"bold {INK}"))
        return Content.assemble(*parts)


class Banner(Pane):
    """What must be known before anything else, on two lines; the stage's note when all is well."""

    def __init__(self, keys: Mapping[str, Sequence[str]]) -> None:
        super().__init__()
        self._again, self._next = shown(keys["again"][0]), shown(keys["next"][0])
        self._gauges = shown(keys["gauges"][0])
        self._advice = shown(keys["advice"][0])

    def show(self, state: BenchState) -> None:
        kind, _ = self._most_pressing(state)
        for name in ("alarm", "zone", "hold", "work", "done"):
            self.set_class(kind == name, f"-{name}")
        super().show(state)

    def tell(self, state: BenchState) -> Content:
        kind, text = self._most_pressing(state)
        width = max(20, self.size.width)
        if kind == "done" and state.first_step is not None:
            # Two lines of their own: the end of the pass, and what to do now.
            return Content("\n").join(
                [Content(text).truncate(width, ellipsis=True), self._first(state.first_step, width)]
            )
        lines = Content(text).wrap(width)
        if len(lines) > 2:
            rest = Content(text[len(lines[0].plain) :].lstrip())
            lines = [lines[0], rest.truncate(width, ellipsis=True)]
        return Content("\n").join(lines)

    def _most_pressing(self, state: BenchState) -> tuple[str, str]:
        """The kind of banner and its line."""
        link, walk = state.link, state.walk
        if state.hub == "gone":
            return "alarm", f"The hub went away: {state.hub_reason} Trying again every second."
        if link is not None and link.link == "down":
            again = f"; trying again in {round(link.retry_in, 1):g} s" if link.retry_in else ""
            return "alarm", f"LINK DOWN · {link.reason or 'no reason given'}{again}"
        if state.without:
            return "alarm", (
                f"GAUGE GONE · {state.in_use} was let go of: connect it again, or choose another "
                f"with {self._gauges}"
            )
        if walk is None:
            return "", ""
        if walk.paused:
            return "hold", "PAUSED · nothing is captured until the walk goes on"
        if state.scraped is not None:
            return "work", f"SCRAPED · {state.scraped.said}"
        alert = f"ZONE ON TARGET · {state.alert}: leave it" if state.alert else ""
        end = self._end(walk)
        if end and state.first_step is not None:
            return "done", end  # the zone that came on target gives way to what is to be done
        if alert or end:
            return ("zone" if alert else "done"), "\n".join(filter(None, (alert, end)))
        return "", walk.note

    def _first(self, step: Step, width: int) -> Content:
        """The first step of the advice, and the key to all of it."""
        more = f" · {self._advice}: all"
        said = Content(f"{FIRST} first: {step.text}")
        return Content.assemble(said.truncate(width - len(more), ellipsis=True), more)

    def _end(self, walk: WalkEvent) -> str:
        """What the end of a pass or of the stage leads to; empty before it."""
        after = walk.after_title or walk.after
        if walk.complete:
            over = [stop for stop in walk.stops if stop.verdict and stop.verdict.word == "over"]
            rest = f"{len(over)} over" if over else "nothing left to take"
            what = f"{self._next}: next stage, {after}" if after else "this was the last stage"
            if walk.overnight:
                what = f"rest it overnight, then {self._next}: {after}"
            return f"COMPLETE · {rest} · {what}"
        if walk.at_stop is None:
            then = f" · {self._next}: {after}" if after else ""
            return (
                f"PASS {walk.in_pass} DONE · {walk.to_go} to go · {self._again}: another pass{then}"
            )
        return ""
