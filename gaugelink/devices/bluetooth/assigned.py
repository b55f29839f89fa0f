"""Numbers that the Bluetooth SIG has assigned, as far as measuring devices use them.

From its Assigned Numbers: GATT format types (2.4.1), units (3.5), appearance values (2.6.3),
service, characteristic and descriptor UUIDs.
"""

from __future__ import annotations

from typing import NamedTuple


def full_uuid(short: int) -> str:
    """The 128-bit UUID, as text, that a 16-bit one stands for."""
    return f"0000{short:04x}-0000-1000-8000-00805f9b34fb"


PRESENTATION_FORMAT = full_uuid(0x2904)
"""The Characteristic Presentation Format descriptor."""

BATTERY_LEVEL = full_uuid(0x2A19)
"""The characteristic that holds the battery's charge, one byte, in percent."""

BATTERY = full_uuid(0x180F)
"""The Battery Service."""

INDUSTRIAL_MEASUREMENT = full_uuid(0x185A)
"""The Industrial Measurement Device service: a standard measuring device's."""

GENERIC_SERVICES = (full_uuid(0x1800), full_uuid(0x1801))
"""Generic Access and Generic Attribute: every device has at least one of the two."""

APPEARANCES = {
    0x1480: "measuring device",
    0x1482: "caliper",
    0x1483: "dial indicator",
    0x1484: "micrometer",
    0x1485: "height gauge",
}
"""What a device that measures lengths may announce itself as. The class also has a torque tester
and a force gauge, which do not."""

FORMATS = (
    "boolean",
    "uint2",
    "uint4",
    "uint8",
    "uint12",
    "uint16",
    "uint24",
    "uint32",
    "uint48",
    "uint64",
    "uint128",
    "sint8",
    "sint12",
    "sint16",
    "sint24",
    "sint32",
    "sint48",
    "sint64",
    "sint128",
    "float32",
    "float64",
    "medfloat16",
    "medfloat32",
    "uint16[2]",
    "utf8s",
    "utf16s",
    "struct",
    "medASN1",
)
"""Names of the format types; the first has the number 1."""


class AssignedUnit(NamedTuple):
    """A length among the assigned units."""

    name: str
    """As it is assigned."""
    unit: str
    """As `gaugelink.units` calls it; empty for one that has no exact decimal factor."""


LENGTHS = {
    0x2701: AssignedUnit("metre", "m"),
    0x2782: AssignedUnit("ångström", "angstrom"),
    0x2783: AssignedUnit("nautical mile", "nmi"),
    0x27A0: AssignedUnit("yard", "yd"),
    0x27A1: AssignedUnit("parsec", ""),
    0x27A2: AssignedUnit("inch", "in"),
    0x27A3: AssignedUnit("foot", "ft"),
    0x27A4: AssignedUnit("mile", "mi"),
}
"""The assigned units that are lengths. There is no millimetre: 0.01 mm is metre with exponent
-5."""
