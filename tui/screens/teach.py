"""Teaching: what to do meanwhile, what was found, the question that it leaves, and its name."""

from __future__ import annotations

from pathlib import Path, PurePath
from typing import TYPE_CHECKING, ClassVar, Literal

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.events import Key, Resize
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from gaugelink.daemon.client import HubError
from gaugelink.daemon.messages import (
    GaugeEvent,
    GaugeGone,
    Learn,
    StopTeaching,
    Taught,
    Teach,
    TeachingEvent,
)
from tui.look import FAINT, INK
from tui.screens.page import PAGE, LivePage
from tui.widgets.keybar import Bar, Entry
from tui.widgets.line import Line
from tui.widgets.said import Said
from tui.words import port

if TYPE_CHECKING:
    from gaugelink.daemon.messages import Event
    from tui.pages import Pages
    from tui.state import BenchState

Step = Literal["listening", "asking", "naming", "failed"]

REMEMBERED = 6
"""Sentences that stay on the screen."""

BESIDE = 5
"""Cells beside the sentences: the margins and the bar to scroll with."""

MEANWHILE = (
    "The gauge gives no readings meanwhile. It is listened to, and at most asked for its reading: "
    "none of its settings are changed."
)

ADVICE = (
    "What to do: see that it is switched on and that its cable is in; let it send, or press its "
    "data button a few times meanwhile; move its spindle slowly up and down. Then try again."
)

ENTRIES: dict[Step, tuple[Entry, ...]] = {
    "listening": (Entry("leave", "Esc", "stop", "screen.leave"),),
    "asking": (
        Entry("move", "↑ ↓", "choose", ""),
        Entry("answer", "Enter", "this answer", "screen.answer"),
        Entry("leave", "Esc", "keep nothing", "screen.leave"),
    ),
    "naming": (
        Entry("keep", "Enter", "keep it under this name", "screen.keep"),
        Entry("leave", "Esc", "keep nothing", "screen.leave"),
    ),
    "failed": (
        Entry("again", "t", "try again", "screen.again"),
        Entry("leave", "Esc", "back", "screen.leave"),
    ),
}


class TeachScreen(LivePage[str]):
    """Teaches one gauge; gives back what is to be said of it."""

    CSS_PATH: ClassVar[str | PurePath | list[str | PurePath] | None] = [
        PAGE,
        Path(__file__).with_suffix(".tcss"),
    ]
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "stop"),
        Binding("t", "again", "try again"),
    ]
    AUTO_FOCUS = ""

    def __init__(self, pages: Pages, gauge: GaugeEvent) -> None:
        super().__init__(id="teach")
        self._pages = pages
        self._gauge = gauge.name
        self._port = gauge.port
        self._step: Step = "listening"
        self._began = 0.0
        self._heard: list[str] = []
        self._taught: Taught | None = None
        self._toml = ""
        self._head = Static(id="teach-title")
        self._now = Static(id="teach-now")
        self._text = Static(id="teach-why")
        self._question = Static(id="teach-question")
        self._answers = OptionList(id="teach-answers")
        self._line = Line()
        self._said = Said()
        self._bar = Bar()

    def compose(self) -> ComposeResult:
        yield self._head
        yield self._now
        with VerticalScroll(id="teach-found", can_focus=False):
            yield self._text
        yield self._question
        yield self._answers
        yield self._line
        yield self._said
        yield self._bar

    def on_mount(self) -> None:
        """Begin."""
        self.set_interval(self._pages.look_every or 3600, self._tick)
        self._begin()

    def _begin(self) -> None:
        self._began = self._pages.clock()
        self._heard, self._taught = [], None
        self._to("listening")
        self._why(Content.styled(MEANWHILE, FAINT))
        self.run_worker(self._teach())

    async def _teach(self) -> None:
        try:
            await self._pages.ask(Teach(gauge=self._gauge))
        except HubError as error:
            self._failed(str(error))

    # What the hub says -------------------------------------------------------------------------

    def hear(self, event: Event) -> None:
        match event:
            case TeachingEvent(gauge=self._gauge, says=says):
                self._heard = [*self._heard, says][-REMEMBERED:]
                self._tick()
            case Taught(gauge=self._gauge) if self._step == "listening":
                self._found(event)
            case GaugeGone(name=self._gauge, renamed=renamed):
                self._gone(renamed)

    def show(self, state: BenchState) -> None:
        if state.hub == "gone" and self._step != "failed":
            self._failed(f"the hub went away: {state.hub_reason} Nothing was kept.")

    def _gone(self, renamed: str) -> None:
        if renamed:
            self._gauge = renamed
            self._tick()
        else:
            self._failed(f"{self._gauge} was let go of: connect it again first")

    def _found(self, taught: Taught) -> None:
        if taught.failed:
            self._failed(taught.failed)
            return
        self._taught = taught
        self._toml = taught.toml
        self._show_evidence()
        if not taught.question:
            self._name_it(taught.name)
            return
        self._to("asking")
        self._question.update(Content(taught.question))
        answers = self._answers
        answers.clear_options()
        answers.add_options(
            [Option(Content(f"{at}  {each.says}")) for at, each in enumerate(taught.answers, 1)]
        )
        answers.highlighted = 0
        answers.focus()

    def _name_it(self, usual: str) -> None:
        self._to("naming")
        self._line.open(self._gauge, "name of what it sends", usual)

    def _failed(self, why: str) -> None:
        self.app.bell()
        self._to("failed")
        self._why(Content.assemble((why, f"bold {INK}"), "\n\n", (ADVICE, INK)))

    # What is shown -----------------------------------------------------------------------------

    def on_resize(self, event: Resize) -> None:
        """The sentences are wrapped anew."""
        self._show_evidence()

    def _show_evidence(self) -> None:
        found = self._taught
        if found is None or self._step == "failed":
            return
        room = self.size.width - BESIDE
        lines = [_hung(each, room) for each in found.evidence]
        sure = Content.styled(f"\nsure to {100 * found.sure:.0f} %", f"bold {INK}")
        self._why(Content("\n").join([*lines, sure]))

    def _to(self, step: Step) -> None:
        self._step = step
        for each in ENTRIES:
            self.set_class(each == step, f"-{each}")
        if step != "naming":
            self._line.close()
        self._said.say("")
        self._bar.offer(ENTRIES[step])
        self._tick()

    def _tick(self) -> None:
        title = Content.assemble(
            (f"Teaching {self._gauge}", f"bold {INK}"), (f"  {port(self._port)}", FAINT)
        )
        self._head.update(title, layout=False)
        if self._step != "listening":
            self._now.update(
                {"failed": "Nothing was found."}.get(self._step, "Found. It is not kept yet.")
            )
            return
        spent = self._pages.clock() - self._began
        *before, last = self._heard or ["it begins"]
        lines = [
            *(Content.styled(each, FAINT) for each in before),
            Content.styled(last, f"bold {INK}"),
            Content.styled(f"working it out · {spent:.0f} s", INK),
        ]
        self._now.update(Content("\n").join(lines))

    def _why(self, text: Content) -> None:
        self._text.update(text)

    # What the maker does -----------------------------------------------------------------------

    def on_key(self, event: Key) -> None:
        """A digit is an answer."""
        answers = self._answers
        number = int(event.key) if event.key.isdecimal() else 0
        if self._step == "asking" and 0 < number <= answers.option_count:
            event.stop()
            self._answer(number - 1)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Enter or a click on an answer."""
        event.stop()
        self._answer(event.option_index)

    def action_answer(self) -> None:
        """Take the answer that is marked."""
        marked = self._answers.highlighted
        if self._step == "asking" and marked is not None:
            self._answer(marked)

    def _answer(self, index: int) -> None:
        assert self._taught is not None, "there is no question before it is found"
        answer = self._taught.answers[index]
        self._toml = answer.toml
        self._name_it(answer.name or self._taught.name)
        self._said.say(f"it is taken that {answer.says}")

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Enter was pressed on the name."""
        event.stop()
        self.action_keep()

    def action_keep(self) -> None:
        """Keep what was found under the name that is written."""
        if self._step == "naming":
            self.run_worker(self._learn(self._line.value.strip()), group="learn")

    async def _learn(self, name: str) -> None:
        if not name:
            self._trouble("it needs a name: write one, or keep nothing with Esc")
            return
        try:
            event = await self._pages.ask(Learn(gauge=self._gauge, name=name, toml=self._toml))
        except HubError as error:
            self._trouble(str(error))
            return
        if event is not None:
            self._pages.told(event)
        self.dismiss(f"{self._gauge} is read as {name} from now on")

    def action_again(self) -> None:
        """Teach it anew."""
        if self._step == "failed":
            self._begin()

    def action_leave(self) -> None:
        """Leave off, and keep nothing."""
        said = f"nothing was kept: {self._gauge} goes on as before"
        if self._step == "listening":
            self._pages.send(StopTeaching(gauge=self._gauge))
            said = f"the teaching was stopped: {self._gauge} goes on as before"
        self.dismiss("" if self._step == "failed" else said)

    def _trouble(self, text: str) -> None:
        self.app.bell()
        self._said.say(text, trouble=True)


def _hung(sentence: str, width: int) -> Content:
    """A sentence in so many cells, its further lines set in under the first."""
    first, *rest = Content.styled(sentence, INK).wrap(max(8, width - 2))
    lines = [Content.assemble(("· ", FAINT), first)]
    return Content("\n").join([*lines, *(Content.assemble("  ", line) for line in rest)])
