"""Staying with the hub: connect, listen, and come back after it went away."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Coroutine
from contextlib import aclosing
from typing import Any, NoReturn

from gaugelink.daemon.client import Client, HubError, HubGone
from gaugelink.daemon.messages import Event, Follow, Request
from gaugelink.reading import GaugelinkError
from gaugelink.together import until_one_ends

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
        self._followed = Follow()
        self.client: Client | None = None
        """The present client; None while the hub is away."""

    async def ask(self, request: Request) -> Any:
        """The hub's answer; HubError, with the line to be said, when there is none.

        What is to be followed holds for the hub that comes back, too, and may be asked for while
        it is away.
        """
        if isinstance(request, Follow):
            self._followed = request
            if self.client is None:
                return None
        if self.client is None:
            raise HubError("the hub is away: nothing done")
        try:
            return await self.client.ask(request)
        except HubGone as error:
            raise HubError(
                "the hub went away before it answered: nothing is known to be done"
            ) from error

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
            asked = None
            while asked is not self._followed:
                await client.ask(asked := self._followed)
            self.client = client
            await until_one_ends(self._listen(client), self._settle_in(client))
        except (HubGone, HubError, OSError) as error:
            reason = str(error) or reason
        finally:
            self.client = None
            await client.close()
        return reason

    async def _settle_in(self, client: Client) -> NoReturn:
        """Do what an arrival leads to; then wait for the end."""
        await self._arrived(client)
        await asyncio.Event().wait()
        raise AssertionError("nobody sets it")

    async def _listen(self, client: Client) -> None:
        async with aclosing(client.events()) as events:
            async for event in events:
                self._heard(event)
                # A stream that always has one ready must not keep the screen from being painted.
                await asyncio.sleep(0)
        raise HubGone("the connection ended.")
