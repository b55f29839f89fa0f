"""The live reading: large digits, settled or moving, and the verdict here."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.geometry import Size
from textual.widget import Widget
from textual.widgets import Digits

from tui.look import FAINT, INK, chip, ink
from tui.numerals import ROWS, rows
from tui.widgets.pane import Pane
from tui.words import figures, number, place, seconds, target

if TYPE_CHECKING:
    from gaugelink.daemon.messages import WalkEvent
    from tui.state import BenchState

SETTLED = "SETTLED"
SCALE = 0.8
"""Seconds at the end of the bar when no walk says how long to stand still."""

NOTE = len(" takes at 10.0 s")
"""Cells for the words beside the bar, so that it does not change its length."""

OVERDUE = 0.5
"""Seconds that a capture by dwell may be late, until it is plain that there will be none."""


class Place(Pane):
    """The present station, its zone and target."""

    def tell(self, state: BenchState) -> Content:
        stop, walk = state.stop, state.walk
        if walk is None:
            return Content.styled("no walk yet", FAINT)
        if stop is None:
            return Content.styled("no station: the pass is done", FAINT)
        title = next((zone.title for zone in walk.zones if zone.name == stop.zone), stop.zone)
        return Content.assemble((place(stop.station), f"bold {INK}"), "\n", (title, FAINT))


class Figures(Widget):
    """The live value five rows high, for a screen that has the room."""

    def __init__(self) -> None:
        super().__init__()
        self.value = "--"

    def update(self, value: str) -> None:
        """Show another value."""
        if value != self.value:
            self.value = value
            self.refresh()

    def get_content_height(self, container: Size, viewport: Size, width: int) -> int:
        return ROWS

    def render(self) -> Content:
        return Content("\n".join(rows(self.value)))


class Standing(Pane):
    """Settled or moving, in a word, with the time for which it has stood still."""

    def tell(self, state: BenchState) -> Content:
        word, *notes = _standing(state)
        head = (f" {word} ", f"bold reverse {INK}") if word == SETTLED else (word, f"bold {INK}")
        return Content.assemble(head, ("\n" + "\n".join(notes), FAINT))


class StillBar(Pane):
    """How far it is from having settled; in dwell mode, from there to the capture."""

    def tell(self, state: BenchState) -> Content:
        walk = state.walk
        if walk is not None and walk.trigger == "dwell":
            share, words = _dwelt(state, walk)
            note = f" {words}".ljust(NOTE)
        else:
            share, note = _share(state, walk.still_for if walk is not None else 0.0), ""
        width = max(4, self.size.width - len(note))
        full = round(share * width)
        return Content.assemble(
            ("━" * full, f"bold {INK}"), ("─" * (width - full), FAINT), (note, FAINT)
        )


def _share(state: BenchState, still_for: float) -> float:
    """How much of the bar is full, from 0 to 1."""
    reading = state.reading
    if reading is None or state.quiet or state.spent:
        return 0.0
    # What has settled may be taken by a press.
    if reading.standing == "settled":
        return 1.0
    still = 0.0 if reading.standing == "moving" else reading.still
    return min(1.0, still / (still_for if still_for > 0 else SCALE))


def _dwelt(state: BenchState, walk: WalkEvent) -> tuple[float, str]:
    """How much of the time from settling to the capture is over, and what that means, in words."""
    reading = state.reading
    if reading is not None and reading.pushed:
        return (0.0 if state.spent else 1.0), "takes as sent"
    if walk.paused or state.stop is None:
        return 0.0, "takes nothing"
    if state.spent:
        return 0.0, "lift it now"
    # A spindle in the air or on the bare tongue is not waited for.
    if reading is None or not state.stands or state.verdict is None:
        return 0.0, f"takes at {seconds(walk.dwell)}"
    left = walk.dwell - reading.still
    if left < -OVERDUE:
        # It stood there when the walk was moved, say: a lift arms the next capture.
        return 0.0, "lift it first"
    span = walk.dwell - walk.still_for
    share = 1.0 if span <= 0 else min(1.0, max(0.0, 1 - left / span))
    return share, f"takes in {seconds(max(0.0, left))}"


class LiveVerdict(Pane):
    """What to do here, going by the live value, and the target; a guess until it stands still."""

    def tell(self, state: BenchState) -> Content:
        found, stop = state.verdict, state.stop
        if found is None or state.reading is None:
            word = (" – ", FAINT)
        elif state.reading.standing == "settled":
            word = (f" {str(found).upper()} ", chip(found))
        else:
            word = (f" {found}?", ink(found).removeprefix("bold "))
        if stop is None:
            return Content.assemble(word)
        return Content.assemble(
            word, "  ", ("target ", FAINT), (target(stop.target, stop.tolerance), INK)
        )


class Compare(Pane):
    """The values at the mirrored place and on the opposite blade."""

    def tell(self, state: BenchState) -> Content:
        station = state.station
        if station is None:
            return Content.assemble(("mirrored –\nopposite –", FAINT))
        spine = station.mirrored() == station
        lines = [
            _beside("mirrored", state, None if spine else station.mirrored().key, spine),
            _beside("opposite", state, station.opposite().key, False),
        ]
        return Content("\n").join(lines)


class Readout(Vertical):
    """All of the live reading."""

    def compose(self) -> ComposeResult:
        yield Place()
        with Horizontal(id="live"):
            yield Digits("--", id="digits")
            yield Figures()
            yield Standing()
        yield StillBar()
        yield LiveVerdict()
        yield Compare()

    def show(self, state: BenchState) -> None:
        """Show the state."""
        digits, large = self.query_one(Digits), self.query_one(Figures)
        text = figures(state.live if state.linked else None)
        if text != digits.value:
            digits.update(text)
        large.update(text)
        for widget in (digits, large):
            widget.set_class(state.stands and not state.spent, "-settled")
        for pane in self.query(Pane):
            pane.show(state)


def _standing(state: BenchState) -> tuple[str, ...]:
    """The word for what the spindle does, and two notes of at most twelve letters."""
    reading = state.reading
    if state.hub != "here":
        return ("waiting", "for the hub") if state.hub == "waiting" else ("no hub",)
    if not state.linked:
        return ("no gauge",) if state.without else ("no link",)
    if reading is None:
        return "no reading", "nothing sent"
    if state.quiet:
        return "silent", "no reading"
    if reading.pushed:
        return ("captured" if state.spent else SETTLED), "sent by", "its button"
    if state.spent:
        return "captured", "lift it now", "hundredths"
    if reading.standing == "settled":
        return SETTLED, f"still {seconds(reading.still)}", "hundredths"
    still = f"still {seconds(reading.still)}" if reading.still else "not still"
    return reading.standing, still, "hundredths"


def _beside(name: str, state: BenchState, key: str | None, spine: bool) -> Content:
    """One line: the value there, its verdict, and how the live value differs from it."""
    walk = state.walk
    stop = next((each for each in walk.stops if each.station == key), None) if walk else None
    label = (f"{name} ", FAINT)
    if spine:
        return Content.assemble(label, ("on the spine", FAINT))
    if stop is None or stop.hundredths is None:
        return Content.assemble(label, ("–" if stop else "no station", FAINT))
    parts = [label, (f"{number(stop.hundredths)} ", f"bold {INK}")]
    if stop.verdict is not None:
        parts.append((f"{stop.verdict}", ink(stop.verdict)))
    if state.live is not None and state.verdict is not None:
        parts.append((f"  {_signed(state.live - stop.hundredths)}", FAINT))
    return Content.assemble(*parts)


def _signed(difference: Decimal) -> str:
    """How much thicker or thinner it is here: `+3`, `−2`, `±0`."""
    sign = "+" if difference > 0 else "−" if difference else "±"
    return f"{sign}{number(abs(difference))}"
