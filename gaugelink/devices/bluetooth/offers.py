"""What a connected Bluetooth device offers, and which of it is the indicator's value. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import msgspec

from gaugelink.devices.bluetooth.assigned import BATTERY, INDUSTRIAL_MEASUREMENT
from gaugelink.devices.bluetooth.presentation import (
    Presentation,
    PresentationError,
    parse,
    presentation,
)
from gaugelink.devices.description import Description, LinkSettings


class Offer(msgspec.Struct, frozen=True):
    """One characteristic."""

    service: str
    uuid: str
    handle: int
    """Its place among the device's attributes, by which bleak knows it."""
    service_handle: int
    notifies: bool
    """It sends its value by itself, once it is subscribed to."""
    written: bool
    """It can be written."""
    presented: bytes | None = None
    """Its presentation descriptor, None when it has none."""


class Presented(NamedTuple):
    """A characteristic that says of itself that it is a length."""

    offer: Offer
    presentation: Presentation


def values(offers: Sequence[Offer]) -> list[Offer]:
    """The characteristics that may be the indicator's value: they notify, and are no battery.

    Those of the standard's measuring device come first, then in the device's own order.
    """
    found = [each for each in offers if each.notifies and each.service != BATTERY]
    return sorted(found, key=lambda each: (each.service != INDUSTRIAL_MEASUREMENT, each.handle))


def presented(offers: Sequence[Offer]) -> tuple[Presented | None, list[str]]:
    """The first value that presents a length; and why the others before it do not."""
    reasons: list[str] = []
    for offer in values(offers):
        if offer.presented is None:
            continue
        try:
            return Presented(offer, presentation(parse(offer.presented))), reasons
        except PresentationError as error:
            reasons.append(str(error))
    return None, reasons


def text_lines(offers: Sequence[Offer]) -> list[Offer]:
    """The values that may carry text, those of UART-like services first.

    A UART-like service has a characteristic to listen to and one to write to, or one for both.
    """
    both = {each.service_handle for each in offers if each.written}
    return sorted(values(offers), key=lambda each: each.service_handle not in both)


def question_to(offers: Sequence[Offer], value: Offer) -> Offer | None:
    """Where a question goes whose answer comes from `value`: the same service, itself if it can."""
    beside = [
        each for each in offers if each.written and each.service_handle == value.service_handle
    ]
    return (
        value if value.written else next(iter(sorted(beside, key=lambda each: each.handle)), None)
    )


def chosen(offers: Sequence[Offer], characteristic: str) -> Offer | None:
    """The value to read: the one with that UUID, or the one that the device itself makes plain."""
    if characteristic:
        wanted = characteristic.lower()
        return next((each for each in offers if each.uuid == wanted and each.notifies), None)
    found, _ = presented(offers)
    return found.offer if found else next(iter(text_lines(offers)), None)


def over_bluetooth(description: Description, characteristic: str = "") -> Description:
    """The description as it holds over Bluetooth: no line settings, and bytes of eight bits."""
    known = characteristic or description.link.characteristic
    return msgspec.structs.replace(description, link=LinkSettings(characteristic=known))
