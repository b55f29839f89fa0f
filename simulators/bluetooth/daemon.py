"""A message bus of one's own: a dbus-daemon process, its socket and its configuration."""

from __future__ import annotations

import asyncio
import contextlib
import ctypes
import shutil
import signal
import sys
import tempfile
from asyncio.subprocess import DEVNULL, PIPE
from collections.abc import AsyncIterator
from pathlib import Path
from typing import IO

from gaugelink.reading import GaugelinkError

PROGRAM = "dbus-daemon"

START = 10.0
"""Seconds that it may take to start."""

_CONFIGURATION = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <listen>unix:path={socket}</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow send_destination="*"/>
    <allow receive_sender="*"/>
    <allow own="*"/>
    <allow user="*"/>
  </policy>
</busconfig>
"""

_PR_SET_PDEATHSIG = 1


class BusError(GaugelinkError):
    """There is no message bus to be had."""


def _end_with_parent() -> None:
    """Runs in the child: a simulator that is killed must not leave its bus behind."""
    _libc.prctl(_PR_SET_PDEATHSIG, signal.SIGTERM)


_libc = ctypes.CDLL(None)


@contextlib.asynccontextmanager
async def private_bus() -> AsyncIterator[str]:
    """The address of a fresh bus, which lasts as long as the block.

    Raises BusError when there is no dbus-daemon, or it does not start.
    """
    program = shutil.which(PROGRAM)
    if program is None:
        raise BusError(f"{PROGRAM} is not installed; install the package dbus")
    with tempfile.TemporaryDirectory(prefix="gaugelink-bus-") as folder:
        configuration = Path(folder) / "bus.conf"
        configuration.write_text(_CONFIGURATION.format(socket=Path(folder) / "bus"), "utf-8")
        said = Path(folder) / "said"
        with said.open("wb") as errors:
            process = await _start(program, configuration, errors)
        assert process.stdout is not None
        try:
            async with asyncio.timeout(START):
                address = (await process.stdout.readline()).decode().strip()
            if not address:
                why = " ".join(said.read_text("utf-8", "replace").split())
                raise BusError(f"{PROGRAM} did not start: {why}")
            yield address
        finally:
            if process.returncode is None:
                process.terminate()
            await process.wait()


async def _start(
    program: str, configuration: Path, errors: IO[bytes]
) -> asyncio.subprocess.Process:
    return await asyncio.create_subprocess_exec(
        *(program, f"--config-file={configuration}", "--nofork", "--nopidfile"),
        "--print-address=1",
        stdin=DEVNULL,
        stdout=PIPE,
        stderr=errors,
        # Ctrl-C at a terminal is for the simulator, which ends its bus last of all.
        start_new_session=True,
        preexec_fn=_end_with_parent if sys.platform == "linux" else None,
    )
