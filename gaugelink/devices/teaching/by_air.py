"""Teaching a Bluetooth device: it says itself what it sends, or its text is listened to.

There are no speeds and no parity. What is asked is asked as over a serial line, through the
characteristic of the same service that can be written; nothing else is ever written to.
"""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator, Sequence

import msgspec

from gaugelink.devices.bluetooth.link import BluetoothLink
from gaugelink.devices.bluetooth.offers import Offer, Presented, presented, text_lines
from gaugelink.devices.bluetooth.recognise import self_described
from gaugelink.devices.description import LinkSettings
from gaugelink.devices.link import Link, LinkError
from gaugelink.devices.links import OpenLink
from gaugelink.devices.teaching import policy
from gaugelink.devices.teaching.finding import Finding, Line
from gaugelink.devices.teaching.hearing import MOVE, PRESS, Ear, NotTaught


async def teach_by_air(port: str, open_link: OpenLink, ear: Ear, name: str) -> Finding:
    """What the Bluetooth device at a port sends.

    Raises NotTaught, which says what was tried, or LinkError when it cannot be connected.
    """
    ear.say(f"connecting to {port}; {MOVE}")
    return await _Device(port, open_link, ear, name).taught()


class _Device:
    """One device, connected anew for each characteristic that is listened to."""

    def __init__(self, port: str, open_link: OpenLink, ear: Ear, name: str) -> None:
        self._port = port
        self._open_link = open_link
        self._ear = ear
        self._name = name
        self._doubtful: list[Finding] = []

    async def taught(self) -> Finding:
        async with self._connected() as link:
            offers = _offers(link)
            found, reasons = presented(offers)
            if found is not None:
                return _as_presented(found, self._name)
            # Without a presentation the link has chosen the first of these.
            first, *others = dict.fromkeys(each.uuid for each in text_lines(offers))
            heard = await self._by_itself(link, first)
        for other in others:
            if heard is None:
                async with self._connected(other) as link:
                    heard = await self._by_itself(link, other)
        if heard is not None:
            return heard
        if self._doubtful:
            return max(self._doubtful, key=lambda each: (each.sound, each.score))
        if self._ear.tried.bytes:
            raise self._failure("values came, but they make no sense", reasons)
        return await self._silent([first, *others], reasons)

    @contextlib.asynccontextmanager
    async def _connected(self, characteristic: str = "") -> AsyncIterator[Link]:
        link = self._open_link(self._port, LinkSettings(characteristic=characteristic))
        await link.open()
        try:
            yield link
        finally:
            await link.close()

    async def _by_itself(self, link: Link, characteristic: str) -> Finding | None:
        """What comes by itself; None when that is nothing, or makes no sense for sure."""
        line = Line(0, characteristic=characteristic)
        chunks = await self._ear.collect(link, line, policy.QUIET, lambda _: True)
        if not chunks:
            return None
        found = await self._ear.until_enough(link, line, chunks)
        if found is None or found.sound:
            return found
        self._doubtful.append(found)
        return None

    async def _silent(self, characteristics: Sequence[str], reasons: Sequence[str]) -> Finding:
        """What a device sends when it is asked, or when its button is pressed."""
        self._ear.say(PRESS)
        for characteristic in characteristics:
            async with self._connected(characteristic) as link:
                found = await self._asked(link, characteristic)
            if found is not None:
                return found
            if self._ear.pestered:
                break
        pressed = self._ear.strays[-1].line.characteristic if self._ear.strays else ""
        line = Line(0, sends="on-button", characteristic=pressed or characteristics[0])
        async with self._connected(line.characteristic) as link:
            chunks = await self._ear.collect(link, line, policy.PRESSES, lambda _: True)
            found = await self._ear.until_enough(link, line, chunks) if chunks else None
        if found is None:
            raise self._failure("values came, but they make no sense" if chunks else "nothing came")
        return found

    async def _asked(self, link: Link, characteristic: str) -> Finding | None:
        if not _can_be_asked(link):
            return None
        line = Line(0, characteristic=characteristic)
        request = await self._ear.answered(link, line)
        if request is None:
            return None
        line = msgspec.structs.replace(line, request=request, sends="when-asked")
        found = await self._ear.until_enough(link, line, [])
        return found if found is not None and found.sound else None

    def _failure(self, what: str, reasons: Sequence[str] = ()) -> NotTaught:
        tried = self._ear.tried
        said = "".join(f"; {reason}" for reason in reasons)
        return NotTaught(
            f"{self._port}: {what}{said}; {tried.words}. Is it switched on and near?", tried
        )


def _offers(link: Link) -> Sequence[Offer]:
    if not isinstance(link, BluetoothLink):
        raise LinkError(f"{link.port}: is no Bluetooth link, so nothing is known of what it offers")
    return link.offers


def _can_be_asked(link: Link) -> bool:
    return isinstance(link, BluetoothLink) and link.can_be_asked


def _as_presented(found: Presented, name: str) -> Finding:
    """The finding of a device that says itself what it sends: nothing is left to work out."""
    described = self_described(found)
    how = found.presentation
    power = f" times 10 to the power {how.exponent}" if how.exponent else ""
    return Finding(
        msgspec.structs.replace(described, name=name),
        [
            f"characteristic {found.offer.uuid} carries the standard presentation descriptor",
            f"it presents a length: {how.format}{power}, in the unit {how.unit}",
            "the device says so itself, so nothing had to be worked out",
        ],
        sure=0.99,
        question=None,
        alternatives=None,
        enough=True,
        moved=False,
        sound=True,
        score=0.0,
    )
