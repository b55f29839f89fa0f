"""Staying with the hub: connect, listen, and come back after it went away."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Coroutine
from contextlib import aclosing
from typing import Any

from gaugelink.daemon.client import Client, HubError, HubGone
from gaugelink.daemon.messages import Event, Follow
from gaugelink.reading import GaugelinkError

RETRY = 1.0
"""Seconds between two attempts to reach the hub again."""


class HubLink:
    """One client at a time, for as long as `run` runs.

    `arrived` is awaited with each new client once its events flow; `heard` gets every event in
    order; `lost` gets the line that says why the hub is away.
    """

    def __init__(
        self,
        factory: Callable[[], Awaitable[Client]],
        arrived: Callable[[Client], Coroutine[Any, Any, None]],
        heard: Callable[[Event], None],
        lost: Callable[[str], None],
        retry: float = RETRY,
    ) -> None:
        self._factory = factory
        self._arrived = arrived
        self._heard = heard
        self._lost = lost
        self._retry = retry
        self.client: Client | None = None
        """The present client; None while the hub is away."""

    async def run(self) -> None:
        """Stay with the hub until cancelled."""
        while True:
            try:
                client = await self._factory()
            except (GaugelinkError, OSError) as error:
                self._lost(str(error))
            else:
                self._lost(await self._stay(client))
            await asyncio.sleep(self._retry)

    async def _stay(self, client: Client) -> str:
        """Listen until the hub goes away; the line that says why it did."""
        reason = "the connection ended."
        try:
            await client.ask(Follow())
            self.client = client
            async with asyncio.TaskGroup() as group:
                group.create_task(self._listen(client))
                group.create_task(self._arrived(client))
        except* (HubGone, HubError, OSError) as errors:
            reason = str(_first(errors)) or reason
        finally:
            self.client = None
            await client.close()
        return reason

    async def _listen(self, client: Client) -> None:
        async with aclosing(client.events()) as events:
            async for event in events:
                self._heard(event)
                # A stream that always has one ready must not keep the screen from being painted.
                await asyncio.sleep(0)
        raise HubGone("the connection ended.")


def _first(errors: BaseExceptionGroup[BaseException]) -> BaseException:
    """The first error of a group, however deep it is nested."""
    error: BaseException = errors
    while isinstance(error, BaseExceptionGroup):
        error = error.exceptions[0]
    return error
