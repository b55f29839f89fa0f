"""The picture of the bench in the README, made by the app itself: `python -m tui.picture PATH`.

The scene is invented, and the file is the same every time.
"""

from __future__ import annotations

import asyncio
import re
import sys
from pathlib import Path

from gaugelink.daemon.client import Client
from gaugelink.daemon.messages import StartWalk
from tui import scene
from tui.app import BenchApp

DONE = 22
"""Stations captured when the picture is taken: the walk is on the second blade."""


async def picture(path: str | Path, size: tuple[int, int] = (100, 30)) -> None:
    """Write the SVG of a bench in the middle of a walk, on a screen of `size` cells."""
    walk = scene.walk(DONE)
    client = scene.SceneClient({StartWalk: walk})

    async def factory() -> Client:
        return client

    app = BenchApp(factory, scene.PLAN, frame=0, quiet_after=0)
    async with asyncio.timeout(60), app.run_test(size=size) as pilot:
        client.say(scene.gauge(status="battery good"))
        await client.heard()
        await pilot.pause()
        client.say(*(scene.captured(walk, index) for index in range(DONE)))
        client.say(scene.reading("42", "settled", still=0.6))
        await client.heard()
        await pilot.pause()
        svg = app.export_screenshot(title="gaugelink")
    await asyncio.to_thread(Path(path).write_text, steady(svg), encoding="utf-8")


def steady(svg: str) -> str:
    """The SVG with its random number made the same, and its spaces kept by every viewer."""
    same = re.sub(r"\bterminal-\d+", "terminal-bench", svg)
    return same.replace("<text ", '<text xml:space="preserve" ')


if __name__ == "__main__":
    asyncio.run(picture(sys.argv[1]))
