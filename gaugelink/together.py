"""Coroutines that stand and fall together."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from typing import Any


async def until_one_ends(*coroutines: Coroutine[Any, Any, object]) -> None:
    """Run them side by side until one ends, which ends the others; raises what that one raised.

    A task group would do, but before Python 3.13 it forgets a cancellation that comes at the very
    moment at which one of its tasks fails, and whoever waits for its end then waits for ever.
    """
    tasks = [asyncio.ensure_future(each) for each in coroutines]
    try:
        done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
    for task in done:
        task.result()
