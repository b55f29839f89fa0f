"""The top two lines: what is on the bench, the link; and the banner."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from textual.content import Content

from tui.keys import shown
from tui.look import FAINT, INK, VERMILLION
from tui.widgets.pane import Pane

if TYPE_CHECKING:
    from tui.state import BenchState


class Header(Pane):
    """Reed, stage and pass on the left; gauge, link and the indicator's own word on the right."""

    def tell(self, state: BenchState) -> Content:
        left = self._work(state)
        right = self._link(state)
        width = max(20, self.size.width)
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
        if link is None:
            return Content.styled(state.gauge or "no gauge", FAINT)
        style = FAINT if link.link == "up" else f"bold {VERMILLION}"
        parts = [(f"{link.name}: link {link.link}", style)]
        if link.status:
            parts.append((f" · {link.status}", f"bold {INK}"))
        if state.missed and self.wide:
            parts.append((f" · {state.missed} not shown", FAINT))
        return Content.assemble(*parts)


class Banner(Pane):
    """One line for what must be known before anything else; the stage's note when all is well."""

    def __init__(self, keys: Mapping[str, Sequence[str]]) -> None:
        super().__init__()
        self._again, self._next = shown(keys["again"][0]), shown(keys["next"][0])

    def show(self, state: BenchState) -> None:
        kind, _ = self._most_pressing(state)
        for name in ("alarm", "zone", "hold", "done"):
            self.set_class(kind == name, f"-{name}")
        super().show(state)

    def tell(self, state: BenchState) -> Content:
        _, text = self._most_pressing(state)
        return Content(text).truncate(max(20, self.size.width - 2), ellipsis=True)

    def _most_pressing(self, state: BenchState) -> tuple[str, str]:
        """The kind of banner and its line."""
        link, walk = state.link, state.walk
        if state.hub == "gone":
            return "alarm", f"The hub went away: {state.hub_reason} Trying again every second."
        if link is not None and link.link == "down":
            again = f"; trying again in {link.retry_in:g} s" if link.retry_in else ""
            return "alarm", f"LINK DOWN · {link.reason or 'no reason given'}{again}"
        if state.alert:
            return "zone", f"ZONE ON TARGET · {state.alert}: leave it"
        if walk is None:
            return "", ""
        if walk.paused:
            return "hold", "PAUSED · nothing is captured until the walk goes on"
        if walk.complete:
            after = f"{self._next}: next stage, {walk.after}" if walk.after else "the last stage"
            return "done", f"COMPLETE · nothing left to take · {after}"
        if walk.at_stop is None:
            left = f"{walk.to_go} to go · {self._again}: another pass over what is left"
            after = f" · {self._next}: {walk.after}" if walk.after else ""
            return "done", f"PASS {walk.in_pass} DONE · {left}{after}"
        return "", walk.note
