"""What a screen or a command needs of the hub, whether it is a daemon or in this process."""

from __future__ import annotations

from collections.abc import AsyncIterator
from typing import Any, Protocol

from gaugelink.daemon.messages import Event, Request
from gaugelink.reading import GaugelinkError


class HubError(GaugelinkError):
    """The hub did not do what was asked; the text is its line."""


class HubGone(GaugelinkError):
    """The connection to the hub ended."""


class Client(Protocol):
    """One follower of the hub, the same whichever door it came in by."""

    async def ask(self, request: Request) -> Any:
        """The answer to a request: a message, a list of messages, or None.

        The request's `id` is set by the client. Raises HubError with the hub's line when it was
        not done, and HubGone when the hub went away.
        """
        ...

    def events(self) -> AsyncIterator[Event]:
        """What happens, as it happens, once `Follow` has been asked for.

        Ends when the hub goes away. Readings that came while the last one was being handled are
        left out: the newest stands for them. Nothing else is left out.
        """
        ...

    async def close(self) -> None:
        """Leave the hub."""
        ...
