"""A capture that was acknowledged survives `kill -9` of the daemon."""

from __future__ import annotations

from tests.daemon.kill import trials


async def test_fifty_kills_lose_nothing_that_was_acknowledged() -> None:
    assert await trials(50, seed=20) > 500
