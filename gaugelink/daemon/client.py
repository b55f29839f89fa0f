"""What a screen or a command needs of the hub, whether it is a daemon or in this process."""

from __future__ import annotations

import asyncio
import contextlib
import itertools
from collections.abc import AsyncGenerator
from typing import TYPE_CHECKING, Any, Protocol, cast

import msgspec

from gaugelink.daemon.address import Address
from gaugelink.daemon.followers import QueueFollower
from gaugelink.daemon.messages import (
    PROTOCOL,
    AnyMessage,
    Error,
    Event,
    Greeting,
    Open,
    Reply,
    Request,
    encoder,
    event_types,
    message_decoder,
)
from gaugelink.reading import GaugelinkError

if TYPE_CHECKING:
    from gaugelink.daemon.hub import Hub

LONGEST_MESSAGE = 64 * 1024 * 1024
"""Bytes in a line from the hub: a rack's whole history comes in one."""

GREETING_WITHIN = 5.0
"""Seconds in which a hub that is alive, however busy, has greeted."""


class HubError(GaugelinkError):
    """The hub did not do what was asked; the text is its line."""


class HubGone(GaugelinkError):
    """The connection to the hub ended."""


class Client(Protocol):
    """One follower of the hub, the same whichever door it came in by."""

    async def ask(self, request: Request) -> Any:
        """The answer to a request: a message, a list of messages, or None.

        The request's `id` is set by the client. Raises HubError with the hub's line when it was
        not done, and HubGone when the hub went away.
        """
        ...

    def events(self) -> AsyncGenerator[Event, None]:
        """What happens, as it happens, once `Follow` has been asked for.

        Ends when the hub goes away. To stop and go on, keep to one generator: what had come when
        it was closed goes with it. Readings that came while the last one was being handled are
        left out: the newest stands for them. Nothing else is left out.
        """
        ...

    async def close(self) -> None:
        """Leave the hub."""
        ...


class LocalClient:
    """A follower of a hub in this process."""

    def __init__(self, hub: Hub) -> None:
        self._hub = hub
        self._follower = QueueFollower()
        hub.attach(self._follower)

    async def ask(self, request: Request) -> Any:
        try:
            return await self._hub.handle(request, self._follower)
        except GaugelinkError as error:
            raise HubError(str(error)) from error

    async def events(self) -> AsyncGenerator[Event, None]:
        while batch := await self._follower.wait():
            for event in batch:
                yield event

    async def close(self) -> None:
        self._hub.detach(self._follower)
        self._follower.close()


class SocketClient:
    """A follower of a hub in another process. Made by `connect`."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._reader = reader
        self._writer = writer
        self._follower = QueueFollower()
        self._waiting: dict[int, asyncio.Future[Any]] = {}
        self._ids = itertools.count(1)
        self._why_gone = ""
        self._listening = asyncio.create_task(self._listen())

    async def ask(self, request: Request) -> Any:
        if self._why_gone:
            raise HubGone(self._why_gone)
        number = next(self._ids)
        answer: asyncio.Future[Any] = asyncio.get_running_loop().create_future()
        self._waiting[number] = answer
        try:
            self._writer.write(encoder.encode(msgspec.structs.replace(request, id=number)) + b"\n")
            return await answer
        finally:
            del self._waiting[number]

    async def events(self) -> AsyncGenerator[Event, None]:
        while batch := await self._follower.wait():
            for event in batch:
                yield event

    async def close(self) -> None:
        self._listening.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await self._listening
        await _hang_up(self._writer)

    async def _listen(self) -> None:
        why = "the hub ended the connection; is `gaugelink serve` still running?"
        try:
            while line := await self._reader.readline():
                self._sort(message_decoder.decode(line))
        except (OSError, msgspec.DecodeError, ValueError) as error:
            why = f"the hub is gone ({error}); is `gaugelink serve` still running?"
        finally:
            # A line that the hub gave as its reason says more.
            self._why_gone = self._why_gone or why
            for answer in self._waiting.values():
                if not answer.done():
                    answer.set_exception(HubGone(self._why_gone))
            self._follower.close()

    def _sort(self, message: AnyMessage) -> None:
        match message:
            case Reply(id=number, result=result):
                self._answer(number, result)
            case Error(text=text, id=None):
                self._why_gone = text
            case Error(text=text, id=number):
                self._answer(number or 0, HubError(text))
            case _ if isinstance(message, event_types):
                self._follower.deliver(cast(Event, message), None)

    def _answer(self, number: int, result: Any) -> None:
        answer = self._waiting.get(number)
        if answer is None or answer.done():
            return
        if isinstance(result, HubError):
            answer.set_exception(result)
        else:
            answer.set_result(result)


async def connect(address: Address) -> SocketClient | None:
    """A client of the hub that serves at an address; None when no hub does.

    Raises HubError when one does, but speaks another version of the protocol.
    """
    try:
        opened = await _open(address)
    except (FileNotFoundError, ConnectionRefusedError):
        return None
    except OSError as error:
        raise HubError(f"{address.socket}: the hub there cannot be reached: {error}") from error
    if opened is None:
        return None
    reader, writer = opened
    client: SocketClient | None = None
    try:
        if await _greeted(reader, address):
            client = SocketClient(reader, writer)
    finally:
        if client is None:
            await _hang_up(writer)
    return client


async def _open(address: Address) -> tuple[asyncio.StreamReader, asyncio.StreamWriter] | None:
    if address.by_socket:
        return await asyncio.open_unix_connection(address.socket, limit=LONGEST_MESSAGE)
    tcp = address.read_tcp()
    if tcp is None:
        return None
    opened = await asyncio.open_connection("127.0.0.1", tcp.port, limit=LONGEST_MESSAGE)
    opened[1].write(encoder.encode(Open(token=tcp.token)) + b"\n")
    return opened


async def _greeted(reader: asyncio.StreamReader, address: Address) -> bool:
    """Whether a hub of this protocol greets; HubError when something else says something else."""
    try:
        async with asyncio.timeout(GREETING_WITHIN):
            line = await reader.readline()
        greeting = message_decoder.decode(line) if line else None
    except ConnectionError:
        greeting = None
    except (TimeoutError, OSError, ValueError) as error:
        # A dead hub's TCP port may be anybody's by now, and the store tells a living one's.
        if not address.by_socket:
            return False
        raise HubError(f"what listens at {address.socket} is no hub ({error!r})") from error
    if greeting is None:
        return False  # it has just ended
    if not isinstance(greeting, Greeting) or greeting.protocol != PROTOCOL:
        said = greeting.text if isinstance(greeting, Error) else "another version of the protocol"
        raise HubError(f"the running hub refused: {said}; restart it with this gaugelink")
    return True


async def _hang_up(writer: asyncio.StreamWriter) -> None:
    writer.close()
    # The hub may have closed first; either way the connection is over.
    with contextlib.suppress(OSError):
        await writer.wait_closed()
