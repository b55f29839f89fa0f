"""The fixtures of conftest catch what they say: leaking tests run in a pytest of their own."""

from __future__ import annotations

from pathlib import Path

import pytest

pytest_plugins = ["pytester"]

LEAKING = """
import asyncio, os, subprocess, threading
import platformdirs
from hypothesis import given, strategies

kept = []
release = threading.Event()

async def test_task():
    kept.append(asyncio.create_task(asyncio.sleep(60)))

@given(strategies.booleans())
async def test_task_of_a_property(_):
    kept.append(asyncio.create_task(asyncio.sleep(60)))

def test_thread():
    threading.Thread(target=release.wait, name="straggler", daemon=True).start()

def test_child():
    kept.append(subprocess.Popen(["sleep", "60"]))

def test_open_file():
    kept.append(os.open(os.devnull, os.O_RDONLY))

def test_ends_what_the_others_left():
    release.set()
    kept[-2].kill()
    kept[-2].wait()
    os.close(kept[-1])

async def test_clean():
    await asyncio.to_thread(len, "a default executor's thread ends with its loop")
    child = await asyncio.create_subprocess_exec("true")
    await child.wait()

def test_own_folders(own_folders):
    for of in ("config", "data", "state", "cache", "runtime"):
        folder = getattr(platformdirs, f"user_{of}_dir")("gaugelink")
        assert folder.startswith(str(own_folders)), folder
"""


def test_what_is_left_behind_fails_the_test(pytester: pytest.Pytester) -> None:
    conftest = (Path(__file__).parent / "conftest.py").read_text("utf-8")
    pytester.makeconftest(conftest.replace("GRACE = 2.0", "GRACE = 0.3"))
    pytester.makeini("[pytest]\nasyncio_mode = auto\n")
    pytester.makepyfile(LEAKING)
    result = pytester.runpytest_subprocess("-p", "no:cacheprovider")
    # Tasks fail the test itself, the rest its teardown.
    result.assert_outcomes(passed=6, failed=2, errors=3)
    said = result.stdout.str()
    for left in ("<Task pending", "thread 'straggler'", "child process", "open file"):
        assert f"left behind: {left}" in said
