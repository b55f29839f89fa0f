"""Framing and decoding joined: bytes of one gauge in, its readings out, and a count of the rest."""

from __future__ import annotations

from collections import Counter

from gaugelink.devices.decoding import Decoder, Refusal
from gaugelink.devices.description import Description
from gaugelink.devices.framing import Frame, framer_for
from gaugelink.reading import Reading

SENSELESS = frozenset({"no match", "checksum"})
"""Refusals of frames that are not of the described format. What else is refused was understood."""


class Pipeline:
    """Turns one gauge's bytes into readings. Pure but for what it remembers: no clock, no I/O."""

    def __init__(self, description: Description, gauge: str) -> None:
        self.description = description
        self.gauge = gauge
        decoder = Decoder(description)
        self._decode = decoder.decode
        self.warm = decoder.warm
        self._framer = framer_for(description, decoder.sound)
        self._pushed = description.sends == "on-button"
        self.seq = 0
        self.sense = 0
        """Frames that were of the described format, whether they held a reading or not."""
        self.refused: Counter[str] = Counter()
        self.last_refused: Refusal | None = None

    @property
    def patience(self) -> float | None:
        """Seconds of silence after the last byte at which `quiet` should be called, if any."""
        return self._framer.patience

    def feed(self, data: bytes, at: float) -> list[Reading]:
        """The readings that `data`, received at `at` seconds (monotonic), completes."""
        return self._readings(self._framer.feed(data, at))

    def quiet(self, at: float) -> list[Reading]:
        """The readings that silence until `at` completes."""
        return self._readings(self._framer.quiet(at))

    def reset(self) -> None:
        """The link was lost: what had begun to arrive is not the beginning of what follows."""
        self._framer.reset()

    def _readings(self, frames: list[Frame]) -> list[Reading]:
        readings = []
        for frame in frames:
            decoded = (
                Refusal(frame.fault, frame.payload) if frame.fault else self._decode(frame.payload)
            )
            if isinstance(decoded, Refusal):
                self.refused[decoded.reason] += 1
                self.sense += not (frame.fault or decoded.reason in SENSELESS)
                self.last_refused = decoded
                continue
            self.seq += 1
            self.sense += 1
            raw = decoded.raw
            readings.append(
                Reading(
                    self.gauge,
                    self.seq,
                    frame.at,
                    decoded.hundredths,
                    decoded.resolution,
                    raw.unit,
                    raw.text,
                    raw.status,
                    self._pushed,
                )
            )
        return readings
