"""Plays one sound through sounddevice; a script that `sound` runs as a process of its own.

It is ready with the samples per second that the card likes best, and takes them as raw 32-bit
floats of one channel. numpy is not needed for that.
"""

from __future__ import annotations

import sys


def main() -> None:
    """Play one sound."""
    import sounddevice  # type: ignore[import-untyped]

    rate = int(sounddevice.query_devices(kind="output")["default_samplerate"])
    print(f"ready {rate}", flush=True)
    if samples := sys.stdin.buffer.read():
        # The card is held only now: where cards are not shared, the voice has to get at it, too.
        # Leaving the stream waits until all has sounded.
        with sounddevice.RawOutputStream(samplerate=rate, channels=1, dtype="float32") as stream:
            stream.write(samples)


if __name__ == "__main__":
    main()
