"""The hub's door for other processes: JSON lines over a Unix socket or loopback TCP."""

from __future__ import annotations

import asyncio
import contextlib
import hmac
import os
import socket
from collections.abc import AsyncIterator
from typing import cast

import msgspec

from gaugelink import __version__
from gaugelink.daemon.address import Address
from gaugelink.daemon.followers import Interest, Mailbox
from gaugelink.daemon.hub import Hub
from gaugelink.daemon.messages import (
    LONGEST_LINE,
    PROTOCOL,
    AnyRequest,
    Error,
    Event,
    Greeting,
    Message,
    Open,
    Reply,
    encoder,
    request_decoder,
)
from gaugelink.reading import GaugelinkError

BACKED_UP = 64 * 1024
"""Bytes that may wait to be sent before a follower counts as slow."""

MOST_UNREAD = 1024 * 1024
"""Bytes of answers that may wait to be sent before the client's next request has to wait too."""

MOST_ASKED = 256
"""Requests that may wait; the rest stays in the client's own hands until they are done."""

MOST_BEHIND = 10_000
"""Events that may wait for a follower. One further behind has long stopped reading: it is cut off,
and can ask for how things stand when it comes again."""

FAREWELL = 1.0
"""Seconds that a follower gets to read what is still to be sent when the hub ends."""


class Visitors:
    """The connections that are open, and whether more may come."""

    def __init__(self) -> None:
        self.here: set[Connection] = set()
        self.welcome = True

    async def farewell(self) -> None:
        """End all connections; one that does not read is cut off after `FAREWELL` seconds."""
        self.welcome = False
        for each in list(self.here):
            each.end()
        leaving = [each.worker for each in self.here if each.worker is not None]
        if leaving:
            await asyncio.wait(leaving, timeout=FAREWELL)
        for each in list(self.here):
            each.cut()


class Connection(asyncio.Protocol):
    """One client: its requests are carried out in order, its events written as they come.

    While the client reads slowly, events wait in a mailbox, where readings replace each other.
    What was asked is carried out to its end, even if the client is gone by then.
    """

    needs_line = True

    def __init__(
        self,
        hub: Hub,
        tasks: asyncio.TaskGroup,
        token: str | None,
        visitors: Visitors,
    ) -> None:
        self._hub = hub
        self._visitors = visitors
        self._tasks = tasks
        self._token = token
        self._transport: asyncio.Transport | None = None
        self._rest = b""
        self._requests: asyncio.Queue[AnyRequest | None] = asyncio.Queue()
        """None after the last."""
        self._mailbox = Mailbox()
        self._flowing = asyncio.Event()
        self._flowing.set()
        self.worker: asyncio.Task[None] | None = None
        self.interest = Interest()

    # What asyncio calls

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = cast(asyncio.Transport, transport)
        if not self._visitors.welcome:
            self._transport.abort()
            return
        self._visitors.here.add(self)
        self._transport.set_write_buffer_limits(high=BACKED_UP)
        self.worker = self._tasks.create_task(self._work())
        if self._token is None:
            self._greet()

    def connection_lost(self, exc: Exception | None) -> None:
        self._hub.detach(self)
        self._visitors.here.discard(self)
        self._transport = None
        self._flowing.set()
        self._requests.put_nowait(None)

    def eof_received(self) -> bool:
        self._requests.put_nowait(None)
        return True  # the other way stays open for the answers

    def data_received(self, data: bytes) -> None:
        lines = (self._rest + data).split(b"\n")
        self._rest = lines.pop()
        for line in lines:
            if len(line) > LONGEST_LINE:
                break
            if line.strip() and not self._take(line):
                return
        else:
            if len(self._rest) <= LONGEST_LINE:
                return
        self._close_with(f"a line may have {LONGEST_LINE} bytes; this one was longer")

    def pause_writing(self) -> None:
        self._flowing.clear()

    def resume_writing(self) -> None:
        self._flowing.set()
        for event in self._mailbox.take():
            self._write(encoder.encode(event) + b"\n")

    # What the hub calls

    @property
    def missed(self) -> int:
        return self._mailbox.missed

    def deliver(self, event: Event, line: bytes | None) -> None:
        if not self._flowing.is_set():
            self._mailbox.put(event)
            if len(self._mailbox) > MOST_BEHIND:
                self.cut()
        else:
            self._write(encoder.encode(event) + b"\n" if line is None else line)

    # The rest

    def _greet(self) -> None:
        self._hub.attach(self)
        self._send(Greeting(PROTOCOL, __version__))

    def _take(self, line: bytes) -> bool:
        """Queue the request in a line; False when the connection is to be closed for it."""
        try:
            request = request_decoder.decode(line)
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
            self._close_with(f"not a request of protocol {PROTOCOL}: {error}")
            return False
        if self._token is not None:
            given = request.token if isinstance(request, Open) else ""
            if not hmac.compare_digest(given.encode(), self._token.encode()):
                self._close_with("the first line on TCP opens with the token of the address file")
                return False
            self._token = None
            self._greet()
            return True
        self._requests.put_nowait(request)
        if self._transport is not None and self._requests.qsize() >= MOST_ASKED:
            self._transport.pause_reading()
        return True

    async def _work(self) -> None:
        while (request := await self._requests.get()) is not None:
            try:
                answer: Message = Reply(request.id, await self._hub.handle(request, self))
            except GaugelinkError as error:
                answer = Error(str(error), request.id)
            self._send(answer)
            await self._catch_up()
        self.end()

    async def _catch_up(self) -> None:
        """Wait until the client has read most answers, then take what it asks further."""
        transport = self._transport
        if transport is not None and transport.get_write_buffer_size() > MOST_UNREAD:
            await self._flowing.wait()
        if self._transport is not None and self._requests.qsize() < MOST_ASKED // 2:
            self._transport.resume_reading()

    def end(self) -> None:
        """Close it once what is still to be sent has been."""
        if self._transport is not None:
            self._transport.close()

    def cut(self) -> None:
        """Close it at once."""
        if self._transport is not None:
            self._transport.abort()

    def _send(self, message: Message) -> None:
        self._write(encoder.encode(message) + b"\n")

    def _write(self, line: bytes) -> None:
        if self._transport is not None and not self._transport.is_closing():
            self._transport.write(line)

    def _close_with(self, text: str) -> None:
        self._rest = b""
        self._send(Error(text))
        self.end()


@contextlib.asynccontextmanager
async def serving(hub: Hub, address: Address) -> AsyncIterator[str]:
    """Serve the hub at the address until the block is left; yields where it listens.

    Raises GaugelinkError when the folder cannot be used. The caller holds the store, so a socket
    that is there already is a dead hub's.
    """
    try:
        address.socket.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        bound, token = _bind(address)
    except OSError as error:
        raise GaugelinkError(
            f"{address.socket}: cannot be listened at ({error}); give another --home"
        ) from error
    where, file = (
        (str(address.socket), address.socket)
        if token is None
        else ("{}:{}".format(*bound.getsockname()), address.tcp)
    )
    loop = asyncio.get_running_loop()
    visitors = Visitors()
    async with asyncio.TaskGroup() as tasks:

        def connect() -> Connection:
            return Connection(hub, tasks, token, visitors)

        server: asyncio.Server = await (
            loop.create_unix_server(connect, sock=bound)
            if token is None
            else loop.create_server(connect, sock=bound)
        )
        try:
            yield where
        finally:
            server.close()
            file.unlink(missing_ok=True)
            await visitors.farewell()
            await server.wait_closed()


def _bind(address: Address) -> tuple[socket.socket, str | None]:
    """A socket that does not listen yet, and on TCP the token, which is in the file by then."""
    if address.by_socket:
        address.socket.unlink(missing_ok=True)
        bound = socket.socket(socket.AF_UNIX)
    else:
        bound = socket.socket()
    try:
        if address.by_socket:
            bound.bind(os.fspath(address.socket))
            os.chmod(address.socket, 0o600)
            return bound, None
        bound.bind(("127.0.0.1", 0))
        return bound, address.write_tcp(bound.getsockname()[1]).token
    except BaseException:
        bound.close()
        raise
