"""Teaching a recording: what was heard is looked at once, and nothing is asked."""

from __future__ import annotations

import asyncio
import re
from collections import Counter

from gaugelink.devices import bluetooth, recording, replay_link
from gaugelink.devices.link import LinkError
from gaugelink.devices.teaching import policy
from gaugelink.devices.teaching.finding import Finding, Line
from gaugelink.devices.teaching.hearing import Ear, NotTaught


async def teach_recording(port: str, ear: Ear) -> Finding:
    """What the indicator sends that was recorded in the file of a `replay:` port.

    Raises NotTaught when it makes no sense, or LinkError when the file cannot be read.
    """
    file = replay_link.replay_of(port).file
    try:
        played = await asyncio.to_thread(recording.load, file)
    except recording.RecordingError as error:
        raise LinkError(str(error)) from error
    line, chunks = line_of(played), list(played.chunks())
    ear.tried.hear(line, sum(len(chunk.data) for chunk in chunks))
    found = await ear.analysed(chunks, line) if chunks else None
    found = await ear.named(found, line, chunks)
    if found is None:
        what = "what was recorded makes no sense" if chunks else "nothing came while it recorded"
        raise NotTaught(
            f"{port}: {what}; {ear.tried.words}. Record it at the right speed", ear.tried
        )
    return found


def line_of(played: recording.Recording) -> Line:
    """The line that was recorded: its speed, and what the indicator was asked with."""
    asked = Counter(entry.sent for entry in played.entries if entry.sent)
    request = asked.most_common(1)[0][0] if asked else ""
    speed = re.match(r"\d{1,9}", played.header.line, re.ASCII)
    baud = int(speed[0]) if speed else 0
    if bluetooth.is_bluetooth(played.header.port):
        baud = 0
    elif not baud:
        baud = policy.SPEEDS[0]
    return Line(baud, request=request, sends="when-asked" if request else "stream")
