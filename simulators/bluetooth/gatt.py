"""What a simulated device offers: its services, characteristics and descriptors, as data."""

from __future__ import annotations

import struct
from typing import Literal

import msgspec

from gaugelink.devices.bluetooth.assigned import (
    BATTERY,
    BATTERY_LEVEL,
    FORMATS,
    INDUSTRIAL_MEASUREMENT,
    LENGTHS,
    PRESENTATION_FORMAT,
)
from gaugelink.devices.bluetooth.presentation import Presentation
from simulators.bodies import EncodingError

PRESENTED_VALUE = "6f1c0001-52a4-4e0b-9d3e-2b7a5c1e8f40"
UART_SERVICE = "6f1c0010-52a4-4e0b-9d3e-2b7a5c1e8f40"
UART_OUT = "6f1c0011-52a4-4e0b-9d3e-2b7a5c1e8f40"
UART_IN = "6f1c0012-52a4-4e0b-9d3e-2b7a5c1e8f40"
"""UUIDs of our own, drawn at random."""

SECOND = 0x2703
"""The assigned number of a unit that is no length."""

SIG = 1
"""The namespace of the Bluetooth SIG's own descriptions."""

DescriptorKind = Literal["right", "absent", "wrong-unit", "wrong-format", "short"]
"""How a presentation descriptor is, as it should be or not."""


class Descriptor(msgspec.Struct, frozen=True):
    """A descriptor that can be read."""

    uuid: str
    value: bytes


class Characteristic(msgspec.Struct, frozen=True):
    """A characteristic; its value is what is sent."""

    uuid: str
    flags: tuple[str, ...]
    descriptors: tuple[Descriptor, ...] = ()


class Service(msgspec.Struct, frozen=True):
    """A service."""

    uuid: str
    characteristics: tuple[Characteristic, ...]


def descriptor_bytes(presented: Presentation, kind: DescriptorKind) -> bytes | None:
    """The presentation descriptor's bytes; None for one that is absent.

    Raises EncodingError for a unit that Bluetooth has no number for.
    """
    number = FORMATS.index(presented.format) + 1
    units = {length.unit: number for number, length in LENGTHS.items()}
    if presented.unit not in units:
        raise EncodingError(
            f"Bluetooth has no unit {presented.unit}; for hundredths, metre with exponent -5"
        )
    unit = units[presented.unit]
    if kind == "absent":
        return None
    if kind == "wrong-unit":
        unit = SECOND
    if kind == "wrong-format":
        number = FORMATS.index("struct") + 1
    whole = struct.pack("<BbHBH", number, presented.exponent, unit, SIG, 0)
    return whole[:5] if kind == "short" else whole


def presenting(presented: Presentation, kind: DescriptorKind) -> Service:
    """The service of a measuring device whose value says how it is to be read."""
    data = descriptor_bytes(presented, kind)
    descriptors = () if data is None else (Descriptor(PRESENTATION_FORMAT, data),)
    value = Characteristic(PRESENTED_VALUE, ("read", "notify"), descriptors)
    return Service(INDUSTRIAL_MEASUREMENT, (value,))


def uart() -> Service:
    """A service that carries text both ways."""
    return Service(
        UART_SERVICE,
        (
            Characteristic(UART_OUT, ("notify",)),
            Characteristic(UART_IN, ("write", "write-without-response")),
        ),
    )


def battery() -> Service:
    """The battery's charge."""
    return Service(BATTERY, (Characteristic(BATTERY_LEVEL, ("read", "notify")),))
