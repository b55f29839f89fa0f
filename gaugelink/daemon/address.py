"""Where the hub is to be found: a Unix socket, or a TCP port on loopback with a token.

A Unix socket is kept to its user by the permissions of its folder. Where there are none (or a
socket's path would be longer than the system takes), the hub listens on 127.0.0.1 and writes port
and token to an address file that only the user can read.
"""

from __future__ import annotations

import os
import secrets
import socket
from pathlib import Path

import msgspec

from gaugelink.reading import GaugelinkError

LONGEST_SOCKET_PATH = 100
"""Bytes; systems take from 104 to 108."""


class TcpAddress(msgspec.Struct, frozen=True):
    """What stands in an address file."""

    port: int
    token: str


class Address(msgspec.Struct, frozen=True):
    """The two places where a hub of a runtime folder can be found."""

    socket: Path
    tcp: Path

    @property
    def by_socket(self) -> bool:
        """Whether a Unix socket can be used."""
        return (
            hasattr(socket, "AF_UNIX")
            and len(os.fsencode(self.socket)) <= LONGEST_SOCKET_PATH
            and not os.environ.get("GAUGELINK_TCP")
        )

    def read_tcp(self) -> TcpAddress | None:
        """The port and token of a hub that listens on TCP; None when there is no address file."""
        try:
            return msgspec.json.decode(self.tcp.read_bytes(), type=TcpAddress)
        except FileNotFoundError:
            return None
        except (OSError, msgspec.DecodeError) as error:
            raise GaugelinkError(
                f"{self.tcp}: not a hub's address ({error}); delete it and start the hub again"
            ) from error

    def write_tcp(self, port: int) -> TcpAddress:
        """Write the address file for a hub on `port`, with a new token, for this user alone."""
        address = TcpAddress(port, secrets.token_urlsafe(24))
        self.tcp.unlink(missing_ok=True)
        handle = os.open(self.tcp, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(msgspec.json.encode(address))
        return address


def address_in(runtime: Path) -> Address:
    """The addresses of the hub whose runtime folder is given."""
    return Address(runtime / "hub.sock", runtime / "hub.json")
