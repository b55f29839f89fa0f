"""The gauges, one under the other: where each is, what it sends, its link, and how it fares."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import msgspec
from textual.containers import VerticalScroll
from textual.content import Content
from textual.events import Click
from textual.message import Message
from textual.widgets import Static

from tui.look import DARK, FAINT, INK, VERMILLION
from tui.words import ago, count, port, times

if TYPE_CHECKING:
    from gaugelink.daemon.messages import GaugeCounts, GaugeEvent

NONE = (
    ("gaugelink find", "lists the serial ports and the Bluetooth devices that are there"),
    ("gaugelink bench --port /dev/ttyUSB0", "opens the bench with the indicator at that port"),
)
"""How a gauge is connected: what to type, and what it does."""


class GaugeView(msgspec.Struct, frozen=True):
    """A gauge, as the page shows it."""

    event: GaugeEvent
    counts: GaugeCounts | None = None
    """None as long as the hub was not asked how it fares."""
    since: float = 0.0
    """Seconds since the hub told of it."""
    use: str = ""
    """What it is to this bench, in words."""


def told(view: GaugeView) -> Content:
    """All of a gauge in lines, its name first."""
    event = view.event
    use = f"  {view.use}" if view.use else ""
    name = Content.assemble((event.name, f"bold {INK}"), (use, FAINT))
    sends = event.title or event.description or "not recognised yet"
    where = Content.styled(f"{port(event.port)} · {sends}", INK)
    return Content("\n").join([name, where, _link(view), *_fares(view)])


def _link(view: GaugeView) -> Content:
    event, counts = view.event, view.counts
    if event.link == "down":
        said = f" {event.reason or 'no reason given'}{_again(view)}"
        return Content.assemble((" LINK DOWN ", f"bold {DARK} on {VERMILLION}"), (said, INK))
    if event.link == "opening":
        return Content.styled("link opening" + (f" · {event.reason}" if event.reason else ""), INK)
    anew = f", opened anew {times(counts.reopened)}" if counts and counts.reopened else ""
    return Content.styled(f"link up{anew}", INK)


def _again(view: GaugeView) -> str:
    if not view.event.retry_in:
        return ""
    left = view.event.retry_in - view.since
    return f"; trying again in {left:.0f} s" if left >= 0.5 else "; trying again now"


def _fares(view: GaugeView) -> list[Content]:
    counts = view.counts
    if counts is None:
        return [Content.styled("how it fares is being asked", FAINT)]
    heard = f"last heard {ago(counts.last_heard)}" if counts.readings else "never heard"
    rate = f"{counts.per_second:.1f} readings a second · {heard}"
    if counts.readings:
        rate += f" · {count(counts.readings, 'reading')} in all"
    lines = [Content.styled(rate, INK), _refused(counts)]
    words = [] if counts.battery is None else [f"battery {counts.battery} %"]
    if view.event.status and view.event.status not in words:
        words.append(f"it says: {view.event.status}")
    if words:
        lines.append(Content.styled(" · ".join(words), f"bold {INK}"))
    return lines


def _refused(counts: GaugeCounts) -> Content:
    total = count(sum(counts.refused.values()), "bad frame")
    if not counts.refused:
        return Content.styled(total, FAINT)
    reasons = ", ".join(f"{number} {reason}" for reason, number in counts.refused.items())
    return Content.styled(f"{total}: {reasons} · the newest: {counts.last_refused}", INK)


class GaugeCard(Static):
    """One gauge of the list."""

    class Clicked(Message):
        """A gauge was clicked."""

        def __init__(self, gauge: str) -> None:
            super().__init__()
            self.gauge = gauge

    gauge = ""
    said: Content | None = None

    def show(self, view: GaugeView, selected: bool) -> None:
        """Show that gauge."""
        self.gauge = view.event.name
        self.set_class(selected, "-selected")
        said = told(view)
        if self.said is None or said != self.said or said.spans != self.said.spans:
            self.said = said
            self.update(said)

    def on_click(self, event: Click) -> None:
        """Select it."""
        event.stop()
        self.post_message(self.Clicked(self.gauge))


class GaugeList(VerticalScroll, can_focus=False):
    """Every gauge, the selected one with a bar beside it; how to connect one when there is none."""

    def __init__(self) -> None:
        super().__init__()
        self._selected = ""

    def on_mount(self) -> None:
        """Empty until it is told otherwise."""
        self.mount(Static(_none(), id="none"))

    def show(self, views: Sequence[GaugeView], selected: str) -> None:
        """Show these; the selected one is brought into view."""
        if not self.is_attached:
            return
        cards = list(self.query(GaugeCard))
        for surplus in cards[len(views) :]:
            surplus.remove()
        while len(cards) < len(views):
            cards.append(GaugeCard())
            self.mount(cards[-1])
        for card, view in zip(cards, views, strict=False):
            card.show(view, view.event.name == selected)
            if view.event.name == selected != self._selected:
                self.call_after_refresh(card.scroll_visible, animate=False)
        self._selected = selected
        self.set_class(not views, "-none")


def _none() -> Content:
    parts = [Content.styled("No gauge is connected.", f"bold {INK}")]
    parts += [Content.assemble((typed, INK), f"\n  {what}") for typed, what in NONE]
    parts.append(
        Content(
            "On other days it is connected again by itself. One that is not recognised can be "
            "taught on this page."
        )
    )
    return Content("\n\n").join(parts)
