"""What does a Bluetooth device speak? Connects once and asks the device itself.

A characteristic that presents a length is taken at its word. Otherwise the device is listened to,
and the described text format that reads most of what it sends is taken. What is described as
answering only when asked is asked only if nothing came by itself, and with nothing but its own
described question.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from gaugelink.devices.bluetooth import address_of
from gaugelink.devices.bluetooth.offers import (
    Offer,
    Presented,
    over_bluetooth,
    presented,
    question_to,
    text_lines,
)
from gaugelink.devices.bluetooth.policy import Policy
from gaugelink.devices.bluetooth.presentation import Presentation
from gaugelink.devices.description import ByPacket, Decoding, Description, LinkSettings
from gaugelink.devices.link import Chunk, LinkError
from gaugelink.devices.recognise import ENOUGH, best
from gaugelink.units import ALIASES

if TYPE_CHECKING:
    from bleak import BleakClient

LISTEN = 1.5
"""Seconds for which each characteristic is listened to: Bluetooth delivers in bursts."""


def name_of(presented: Presentation) -> str:
    """The usual name of the description of a value that is presented so."""
    return f"bluetooth-{presented.format}-{_spelt(presented.unit)}".replace(" ", "-")


def _spelt(unit: str) -> str:
    return next((word for word, short in ALIASES.items() if short == unit), unit)


def self_described(found: Presented) -> Description:
    """The description of a device that presents its value as a length."""
    how = found.presentation
    power = f" · 10^{how.exponent}" if how.exponent else ""
    return Description(
        name=name_of(how),
        title=f"Bluetooth, presented by the device itself: {how.format}{power} {_spelt(how.unit)}",
        framing=ByPacket(),
        decoding=Decoding(presentation=how),
        link=LinkSettings(characteristic=found.offer.uuid),
    )


async def recognise(
    port: str,
    known: Sequence[Description],
    policy: Policy | None = None,
    listen: float = LISTEN,
    clock: Callable[[], float] = time.monotonic,
) -> Description:
    """The description of the device at `port`, its own or the one of `known` that fits its text.

    Raises LinkError when it cannot be connected, or when nothing fits, saying what it offers.
    """
    from gaugelink.devices.bluetooth import session

    rules = policy or Policy()
    lost = asyncio.Event()
    async with session.connected(port, address_of(port), rules, lost.set) as client:
        offers = await session.offers(port, client, rules)
        found, reasons = presented(offers)
        if found is not None:
            return self_described(found)
        heard = 0
        for value in text_lines(offers):
            line = _Line(port, client, value, question_to(offers, value), rules, clock)
            with session.explained(f"{port}: could not subscribe", rules.answer):
                await line.subscribe()
            fits = await _fitting(line, known, listen)
            if fits is not None:
                return over_bluetooth(fits, value.uuid)
            heard += line.heard
        if lost.is_set():
            raise LinkError(f"{port}: the connection was lost; is it switched on and near?")
    what = "it offers nothing that sends values by itself"
    if heard:
        what = f"{heard} bytes came, but none of the described formats fits"
    elif text_lines(offers):
        what = "nothing came"
    said = "".join(f"; {reason}" for reason in reasons)
    raise LinkError(f"{port}: {what}{said}: name its --description, or choose another device")


class _Line:
    """One characteristic that is listened to."""

    def __init__(
        self,
        port: str,
        client: BleakClient,
        value: Offer,
        question: Offer | None,
        policy: Policy,
        clock: Callable[[], float],
    ) -> None:
        self.can_be_asked = question is not None
        self.heard = 0
        self._port = port
        self._client = client
        self._value = value
        self._question = question
        self._policy = policy
        self._clock = clock
        self._chunks: asyncio.Queue[Chunk] = asyncio.Queue()

    def _take(self, value: bytes) -> None:
        self.heard += len(value)
        self._chunks.put_nowait(Chunk(value, self._clock()))

    async def subscribe(self) -> None:
        from gaugelink.devices.bluetooth import session

        await session.subscribe(self._client, self._value.handle, self._policy, self._take)

    async def listen(self, seconds: float, question: bytes = b"") -> list[Chunk]:
        """What comes within so many seconds; with a question, asked anew after every answer."""
        from gaugelink.devices.bluetooth import session

        chunks: list[Chunk] = []
        try:
            async with asyncio.timeout(seconds):
                while True:
                    if question and self._question is not None and len(chunks) <= ENOUGH:
                        with session.explained(f"{self._port}: could not ask"):
                            await session.write(
                                self._client, self._question.handle, question, self._policy
                            )
                    chunks.append(await self._chunks.get())
        except TimeoutError:
            return chunks


async def _fitting(line: _Line, known: Sequence[Description], listen: float) -> Description | None:
    textual = [over_bluetooth(each) for each in known if each.decoding.presentation is None]
    chunks = await line.listen(listen)
    listeners = [each for each in textual if each.sends != "when-asked"]
    if chunks:
        return await asyncio.to_thread(best, listeners, chunks) if listeners else None
    for description in textual if line.can_be_asked else ():
        if description.ask is None:
            continue
        question = description.ask.send.encode("latin-1")
        chunks = await line.listen(listen, question)
        if found := await asyncio.to_thread(best, [description], chunks):
            return found
    return None
