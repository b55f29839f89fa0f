"""One number as a Bluetooth characteristic presents it: the inverse of reading it."""

from __future__ import annotations

import struct
from decimal import Decimal

from gaugelink.devices.bluetooth.presentation import Presentation, is_float
from gaugelink.units import factor
from simulators.bodies import EncodingError

SPECIAL = {"not-a-number": -1, "not-at-this-resolution": 0, "above": -2, "below": 2, "reserved": 1}
"""What IEEE 11073 floats have patterns for, counted from the most negative mantissa."""

_MEDICAL = {"medfloat16": (12, 2), "medfloat32": (24, 4)}
"""Bits of the mantissa, bytes in all."""

_BINARY = {"float32": "<f", "float64": "<d"}

_UNENDING = {"not-a-number": "nan", "above": "inf", "below": "-inf"}


class PresentedBody:
    """A value as one number.

    A float says no step, so an indicator that sends one counts in the greatest power of ten of its
    unit that is no coarser than a hundredth of a millimetre.
    """

    def __init__(self, presented: Presentation) -> None:
        self._format = presented.format
        self.unit = presented.unit
        power = presented.exponent
        if is_float(presented.format):
            power = (1 / factor(presented.unit)).adjusted()
        self._power = power

    @property
    def step(self) -> Decimal:
        """The weight of the last digit, in the unit that is sent."""
        return Decimal((0, (1,), self._power))

    def write(self, value: Decimal) -> bytes:
        """The bytes that say `value`; EncodingError when it has no room in the format."""
        count = int((value / self.step).to_integral_value())
        if self._format in _BINARY:
            return struct.pack(_BINARY[self._format], float(count * self.step))
        if self._format in _MEDICAL:
            bits, size = _MEDICAL[self._format]
            # The five patterns about the most negative mantissa are no numbers.
            if abs(count) >= (1 << bits - 1) - 2:
                raise EncodingError(f"{value} has no room in {self._format}")
            return _medical(count, self._power, bits, size)
        bits = int(self._format.removeprefix("sint").removeprefix("uint"))
        least = -(1 << bits - 1) if self._format.startswith("s") else 0
        if not least <= count < least + (1 << bits):
            raise EncodingError(f"{value} has no room in {self._format}")
        return (count & (1 << bits) - 1).to_bytes((bits + 7) // 8, "little")


def _medical(mantissa: int, power: int, bits: int, size: int) -> bytes:
    whole = 1 << size * 8
    return ((power << bits) % whole | mantissa % (1 << bits)).to_bytes(size, "little")


def special(presented: Presentation, meaning: str) -> bytes:
    """The bytes of a float that stand for no number; EncodingError when it has none for it."""
    if presented.format in _MEDICAL:
        bits, size = _MEDICAL[presented.format]
        return _medical(-(1 << bits - 1) + SPECIAL[meaning], 0, bits, size)
    if presented.format in _BINARY and meaning in _UNENDING:
        return struct.pack(_BINARY[presented.format], float(_UNENDING[meaning]))
    raise EncodingError(f"{presented.format} cannot say {meaning}")
