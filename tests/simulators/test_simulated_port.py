"""The pseudo-terminal alone, from both of its ends, without a process or a clock."""

from __future__ import annotations

import array
import fcntl
import os
import termios
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import serial

from gaugelink.devices.description import LinkSettings
from simulators.serial_pty import MOST_UNREAD, PortError, PseudoTerminal

FRAME = b"+000.430mm\r"

DEADLINE = 5
"""Seconds; nothing here waits that long unless it fails."""


@contextmanager
def plugged(baud: int = 9600, link: Path | None = None) -> Iterator[tuple[PseudoTerminal, int]]:
    """A port and the client's end of it, opened without setting anything but the speed."""
    port = PseudoTerminal(LinkSettings(baud=baud), link)
    path = port.plug()
    client = os.open(path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    try:
        set_speed(client, termios.B9600)
        yield port, client
    finally:
        os.close(client)
        port.unplug()


def set_speed(client: int, speed: int) -> None:
    settings = termios.tcgetattr(client)
    settings[4] = settings[5] = speed
    termios.tcsetattr(client, termios.TCSANOW, settings)


def until(count: int, read: Callable[[], bytes]) -> bytes:
    """`count` bytes; the kernel hands them over in its own time, within some microseconds."""
    found = b""
    deadline = time.monotonic() + DEADLINE
    while len(found) < count and time.monotonic() < deadline:
        found += read()
    return found


def come(client: int, count: int) -> bytes:
    """The next bytes at the client's end."""

    def read() -> bytes:
        try:
            return os.read(client, count)
        except BlockingIOError:
            return b""

    return until(count, read)


def unread(client: int) -> int:
    waiting = array.array("i", [0])
    fcntl.ioctl(client, termios.FIONREAD, waiting)
    return waiting[0]


def test_bytes_pass_as_they_are_both_ways() -> None:
    every = bytes(range(256))
    with plugged() as (port, client):
        port.send(every)
        assert come(client, 256) == every
        os.write(client, every)
        assert until(256, port.received) == every
        assert port.received() == b""


def test_it_follows_the_clients_speed() -> None:
    with plugged() as (port, client):
        set_speed(client, termios.B4800)
        port.send(b"\x00")
        assert come(client, 1) == b"\xf8"
        os.write(client, b"\xff")
        assert until(1, port.received) == b"\xfe"
        set_speed(client, termios.B9600)
        port.send(b"\x00")
        assert come(client, 1) == b"\x00"


def test_a_speed_that_has_no_name_is_only_right_for_another_such() -> None:
    with plugged(baud=12_345) as (port, client), serial.Serial(os.ttyname(client), 12_345):
        port.send(FRAME)
        assert come(client, len(FRAME)) == FRAME
    with plugged() as (port, client):
        with serial.Serial(os.ttyname(client), 12_345):
            port.send(b"lost")
        set_speed(client, termios.B9600)
        port.send(FRAME)
        assert come(client, len(FRAME)) == FRAME


def test_what_no_one_reads_is_lost_whole() -> None:
    with plugged() as (port, client):
        sent = MOST_UNREAD // len(FRAME)
        for _ in range(sent):
            port.send(FRAME)
        assert until(1, lambda: b"full" * (unread(client) == sent * len(FRAME)))
        for _ in range(100):
            port.send(FRAME)
        assert come(client, sent * len(FRAME)) == FRAME * sent
        port.send(b"next")
        assert come(client, 4) == b"next"


def test_without_a_port_nothing_is_sent_or_heard() -> None:
    port = PseudoTerminal(LinkSettings())
    port.send(FRAME)
    assert port.received() == b""
    port.unplug()
    assert not port.plugged


def test_its_owner_is_told_of_each_port() -> None:
    told: list[tuple[str, int]] = []
    port = PseudoTerminal(
        LinkSettings(),
        opened=lambda fd: told.append(("opened", fd)),
        closing=lambda fd: told.append(("closing", fd)),
    )
    port.plug()
    port.unplug()
    assert [word for word, _ in told] == ["opened", "closing"]
    assert told[0][1] == told[1][1]


def test_a_stale_link_is_replaced_and_another_owners_left(tmp_path: Path) -> None:
    link = tmp_path / "gauge"
    link.symlink_to("/dev/pts/none")
    with plugged(link=link):
        assert link.exists()
        link.unlink()
        link.symlink_to("/dev/null")
    assert str(link.readlink()) == "/dev/null"


def test_a_link_where_none_can_be(tmp_path: Path) -> None:
    with pytest.raises(PortError, match="cannot be made"):
        PseudoTerminal(LinkSettings(), tmp_path / "none" / "gauge").plug()
