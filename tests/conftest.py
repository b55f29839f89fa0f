"""What every test runs under: nothing left behind, nobody's own folders, chosen thoroughness.

`HYPOTHESIS_PROFILE=thorough` runs each property with a thousand examples.
"""

from __future__ import annotations

import asyncio
import functools
import gc
import inspect
import os
import threading
import time
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path
from typing import Any

import hypothesis
import pytest

hypothesis.settings.register_profile("default", deadline=None, max_examples=60)
hypothesis.settings.register_profile("thorough", deadline=None, max_examples=1000)
hypothesis.settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "default"))

GRACE = 2.0
"""Seconds that a closing thread or a dying process gets before it counts as left behind."""

FOLDERS = {
    "XDG_CONFIG_HOME": "config",
    "XDG_DATA_HOME": "data",
    "XDG_STATE_HOME": "state",
    "XDG_CACHE_HOME": "cache",
    "XDG_RUNTIME_DIR": "run",
}


@pytest.fixture(autouse=True)
def own_folders(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A home of the test's own, so that none touches the user's; not in the test's `tmp_path`.

    The path is short: a Unix socket in it must fit the hundred-odd bytes that systems allow.
    """
    home = tmp_path_factory.mktemp("u")
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.setenv("USERPROFILE", str(home))
    for variable, folder in FOLDERS.items():
        (home / folder).mkdir(mode=0o700)
        monkeypatch.setenv(variable, str(home / folder))
    return home


@pytest.fixture(autouse=True)
def nothing_left_behind(
    request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch
) -> Iterator[None]:
    """Fails a test that leaves a task, a thread, a child process or an open file behind.

    It is set up before the test's own fixtures and event loop, and so looks after they are gone:
    the threads of a loop's default executor end with the loop and need no exception.
    """
    _watch_tasks(request.node, monkeypatch)
    threads, children, files = set(threading.enumerate()), _children(), _open_files()
    yield

    def left() -> list[str]:
        return [
            *(f"thread {thread.name!r}" for thread in set(threading.enumerate()) - threads),
            *(f"child process {child}" for child in _children() - children),
            *(f"open file {number}: {what}" for number, what in _open_files() - files),
        ]

    until = time.monotonic() + GRACE
    while left() and time.monotonic() < until:
        # A file that nothing refers to is closed here, with the warning that fails the test.
        gc.collect()
        time.sleep(0.01)
    if found := left():
        pytest.fail("left behind: " + "; ".join(sorted(found)))


def _watch_tasks(node: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let an async test look at its tasks while its loop still runs: the end of it ends them."""
    test = getattr(node, "obj", None)
    if inspect.iscoroutinefunction(test):
        monkeypatch.setattr(node, "obj", _watched(test))
    inner = getattr(getattr(test, "hypothesis", None), "inner_test", None)
    if test is not None and inspect.iscoroutinefunction(inner):
        monkeypatch.setattr(test.hypothesis, "inner_test", _watched(inner))


def _watched(test: Callable[..., Awaitable[None]]) -> Callable[..., Awaitable[None]]:
    @functools.wraps(test)
    async def watched(*args: Any, **kwargs: Any) -> None:
        # Tasks of the test's async fixtures are there already, and theirs to end.
        before = asyncio.all_tasks()
        await test(*args, **kwargs)
        # A task that has been cancelled needs some rounds of the loop to be done.
        for _ in range(20):
            await asyncio.sleep(0)
        if left := {task for task in asyncio.all_tasks() - before if not task.done()}:
            pytest.fail("left behind: " + "; ".join(sorted(map(repr, left))))

    return watched


def _children() -> set[int]:
    """The process's children, dead but not waited for included; none where /proc is missing."""
    found: set[int] = set()
    for task in Path("/proc/self/task").glob("*/children"):
        try:
            found |= {int(child) for child in task.read_text().split()}
        except (FileNotFoundError, ProcessLookupError):
            continue  # the thread ended meanwhile; its children now belong to another
    return found


def _open_files() -> set[tuple[int, str]]:
    """Open file descriptors with what they lead to; none where /proc is missing."""
    found: set[tuple[int, str]] = set()
    for entry in Path("/proc/self/fd").glob("*"):
        try:
            found.add((int(entry.name), os.readlink(entry)))
        except FileNotFoundError:
            continue  # the descriptor through which the folder itself is read
    return found
