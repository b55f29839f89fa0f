"""What comes over a link that is open, with and without asking, until the evidence is enough."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable

import msgspec

from gaugelink.devices.link import Chunk, Link, LinkError
from gaugelink.devices.teaching import policy
from gaugelink.devices.teaching.analysis import analyse
from gaugelink.devices.teaching.bursts import Pace, alike, faster_than_a_hand, much, pace_of
from gaugelink.devices.teaching.characters import judge
from gaugelink.devices.teaching.finding import Finding, Line, either

MOVE = "move the spindle slowly up and down"
PRESS = "nothing comes by itself; if the indicator has a data button, press its button a few times"


class Tried(msgspec.Struct):
    """What was done, for the report."""

    speeds: dict[int, int] = {}
    """Bytes heard at each speed that was listened at."""
    characteristics: dict[str, int] = {}
    """Bytes heard from each Bluetooth characteristic that was listened to, by its UUID."""
    requests: list[str] = []
    """What was sent, each once."""
    seconds: float = 0.0

    @property
    def bytes(self) -> int:
        """All that was heard."""
        return sum(self.speeds.values()) + sum(self.characteristics.values())

    @property
    def words(self) -> str:
        """In one line."""
        heard = [f"at {speed} ({count} bytes)" for speed, count in self.speeds.items()]
        heard += [f"to {uuid} ({count} bytes)" for uuid, count in self.characteristics.items()]
        asked = ", ".join(map(repr, self.requests)) or "nothing"
        return f"listened {', '.join(heard) or 'to nothing'}; asked with {asked}"

    def hear(self, line: Line, count: int) -> None:
        """Count bytes that came, or none, over a line."""
        if line.by_air:
            named = line.characteristic or "a characteristic"
            self.characteristics[named] = self.characteristics.get(named, 0) + count
        else:
            self.speeds[line.baud] = self.speeds.get(line.baud, 0) + count


class NotTaught(LinkError):
    """Nothing came, or nothing that makes sense; `tried` says what was done."""

    def __init__(self, text: str, tried: Tried) -> None:
        super().__init__(text)
        self.tried = tried


class Stray(msgspec.Struct, frozen=True):
    """What came while asking, but was no answer, and over which line."""

    data: bytes
    line: Line


class Ear:
    """Listens to open links and asks over them, and keeps an account of it."""

    def __init__(
        self,
        say: Callable[[str], None],
        name: str = "taught",
        seconds: float = policy.MOST,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.say = say
        self.clock = clock
        self.tried = Tried()
        self.strays: list[Stray] = []
        self._name = name
        self._seconds = seconds

    async def analysed(self, chunks: list[Chunk], line: Line) -> Finding | None:
        """What the chunks show, worked out in a thread, so that what comes keeps its times."""
        return await asyncio.to_thread(analyse, chunks, line, self._name)

    async def collect(
        self, link: Link, line: Line, longest: float, over: Callable[[list[Chunk]], bool]
    ) -> list[Chunk]:
        """What comes until `over`, or until so many seconds have passed."""
        chunks: list[Chunk] = []
        self.tried.hear(line, 0)
        try:
            async with asyncio.timeout(longest):
                while not chunks or not over(chunks):
                    chunk = await link.read()
                    self.tried.hear(line, len(chunk.data))
                    chunks.append(chunk)
        except TimeoutError:
            pass  # that was the time to listen
        return chunks

    async def until_enough(
        self, link: Link, line: Line, chunks: list[Chunk], most: float | None = None
    ) -> Finding | None:
        """Listen on at the right line until the evidence is enough."""
        began = self.clock()
        most = self._seconds if most is None else most
        told = False
        found: Finding | None = None
        while (passed := self.clock() - began) < most:
            if line.request:
                fresh = await self._ask_once(link, line)
            else:
                wait = min(policy.EVERY, max(0.01, most - passed))
                fresh = await self.collect(link, line, wait, lambda _: False)
            chunks += fresh
            if fresh:
                found = await self.analysed(chunks, line)
            if found is not None and found.enough and passed >= policy.LEAST:
                break
            unsound = found is None or not found.sound
            if unsound and passed > policy.DOUBT and not line.whole and much(chunks, line):
                break
            if not told and passed > policy.STILL and (found is None or not found.moved):
                self.say(MOVE)
                told = True
        return await self.named(found, line, chunks)

    async def named(self, found: Finding | None, line: Line, chunks: list[Chunk]) -> Finding | None:
        """A stream that came in a hand's time is one of a button; in an even hand's, a question.

        What was waited for as a button's, but comes faster than a hand presses, is a stream: the
        indicator was switched on late, or its first values were.
        """
        if found is None or line.sends == "when-asked":
            return found
        if faster_than_a_hand(chunks, found.description.framing):
            if line.sends == "stream":
                return found
            stream = msgspec.structs.replace(line, sends="stream")
            return await self.analysed(chunks, stream) or found
        if line.sends == "on-button":
            return found
        pace = pace_of(chunks, line)
        if pace is Pace.FAST:
            return found
        other = await self.analysed(chunks, msgspec.structs.replace(line, sends="on-button"))
        if pace is Pace.BY_HAND or other is None:
            return other
        return either(found, other)

    # Asking

    async def answered(self, link: Link, line: Line) -> str | None:
        """The first request that is answered over this line, each time, and only then."""
        for place, request in enumerate(policy.REQUESTS):
            last = place == len(policy.REQUESTS) - 1
            heard = await self._ask(link, line, request, policy.LAST_ANSWER if last else None)
            if not heard:
                continue
            # A late answer may be to a request before.
            for back in range(min(place, policy.LATE) + 1):
                if await self._confirmed(link, line, policy.REQUESTS[place - back]):
                    return policy.REQUESTS[place - back]
            self.strays.append(Stray(heard, line))
            if self.pestered:
                return None
        return None

    @property
    def pestered(self) -> bool:
        """Whether so much came unasked that it must come by itself, as from a button."""
        return len(self.strays) >= policy.STRAYS

    async def _confirmed(self, link: Link, line: Line, request: str) -> bool:
        """Whether a request is answered three times, and nothing comes without it."""
        answers = []
        for _ in range(3):
            answer = await self._ask(link, line, request, policy.LAST_ANSWER)
            if not answer:
                return False
            answers.append(answer)
        if not (judge(b"".join(answers)).text or alike(answers)):
            return False
        return not await self.collect(link, line, policy.CONTROL, lambda _: True)

    async def _ask(self, link: Link, line: Line, request: str, wait: float | None) -> bytes:
        """Send a request; the bytes that come until it is quiet again."""
        if request not in self.tried.requests:
            self.tried.requests.append(request)
        patience = (policy.ANSWER if wait is None else wait) + line.seconds(len(request) + 2)
        await link.write(request.encode("latin-1"))
        chunks = await self.collect(link, line, patience, lambda _: True)
        if chunks:
            quiet = max(0.03, line.silence)
            while more := await self.collect(link, line, quiet, lambda _: True):
                chunks += more
        return b"".join(chunk.data for chunk in chunks)

    async def _ask_once(self, link: Link, line: Line) -> list[Chunk]:
        chunk = Chunk(await self._ask(link, line, line.request, 0.5), self.clock())
        await asyncio.sleep(policy.ANSWER)
        return [chunk] if chunk.data else []
