"""The shell around the teaching: opens the port, listens, asks when it must, and stops in time."""

from __future__ import annotations

import contextlib
import time
from collections.abc import AsyncIterator, Callable, Sequence

from gaugelink.devices import bluetooth, links, replay_link
from gaugelink.devices.description import LinkSettings
from gaugelink.devices.link import Chunk, Link
from gaugelink.devices.teaching import policy
from gaugelink.devices.teaching.bursts import evenness, promising
from gaugelink.devices.teaching.characters import judge, likely_speeds
from gaugelink.devices.teaching.cutting import pieces
from gaugelink.devices.teaching.finding import Finding, Line, Sends
from gaugelink.devices.teaching.hearing import MOVE, PRESS, Ear, NotTaught, Tried

__all__ = ["MOVE", "PRESS", "NotTaught", "Teacher", "Tried"]

SWITCHED_ON = "Is it switched on and plugged in?"


class Teacher:
    """Teaches one port, once: a serial port's name, `ble:ADDRESS`, or `replay:FILE`.

    `say` is told what the maker should do; `name` is the description's; once the line is known, it
    listens for so many `seconds` at most.
    """

    def __init__(
        self,
        port: str,
        open_link: links.OpenLink = links.open_link,
        say: Callable[[str], None] = lambda line: None,
        name: str = "taught",
        seconds: float = policy.MOST,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._port = port
        self._open_link = open_link
        self._say = say
        self._name = name
        self._ear = Ear(say, name, seconds, clock)
        self._clock = clock

    @property
    def tried(self) -> Tried:
        """What was done so far."""
        return self._ear.tried

    async def teach(self) -> Finding:
        """What the port's indicator sends.

        Raises NotTaught, which says what was tried, or LinkError when the port cannot be opened.
        """
        began = self._clock()
        try:
            if self._port.startswith(replay_link.PREFIX):
                from gaugelink.devices.teaching.recorded import teach_recording

                return await teach_recording(self._port, self._ear)
            if bluetooth.is_bluetooth(self._port):
                from gaugelink.devices.teaching.by_air import teach_by_air

                return await teach_by_air(self._port, self._open_link, self._ear, self._name)
            return await self._teach_serial()
        finally:
            self.tried.seconds = round(self._clock() - began, 1)

    async def _teach_serial(self) -> Finding:
        self._say(f"listening to {self._port}; {MOVE}")
        heard = await self._listen(Line(policy.SPEEDS[0]), policy.QUIET, lambda chunks: True)
        if heard:
            return await self._by_itself("stream")
        self._say(PRESS)
        asked = await self._by_asking()
        if asked is not None:
            return asked
        return await self._by_button()

    # Listening

    async def _listen(
        self, line: Line, longest: float, over: Callable[[list[Chunk]], bool]
    ) -> list[Chunk]:
        """What comes at a speed until `over`, or until so many seconds have passed."""
        async with self._opened(line) as link:
            return await self._ear.collect(link, line, longest, over)

    @contextlib.asynccontextmanager
    async def _opened(self, line: Line) -> AsyncIterator[Link]:
        # Eight bits: what a parity makes of the characters is worked out from bit 7.
        link = self._open_link(self._port, LinkSettings(baud=line.baud))
        await link.open()
        try:
            yield link
        finally:
            await link.close()

    # By itself

    async def _by_itself(self, sends: Sends, first: Sequence[int] = ()) -> Finding:
        """Find the speed among all, then the format at it."""
        left = list(first or policy.SPEEDS)
        heard: dict[int, list[Chunk]] = {}
        doubtful: list[Finding] = []
        while left:
            baud = left.pop(0)
            line = Line(baud, sends=sends)
            chunks = await self._try_speed(line)
            data = b"".join(chunk.data for chunk in chunks)
            if judge(data).text or await self._binary(chunks, baud) is not None:
                found = await self._settle(line, chunks)
                if found is not None and found.sound:
                    return found
                doubtful += [found] if found is not None else []
            if not data and baud not in heard:
                # A slow indicator may just not have sent anything meanwhile.
                left.append(baud)
            heard[baud] = chunks
            if data:
                order = likely_speeds(data, baud)
                left.sort(key=lambda each: (each in heard, order.index(each)))
        for baud in sorted(heard, key=lambda each: -evenness(heard[each], Line(each)))[:3]:
            found = await self._settle(Line(baud, sends=sends), [], most=policy.UNDECIDED)
            doubtful += [found] if found is not None else []
        if doubtful:
            # Without a check even noise of a wrong speed may look like frames, but less so.
            return max(doubtful, key=lambda each: (each.sound, each.score))
        raise self._failure("bytes came, but they make no sense at any speed")

    async def _binary(self, chunks: list[Chunk], baud: int) -> Finding | None:
        """Binary frames whose check holds: nothing heard at a wrong speed has one."""
        found = await self._ear.analysed(chunks, Line(baud))
        return found if found is not None and found.description.checksum is not None else None

    async def _try_speed(self, line: Line) -> list[Chunk]:
        """Listen until it is clear whether the speed is right, or enough was heard to go on."""

        def over(chunks: list[Chunk]) -> bool:
            data = b"".join(chunk.data for chunk in chunks)
            if len(data) >= policy.JUDGED and judge(data).text:
                return True
            if line.sends == "on-button":
                return True
            bursts = len(pieces(chunks, line))
            return len(data) >= policy.HEARD_ENOUGH and bursts >= policy.BURSTS_ENOUGH

        if line.sends == "on-button":
            return await self._listen(line, policy.PRESSES, over)
        async with self._opened(line) as link:
            chunks = await self._ear.collect(link, line, policy.AT_A_SPEED, over)
            if promising(chunks, line) and not over(chunks):
                rest = policy.UNDECIDED - policy.AT_A_SPEED
                chunks += await self._ear.collect(link, line, rest, lambda m: over(chunks + m))
        return chunks

    async def _settle(
        self, line: Line, chunks: list[Chunk], most: float | None = None
    ) -> Finding | None:
        """Listen on at the right speed until the evidence is enough."""
        async with self._opened(line) as link:
            known = chunks if line.whole else []
            return await self._ear.until_enough(link, line, known, most)

    # By asking

    async def _by_asking(self) -> Finding | None:
        """Ask at every speed; None when nothing answers, or when bytes come without asking."""
        for baud in policy.SPEEDS:
            async with self._opened(Line(baud)) as link:
                request = await self._ear.answered(link, Line(baud))
                if request is not None:
                    line = Line(baud, request=request, sends="when-asked")
                    found = await self._ear.until_enough(link, line, [])
                    if found is not None and found.sound:
                        return found
            if self._ear.pestered:
                return None
        return None

    # By its button

    async def _by_button(self) -> Finding:
        """What a button sends; what came while it was asked says where to begin."""
        if self._ear.strays:
            stray = self._ear.strays[-1]
            heard, baud = stray.data, stray.line.baud
        else:
            baud = policy.SPEEDS[0]
            chunks = await self._listen(Line(baud), policy.PRESSES, lambda chunks: True)
            heard = b"".join(chunk.data for chunk in chunks)
        if not heard:
            raise self._failure("nothing came")
        others = likely_speeds(heard, baud)
        first = [baud, *others] if judge(heard).text else [*others, baud]
        return await self._by_itself("on-button", first)

    def _failure(self, what: str) -> NotTaught:
        return NotTaught(f"{self._port}: {what}; {self.tried.words}. {SWITCHED_ON}", self.tried)
