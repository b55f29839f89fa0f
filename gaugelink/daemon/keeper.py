"""The store, kept in one thread of its own so that a commit never holds up the event loop."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable
from concurrent.futures import ThreadPoolExecutor
from typing import ParamSpec, TypeVar

from gaugelink.store.store import Store

P = ParamSpec("P")
T = TypeVar("T")


class Keeper:
    """Runs the store's methods one after another in its thread."""

    def __init__(self, store: Store, thread: ThreadPoolExecutor) -> None:
        self.store = store
        self._thread = thread

    async def run(self, method: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> T:
        """What the store's `method` returns or raises.

        Whoever waits may be cancelled; a call that has begun is carried through all the same, so
        a capture is written whole or not at all.
        """
        return await asyncio.wrap_future(self._thread.submit(method, *args, **kwargs))


@contextlib.asynccontextmanager
async def keeping(open_store: Callable[[], Store]) -> AsyncIterator[Keeper]:
    """Open the store in its thread, and close it there when the block is left.

    Raises what `open_store` raises, such as StoreError when another writer holds the store.
    """
    with ThreadPoolExecutor(1, thread_name_prefix="store") as thread:
        store = await asyncio.wrap_future(thread.submit(open_store))
        try:
            yield Keeper(store, thread)
        finally:
            await asyncio.wrap_future(thread.submit(store.close))
