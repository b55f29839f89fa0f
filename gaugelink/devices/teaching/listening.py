"""The shell around the teaching: opens the port, listens, asks when it must, and stops in time."""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import AsyncIterator, Callable, Sequence

import msgspec

from gaugelink.devices.description import LinkSettings
from gaugelink.devices.link import Chunk, Link, LinkError
from gaugelink.devices.teaching import policy
from gaugelink.devices.teaching.analysis import analyse
from gaugelink.devices.teaching.bursts import Pace, alike, evenness, much, pace_of, promising
from gaugelink.devices.teaching.characters import judge, likely_speeds
from gaugelink.devices.teaching.cutting import pieces
from gaugelink.devices.teaching.finding import Finding, Line, Sends, either

PRESS = "nothing comes by itself; if the indicator has a data button, press its button a few times"
MOVE = "move the spindle slowly up and down"


class Tried(msgspec.Struct):
    """What was done, for the report."""

    speeds: dict[int, int] = {}
    """Bytes heard at each speed that was listened at."""
    requests: list[str] = []
    """What was sent, each once."""
    seconds: float = 0.0

    @property
    def words(self) -> str:
        """In one line."""
        heard = ", ".join(f"{speed} ({count} bytes)" for speed, count in self.speeds.items())
        asked = ", ".join(map(repr, self.requests)) or "nothing"
        return f"listened at {heard or 'no speed'}; asked with {asked}"


class NotTaught(LinkError):
    """Nothing came, or nothing that makes sense; `tried` says what was done."""

    def __init__(self, text: str, tried: Tried) -> None:
        super().__init__(text)
        self.tried = tried


class Teacher:
    """Teaches one port, once."""

    def __init__(
        self,
        port: str,
        open_link: Callable[[str, LinkSettings], Link],
        say: Callable[[str], None],
        name: str = "taught",
        seconds: float = policy.MOST,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._port = port
        self._open_link = open_link
        self._say = say
        self._name = name
        self._seconds = seconds
        self._clock = clock
        self.tried = Tried()
        self._strays: list[Chunk] = []
        """What came while asking but was no answer; `at` holds the speed it was heard at."""

    async def teach(self) -> Finding:
        """What the port's indicator sends.

        Raises NotTaught, which says what was tried, or LinkError when the port cannot be opened.
        """
        began = self._clock()
        try:
            self._say(f"listening to {self._port}; {MOVE}")
            heard = await self._listen(policy.SPEEDS[0], policy.QUIET, lambda chunks: True)
            if heard:
                return await self._by_itself("stream")
            self._say(PRESS)
            asked = await self._by_asking()
            if asked is not None:
                return asked
            return await self._by_button()
        finally:
            self.tried.seconds = round(self._clock() - began, 1)

    # Listening

    async def _listen(
        self, baud: int, longest: float, over: Callable[[list[Chunk]], bool]
    ) -> list[Chunk]:
        """What comes at a speed until `over`, or until so many seconds have passed."""
        async with self._opened(baud) as link:
            return await self._collect(link, baud, longest, over)

    @contextlib.asynccontextmanager
    async def _opened(self, baud: int) -> AsyncIterator[Link]:
        link = self._open_link(self._port, LinkSettings(baud=baud))
        await link.open()
        try:
            yield link
        finally:
            await link.close()

    async def _collect(
        self, link: Link, baud: int, longest: float, over: Callable[[list[Chunk]], bool]
    ) -> list[Chunk]:
        chunks: list[Chunk] = []
        self.tried.speeds.setdefault(baud, 0)
        try:
            async with asyncio.timeout(longest):
                while not chunks or not over(chunks):
                    chunk = await link.read()
                    self.tried.speeds[baud] += len(chunk.data)
                    chunks.append(chunk)
        except TimeoutError:
            pass
        return chunks

    # By itself

    async def _by_itself(self, sends: Sends, first: Sequence[int] = ()) -> Finding:
        """Find the speed among all, then the format at it."""
        left = list(first or policy.SPEEDS)
        heard: dict[int, list[Chunk]] = {}
        doubtful: list[Finding] = []
        while left:
            baud = left.pop(0)
            chunks = await self._try_speed(baud, sends)
            data = b"".join(chunk.data for chunk in chunks)
            if judge(data).text or await self._binary(chunks, baud) is not None:
                found = await self._settle(Line(baud, sends=sends), chunks)
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
        for baud in sorted(heard, key=lambda each: -evenness(heard[each], each))[:3]:
            found = await self._settle(Line(baud, sends=sends), [], most=policy.UNDECIDED)
            doubtful += [found] if found is not None else []
        if doubtful:
            # Without a check even noise of a wrong speed may look like frames, but less so.
            return max(doubtful, key=lambda each: (each.sound, each.score))
        raise self._failure("bytes came, but they make no sense at any speed")

    async def _binary(self, chunks: list[Chunk], baud: int) -> Finding | None:
        """Binary frames whose check holds: nothing heard at a wrong speed has one."""
        found = await asyncio.to_thread(analyse, chunks, Line(baud), self._name)
        return found if found is not None and found.description.checksum is not None else None

    async def _try_speed(self, baud: int, sends: Sends) -> list[Chunk]:
        """Listen until it is clear whether the speed is right, or enough was heard to go on."""

        def over(chunks: list[Chunk]) -> bool:
            data = b"".join(chunk.data for chunk in chunks)
            if len(data) >= policy.JUDGED and judge(data).text:
                return True
            if sends == "on-button":
                return True
            bursts = len(pieces(chunks, baud))
            return len(data) >= policy.HEARD_ENOUGH and bursts >= policy.BURSTS_ENOUGH

        if sends == "on-button":
            return await self._listen(baud, policy.PRESSES, over)
        async with self._opened(baud) as link:
            chunks = await self._collect(link, baud, policy.AT_A_SPEED, over)
            if promising(chunks, baud) and not over(chunks):
                rest = policy.UNDECIDED - policy.AT_A_SPEED
                chunks += await self._collect(link, baud, rest, lambda more: over(chunks + more))
        return chunks

    async def _settle(
        self, line: Line, chunks: list[Chunk], most: float | None = None
    ) -> Finding | None:
        """Listen on at the right speed until the evidence is enough."""
        async with self._opened(line.baud) as link:
            return await self._until_enough(link, line, chunks if line.whole else [], most)

    async def _until_enough(
        self, link: Link, line: Line, chunks: list[Chunk], most: float | None
    ) -> Finding | None:
        began = self._clock()
        most = self._seconds if most is None else most
        told = False
        found: Finding | None = None
        while (passed := self._clock() - began) < most:
            if line.request:
                fresh = await self._ask_once(link, line)
            else:
                wait = min(policy.EVERY, max(0.01, most - passed))
                fresh = await self._collect(link, line.baud, wait, lambda _: False)
            chunks += fresh
            if fresh:
                # Analysed in a thread, so that the bytes that come meanwhile keep their times.
                found = await asyncio.to_thread(analyse, chunks, line, self._name)
            if found is not None and found.enough and passed >= policy.LEAST:
                break
            unsound = found is None or not found.sound
            if unsound and passed > policy.DOUBT and not line.whole and much(chunks, line.baud):
                break
            if not told and passed > policy.STILL and (found is None or not found.moved):
                self._say(MOVE)
                told = True
        return await self._named(found, line, chunks)

    async def _named(
        self, found: Finding | None, line: Line, chunks: list[Chunk]
    ) -> Finding | None:
        """A stream that came in a hand's time is one of a button; in an even hand's, a question."""
        if found is None or line.sends != "stream":
            return found
        pace = pace_of(chunks, line.baud)
        if pace is Pace.FAST:
            return found
        pressed = msgspec.structs.replace(line, sends="on-button")
        other = await asyncio.to_thread(analyse, chunks, pressed, self._name)
        if pace is Pace.BY_HAND or other is None:
            return other
        return either(found, other)

    # By asking

    async def _by_asking(self) -> Finding | None:
        """Ask at every speed; None when nothing answers, or when bytes come without asking."""
        for baud in policy.SPEEDS:
            async with self._opened(baud) as link:
                request = await self._answered(link, baud)
                if request is not None:
                    line = Line(baud, request=request, sends="when-asked")
                    found = await self._until_enough(link, line, [], None)
                    if found is not None and found.sound:
                        return found
            if len(self._strays) >= policy.STRAYS:
                return None
        return None

    async def _answered(self, link: Link, baud: int) -> str | None:
        """The first request that is answered at this speed, each time, and only then."""
        for place, request in enumerate(policy.REQUESTS):
            last = place == len(policy.REQUESTS) - 1
            heard = await self._ask(link, baud, request, policy.LAST_ANSWER if last else None)
            if not heard:
                continue
            # A late answer may be to a request before.
            for back in range(min(place, policy.LATE) + 1):
                if await self._confirmed(link, baud, policy.REQUESTS[place - back]):
                    return policy.REQUESTS[place - back]
            self._strays.append(Chunk(heard, float(baud)))
            if len(self._strays) >= policy.STRAYS:
                return None
        return None

    async def _confirmed(self, link: Link, baud: int, request: str) -> bool:
        """Whether a request is answered three times, and nothing comes without it."""
        answers = []
        for _ in range(3):
            answer = await self._ask(link, baud, request, policy.LAST_ANSWER)
            if not answer:
                return False
            answers.append(answer)
        if not (judge(b"".join(answers)).text or alike(answers)):
            return False
        return not await self._collect(link, baud, policy.CONTROL, lambda _: True)

    async def _ask(self, link: Link, baud: int, request: str, wait: float | None) -> bytes:
        """Send a request; the bytes that come until it is quiet again."""
        if request not in self.tried.requests:
            self.tried.requests.append(request)
        character = 11 / baud
        patience = (policy.ANSWER if wait is None else wait) + (len(request) + 2) * character
        await link.write(request.encode("latin-1"))
        chunks = await self._collect(link, baud, patience, lambda _: True)
        if chunks:
            quiet = max(0.03, 4 * character)
            while more := await self._collect(link, baud, quiet, lambda _: True):
                chunks += more
        return b"".join(chunk.data for chunk in chunks)

    async def _ask_once(self, link: Link, line: Line) -> list[Chunk]:
        chunk = Chunk(await self._ask(link, line.baud, line.request, 0.5), self._clock())
        await asyncio.sleep(policy.ANSWER)
        return [chunk] if chunk.data else []

    # By its button

    async def _by_button(self) -> Finding:
        """What a button sends; what came while it was asked says where to begin."""
        if self._strays:
            heard, baud = self._strays[-1].data, round(self._strays[-1].at)
        else:
            baud = policy.SPEEDS[0]
            chunks = await self._listen(baud, policy.PRESSES, lambda chunks: True)
            heard = b"".join(chunk.data for chunk in chunks)
        if not heard:
            raise self._failure("nothing came")
        others = likely_speeds(heard, baud)
        first = [baud, *others] if judge(heard).text else [*others, baud]
        return await self._by_itself("on-button", first)

    def _failure(self, what: str) -> NotTaught:
        return NotTaught(
            f"{self._port}: {what}; {self.tried.words}. Is it switched on and plugged in?",
            self.tried,
        )
