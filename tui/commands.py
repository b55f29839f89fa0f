"""The command palette: the same actions as the keys."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from functools import partial

from textual.command import DiscoveryHit, Hit, Hits, Provider

from tui.keys import ACTIONS, Action, command


class BenchCommands(Provider):
    """Everything there is to do at the bench."""

    async def discover(self) -> Hits:
        """All of it, before anything was typed."""
        for action in self._offered():
            yield DiscoveryHit(_title(action), self._run(action), help=_sentence(action))

    async def search(self, query: str) -> Hits:
        """What fits the letters typed, in the title or in the sentence."""
        matcher = self.matcher(query)
        for action in self._offered():
            for text in (_title(action), action.help):
                score = matcher.match(text)
                if score > 0:
                    run = self._run(action)
                    yield Hit(score, matcher.highlight(text), run, help=_sentence(action))
                    break

    def _offered(self) -> list[Action]:
        return [
            action
            for action in ACTIONS
            if action.id != "palette" and self.app.check_action("do", (action.id,))
        ]

    def _run(self, action: Action) -> Callable[[], Awaitable[bool]]:
        return partial(self.app.run_action, command(action.id))


def _title(action: Action) -> str:
    return action.title.capitalize()


def _sentence(action: Action) -> str:
    return f"{action.help[0].upper()}{action.help[1:]}."
