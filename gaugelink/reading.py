"""The values that flow through gaugelink, and the one root of its errors.

Lengths are exact decimals. A reading is in hundredths of a millimetre (the number that a maker
says out loud: "forty-three"), with the resolution that the digits on the wire implied.
"""

from __future__ import annotations

from decimal import Decimal

import msgspec

NANOMETRES_PER_HUNDREDTH = 10_000
"""One hundredth of a millimetre is 10 000 nm; the store keeps whole nanometres."""


class GaugelinkError(Exception):
    """Anything that gaugelink has to tell a person about.

    The text is one line that says what is wrong and, after a semicolon or colon, what to do.
    """


class RawReading(msgspec.Struct, frozen=True, gc=False):
    """What one frame from an indicator said, before units are normalised."""

    value: Decimal
    """The number as sent, sign, decimal mark and exponent applied; in `unit`."""
    unit: str
    """Canonical unit name, one of `gaugelink.units.UNITS`."""
    text: str
    """The digits as they stood on the wire, for the record."""
    resolution: Decimal
    """The weight of the last digit sent, in `unit`."""
    status: str = ""
    """A status word from the device's description, empty when nothing was reported."""


class Reading(msgspec.Struct, frozen=True, gc=False):
    """One length that a gauge reported, in hundredths of a millimetre."""

    gauge: str
    seq: int
    """Counts the readings of this gauge from 1 since the link's supervisor started."""
    at: float
    """Seconds on the monotonic clock when the frame's last byte arrived."""
    hundredths: Decimal
    resolution: Decimal
    """Hundredths of a millimetre per last digit sent."""
    unit: str
    value: str
    """The number's text as sent, in `unit`."""
    status: str = ""
    pushed: bool = False
    """Sent once, by a press of the indicator's own button: there is no stream to watch."""


def to_nanometres(hundredths: Decimal) -> int:
    """Whole nanometres, rounding half to even.

    Metric readings down to 0.001 µm and inch readings down to 0.00005 in land on whole
    nanometres exactly; a finer inch digit is rounded by at most half a nanometre.
    """
    return int((hundredths * NANOMETRES_PER_HUNDREDTH).to_integral_value())


def from_nanometres(nanometres: int) -> Decimal:
    """Hundredths of a millimetre from whole nanometres, without trailing zeros."""
    exact = Decimal(nanometres).scaleb(-4)
    whole = exact.to_integral_value()
    return whole if exact == whole else exact.normalize()
