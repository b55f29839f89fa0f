"""Make the recordings anew: `python -m tests.recordings [NAME …]`. Then look at what changed.

Each is a second and a half of a simulated indicator on a pseudo-terminal, recorded as
`gaugelink watch --record` does it. What is expected of it is what is read today: a later change
that reads it otherwise has to say so.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import sys
from pathlib import Path

from gaugelink.devices.catalog import catalog
from gaugelink.devices.description import Description
from gaugelink.devices.pipeline import Pipeline
from gaugelink.devices.recording import FORMAT, Header, RecordingLink
from gaugelink.devices.serial_link import SerialLink
from gaugelink.devices.supervisor import LinkState, Supervisor
from gaugelink.reading import Reading

HERE = Path(__file__).parent
SECONDS = 1.5
PLACE = "crossed/53/-0.5"


class Kept:
    """A supervisor's sink that keeps the readings."""

    def __init__(self) -> None:
        self.readings: list[Reading] = []

    def heard(self, readings: list[Reading]) -> None:
        self.readings += readings

    def link(self, state: LinkState, reason: str, retry_in: float) -> None:
        """The link does not change here."""


async def record(description: Description) -> None:
    """Record one format."""
    process = await asyncio.create_subprocess_exec(
        *(sys.executable, "-m", "simulators", "serial", "--until-eof"),
        *("--description", description.name),
        stdin=asyncio.subprocess.PIPE,
        stdout=asyncio.subprocess.PIPE,
    )
    assert process.stdin is not None
    assert process.stdout is not None
    port = (await process.stdout.readline()).decode().strip()
    process.stdin.write(json.dumps({"do": "place", "station": PLACE}).encode() + b"\n")
    kept, pipeline = Kept(), Pipeline(description, "recorded")
    with (HERE / f"{description.name}.jsonl").open("w", encoding="utf-8") as file:
        header = Header(
            FORMAT, "simulated", description.name, description.link.short, "simulated, invented"
        )
        link = RecordingLink(SerialLink(port, description.link), file, header)
        running = asyncio.create_task(Supervisor(link, pipeline, kept).run())
        if description.sends == "on-button":
            for _ in range(3):
                await asyncio.sleep(SECONDS / 3)
                process.stdin.write(b'{"do": "button"}\n')
        await asyncio.sleep(SECONDS)
        running.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await running
    process.stdin.close()
    await process.stdout.read()
    await process.wait()
    expected = {
        "readings": [[str(e.hundredths), str(e.resolution), e.value] for e in kept.readings],
        "refused": dict(pipeline.refused),
    }
    lines = ",\n".join(f"    {json.dumps(each)}" for each in expected["readings"])
    (HERE / f"{description.name}.expected.json").write_text(
        f'{{"readings": [\n{lines}\n], "refused": {json.dumps(expected["refused"])}}}\n'
    )
    print(f"{description.name}: {len(kept.readings)} readings, refused {dict(pipeline.refused)}")


def main() -> None:
    """Record the formats that are named, or all of them."""
    for name, description in catalog().items():
        if not sys.argv[1:] or name in sys.argv[1:]:
            asyncio.run(record(description))


if __name__ == "__main__":
    main()
