"""The rack to choose from: a reed on the left, a stage of its style on the right."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import PurePath
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.screen import Screen
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from tui.look import FAINT
from tui.plan import Plan
from tui.screens.page import PAGE

if TYPE_CHECKING:
    from gaugelink.capture.pedals.mapping import ListAction
    from gaugelink.daemon.messages import ReedRecord, StyleSummary


class ChooseScreen(Screen[Plan | None]):
    """Gives back the plan with a reed, its style and a stage, or None when it is left."""

    CSS_PATH: ClassVar[str | PurePath | list[str | PurePath] | None] = PAGE
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "back"),
        Binding("right", "focus_on('#stages')", "stages"),
        Binding("left", "focus_on('#reeds')", "reeds"),
    ]
    AUTO_FOCUS = "#reeds"

    def __init__(
        self,
        plan: Plan,
        reeds: Sequence[ReedRecord],
        styles: Sequence[StyleSummary],
        after: bool = False,
        pedals: str = "",
    ) -> None:
        """With `after` it begins at the reed after the plan's; `pedals` is what they do here."""
        super().__init__(id="choose")
        self._plan = plan
        self._after = after
        self._pedals = pedals
        self._reeds = {reed.name: reed for reed in reeds}
        self._styles = {style.name: style for style in styles}

    def compose(self) -> ComposeResult:
        with Vertical(id="page"):
            yield Static("Which reed, and which stage?", classes="title")
            with Horizontal(id="lists"):
                with Vertical():
                    yield Static("on the rack")
                    yield OptionList(*map(self._reed, self._reeds.values()), id="reeds")
                with Vertical():
                    yield Static("stages of its style", id="style")
                    yield OptionList(id="stages")
            yield Static(self._how(), classes="foot", id="how")
            if self._reeds and self._pedals:
                yield Static(Content.styled(self._pedals, FAINT), id="pedals")

    def on_mount(self) -> None:
        """Begin at the reed that was asked for, else at the first."""
        names = list(self._reeds)
        if names:
            wanted = self._plan.reed
            at = names.index(wanted) + self._after if wanted in names else 0
            self.query_one("#reeds", OptionList).highlighted = at % len(names)

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Another reed has the stages of its own style."""
        if event.option_list.id == "reeds" and event.option_id is not None:
            self._show_stages(self._reeds[event.option_id])

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Enter or a click: on a stage it starts the walk, on a reed its marked stage."""
        reed, stage = self._chosen("#reeds"), self._chosen("#stages")
        if reed is not None and stage is not None:
            style = self._reeds[reed].style
            self.dismiss(replace(self._plan, reed=reed, style=style, stage=stage))

    def driven(self, action: ListAction) -> None:
        """A pedal moves on, and chooses: first the reed, then its stage.

        On from the last stage leads back to the reeds, as one pedal alone has no other way back.
        """
        reeds, stages = self.query_one("#reeds", OptionList), self.query_one("#stages", OptionList)
        here = stages if stages.has_focus else reeds
        match action:
            case "leave" if here is reeds:
                self.dismiss(None)
            case "leave":
                reeds.focus()
            case "choose" if here is stages:
                stages.action_select()
            case "choose" if stages.option_count:
                stages.focus()
            case "next" if here is stages and stages.highlighted == stages.option_count - 1:
                reeds.focus()
            case "previous" if here is stages and stages.highlighted == 0:
                reeds.focus()
            case "next":
                here.action_cursor_down()
            case "previous":
                here.action_cursor_up()

    def action_focus_on(self, selector: str) -> None:
        """Go to the other list."""
        self.query_one(selector).focus()

    def action_leave(self) -> None:
        """Back to the bench without a choice."""
        self.dismiss(None)

    def _chosen(self, selector: str) -> str | None:
        options = self.query_one(selector, OptionList)
        if options.highlighted is None:
            return None
        return options.get_option_at_index(options.highlighted).id

    def _show_stages(self, reed: ReedRecord) -> None:
        style = self._styles.get(reed.style)
        title = f"stages of {style.title}" if style else f"no style is called {reed.style!r}"
        self.query_one("#style", Static).update(Content(title))
        options = self.query_one("#stages", OptionList)
        options.clear_options()
        names = list(style.stages) if style else []
        options.add_options([Option(name, id=name) for name in names])
        # The stage that was asked for is that reed's; any other reed stands where it stands.
        own = self._plan.stage if self._plan.reed in ("", reed.name) else ""
        wanted = own or reed.stage
        if names:
            options.highlighted = names.index(wanted) if wanted in names else 0

    def _reed(self, reed: ReedRecord) -> Option:
        note = f"  {reed.state}" + (f", {reed.stage}" if reed.stage else "")
        return Option(Content.assemble(reed.name, (note, "dim")), id=reed.name)

    def _how(self) -> str:
        if not self._reeds:
            return "The rack is empty. Put a reed on it with: gaugelink rack add NAME --style STYLE"
        return "↑ ↓ choose · ← → reed or stage · Enter starts the walk · Esc leaves"
