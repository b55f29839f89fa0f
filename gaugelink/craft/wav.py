"""Sound out of a WAV file: the chunks of a RIFF file with linear or floating-point samples.

After the RIFF/WAVE description that Microsoft and IBM published in 1991, and WAVE_FORMAT_EXTENSIBLE
(both from memory): tests hold it against files that two independent libraries write.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

from gaugelink.craft.measured import CraftError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Samples = NDArray[np.float64]

LINEAR, FLOATING, EXTENSIBLE = 1, 3, 0xFFFE
"""Format tags."""

MOST_CHANNELS = 64
MOST_BYTES = 200_000_000
"""A longer recording is not a crow."""


class Recording(NamedTuple):
    """One channel of sound."""

    rate: int
    """Samples per second."""
    samples: Samples
    """From -1 to 1, of the loudest channel."""


class _Format(NamedTuple):
    tag: int
    channels: int
    rate: int
    bits: int


def read_wav(data: bytes) -> Recording:
    """The loudest channel of a WAV file with 8, 16, 24 or 32 bits, or 32- or 64-bit floats.

    A file that was cut off is read as far as it goes. Raises CraftError for anything else, with
    what is wrong.
    """
    import numpy as np

    if len(data) > MOST_BYTES:
        raise CraftError("the recording is too long; a few seconds of crow are enough")
    if data[:4] != b"RIFF" or data[8:12] != b"WAVE":
        raise CraftError("this is no WAV file; record the crow as WAV")
    layout: _Format | None = None
    for name, body in _chunks(data):
        if name == b"fmt ":
            layout = _layout(body)
        elif name == b"data":
            if layout is None:
                raise CraftError("the WAV file has sound before its format; record it anew")
            channels = _samples(layout, body)
            loudest = int(np.argmax(np.var(channels, axis=0))) if len(channels) else 0
            return Recording(layout.rate, np.ascontiguousarray(channels[:, loudest]))
    raise CraftError("the WAV file holds no sound; record it anew")


def _chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    place = 12
    while place + 8 <= len(data):
        name, size = struct.unpack_from("<4sI", data, place)
        yield name, data[place + 8 : place + 8 + size]
        # Chunks begin at even places.
        place += 8 + size + size % 2


def _layout(body: bytes) -> _Format:
    if len(body) < 16:
        raise CraftError("the WAV file's format is cut off; record it anew")
    tag, channels, rate, _, block, bits = struct.unpack_from("<HHIIHH", body)
    if tag == EXTENSIBLE and len(body) >= 26:
        # The tag proper is the beginning of the format's long name.
        (tag,) = struct.unpack_from("<H", body, 24)
    if (tag, bits) not in {
        *((LINEAR, width) for width in (8, 16, 24, 32)),
        *((FLOATING, width) for width in (32, 64)),
    }:
        raise CraftError(f"a WAV file of kind {tag} with {bits} bits; record it as plain 16-bit")
    if not 1 <= channels <= MOST_CHANNELS or block != channels * bits // 8 or not rate:
        raise CraftError("the WAV file's format contradicts itself; record it anew")
    return _Format(tag, channels, rate, bits)


def _samples(layout: _Format, body: bytes) -> Samples:
    """The samples as rows of channels, from -1 to 1."""
    import numpy as np

    width = layout.bits // 8
    frames = len(body) // (width * layout.channels)
    raw = body[: frames * width * layout.channels]
    if layout.tag == FLOATING:
        values = np.frombuffer(raw, f"<f{width}").astype(np.float64)
        # A sample that is no number, or far beyond full scale, is silence rather than a fault.
        values = np.where(np.abs(values) <= 1e3, values, 0.0)
    elif width == 1:
        values = (np.frombuffer(raw, np.uint8).astype(np.float64) - 128) / 128
    elif width == 3:
        # Three bytes become the upper ones of four, so that the sign comes along.
        padded = np.zeros((frames * layout.channels, 4), np.uint8)
        padded[:, 1:] = np.frombuffer(raw, np.uint8).reshape(-1, 3)
        values = padded.view("<i4").reshape(-1).astype(np.float64) / 2.0**31
    else:
        values = np.frombuffer(raw, f"<i{width}").astype(np.float64) / 2.0 ** (layout.bits - 1)
    return values.reshape(frames, layout.channels)
