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
            yield DiscoveryHit(_sentence(action), self._run(action))

    async def search(self, query: str) -> Hits:
        """What fits the letters typed."""
        matcher = self.matcher(query)
        for action in self._offered():
            score = matcher.match(_sentence(action))
            if score > 0:
                yield Hit(score, matcher.highlight(_sentence(action)), self._run(action))

    def _offered(self) -> list[Action]:
        return [
            action
            for action in ACTIONS
            if action.id != "palette" and self.app.check_action("do", (action.id,))
        ]

    def _run(self, action: Action) -> Callable[[], Awaitable[bool]]:
        return partial(self.app.run_action, command(action.id))


def _sentence(action: Action) -> str:
    return f"{action.title.capitalize()} · {action.help}"
