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


class Connection(asyncio.Protocol):
    """One client: its requests are carried out in order, its events written as they come.

    While the client reads slowly, events wait in a mailbox, where readings replace each other.
    """

    needs_line = True

    def __init__(
        self,
        hub: Hub,
        tasks: asyncio.TaskGroup,
        token: str | None,
        open_now: set[asyncio.Transport],
    ) -> None:
        self._hub = hub
        self._open_now = open_now
        self._tasks = tasks
        self._token = token
        self._transport: asyncio.Transport | None = None
        self._rest = b""
        self._requests: asyncio.Queue[AnyRequest] = asyncio.Queue()
        self._worker: asyncio.Task[None] | None = None
        self._mailbox = Mailbox()
        self._slow = False
        self.interest = Interest()

    # What asyncio calls

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = cast(asyncio.Transport, transport)
        self._open_now.add(self._transport)
        self._transport.set_write_buffer_limits(high=BACKED_UP)
        self._worker = self._tasks.create_task(self._work())
        if self._token is None:
            self._greet()

    def connection_lost(self, exc: Exception | None) -> None:
        self._hub.detach(self)
        if self._transport is not None:
            self._open_now.discard(self._transport)
        self._transport = None
        if self._worker is not None:
            self._worker.cancel()

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
        self._slow = True

    def resume_writing(self) -> None:
        self._slow = False
        for event in self._mailbox.take():
            self._write(encoder.encode(event) + b"\n")

    # What the hub calls

    @property
    def missed(self) -> int:
        return self._mailbox.missed

    def deliver(self, event: Event, line: bytes | None) -> None:
        if self._slow:
            self._mailbox.put(event)
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
        except (msgspec.DecodeError, UnicodeDecodeError) as error:
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
        return True

    async def _work(self) -> None:
        while True:
            request = await self._requests.get()
            try:
                answer: Message = Reply(request.id, await self._hub.handle(request, self))
            except GaugelinkError as error:
                answer = Error(str(error), request.id)
            self._send(answer)

    def _send(self, message: Message) -> None:
        self._write(encoder.encode(message) + b"\n")

    def _write(self, line: bytes) -> None:
        if self._transport is not None:
            self._transport.write(line)

    def _close_with(self, text: str) -> None:
        self._rest = b""
        self._send(Error(text))
        if self._transport is not None:
            self._transport.close()


@contextlib.asynccontextmanager
async def serving(hub: Hub, address: Address) -> AsyncIterator[str]:
    """Serve the hub at the address until the block is left; yields where it listens.

    Raises GaugelinkError when the folder cannot be used. The caller holds the store, so a socket
    that is there already is a dead hub's.
    """
    try:
        address.socket.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise GaugelinkError(
            f"{address.socket.parent}: cannot be made ({error}); give another --home"
        ) from error
    loop = asyncio.get_running_loop()
    connections: set[asyncio.Transport] = set()
    async with asyncio.TaskGroup() as tasks:

        def connect(token: str | None) -> Connection:
            return Connection(hub, tasks, token, connections)

        if address.by_socket:
            address.socket.unlink(missing_ok=True)
            server: asyncio.Server = await loop.create_unix_server(
                lambda: connect(None), os.fspath(address.socket)
            )
            os.chmod(address.socket, 0o600)
            where, file = str(address.socket), address.socket
        else:
            # Bound first, for the port goes into the file; listening only once the token is known.
            bound = socket.create_server(("127.0.0.1", 0))
            port = bound.getsockname()[1]
            token = address.write_tcp(port).token
            server = await loop.create_server(lambda: connect(token), sock=bound)
            where, file = f"127.0.0.1:{port}", address.tcp
        try:
            yield where
        finally:
            server.close()
            for transport in list(connections):
                transport.close()
            file.unlink(missing_ok=True)
            await server.wait_closed()
