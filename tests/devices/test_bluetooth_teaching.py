"""Teaching over Bluetooth, through the real bleak, to a peer on a private message bus."""

from __future__ import annotations

import asyncio
import contextlib
import struct
from collections.abc import AsyncIterator, Iterator
from decimal import Decimal
from typing import ClassVar

import pytest

from gaugelink.devices import catalog, links
from gaugelink.devices.bluetooth.link import BluetoothLink
from gaugelink.devices.bluetooth.offers import Offer, over_bluetooth
from gaugelink.devices.bluetooth.presentation import Presentation
from gaugelink.devices.description import (
    ByPacket,
    ByTerminator,
    Decoding,
    Description,
    Field,
    LinkSettings,
)
from gaugelink.devices.framing import with_parity
from gaugelink.devices.link import Chunk, LinkError
from gaugelink.devices.pipeline import Pipeline
from gaugelink.devices.teaching import policy
from gaugelink.devices.teaching.analysis import analyse
from gaugelink.devices.teaching.finding import Finding, Line
from gaugelink.devices.teaching.hearing import PRESS
from gaugelink.devices.teaching.keeping import usual_name
from gaugelink.devices.teaching.listening import NotTaught, Teacher
from gaugelink.devices.teaching.writing import written
from simulators.bluetooth.gatt import PRESENTED_VALUE, UART_OUT
from tests.devices.bluetooth_peer import (
    ASKED_PORT,
    BARE_PORT,
    DEADLINE,
    MARKS_PORT,
    PORT,
    QUICK,
    TEXTS,
    Simulator,
    bus_at,
    needs_bus,
    running,
    simulated,
)


@pytest.fixture
def hasty(monkeypatch: pytest.MonkeyPatch) -> None:
    """Waits cut short, for what never comes in the test."""
    short = {"QUIET": 0.3, "PRESSES": 0.3, "ANSWER": 0.02, "LAST_ANSWER": 0.1, "ON_THE_AIR": 0.05}
    for name, seconds in short.items():
        monkeypatch.setattr(policy, name, seconds)


@pytest.fixture(scope="module")
def walking() -> Iterator[Simulator]:
    """The indicators of the shared simulator, whose spindle no test has set down yet."""
    also = [option for name in TEXTS.values() for option in ("--also", name)]
    with running(*also) as simulator:
        yield simulator


@contextlib.asynccontextmanager
async def near(walking: Simulator) -> AsyncIterator[Simulator]:
    """bleak beside the simulator, which is told nothing that would end its walk."""
    async with asyncio.timeout(DEADLINE), bus_at(walking.bus):
        yield walking


async def reads_like(port: str, finding: Finding, truth: Description) -> None:
    """Read some values with what was taught, and with the description that the device speaks."""
    link = BluetoothLink(port, finding.description.link, policy=QUICK)
    taught, true = Pipeline(finding.description, "g"), Pipeline(over_bluetooth(truth), "g")
    ask = finding.description.ask
    found: list[Decimal] = []
    await link.open()
    try:
        while len(found) < 10:
            if ask is not None:
                await link.write(ask.send.encode())
            chunk = await link.read()
            got = [each.hundredths for each in taught.feed(chunk.data, chunk.at)]
            assert got == [each.hundredths for each in true.feed(chunk.data, chunk.at)]
            found += got
    finally:
        await link.close()


PRESENTED = Description(
    name="presented",
    title="As the simulator presents it, with a descriptor or without",
    framing=ByPacket(),
    decoding=Decoding(presentation=Presentation("sint32", -5)),
)


def nothing_of_a_line(finding: Finding) -> None:
    """Neither the description nor its reasons speak of a speed or a parity."""
    text = written(finding.description, finding.evidence)
    assert catalog.parse(text, "taught") == finding.description
    link = finding.description.link
    assert link == LinkSettings(characteristic=link.characteristic)
    for word in ("baud", "9600", "8N1", "parity", "stop bit"):
        assert word not in text


@needs_bus
async def test_a_device_that_presents_a_length_says_so_at_once(walking: Simulator) -> None:
    async with near(walking):
        teacher = Teacher(PORT)
        finding = await teacher.teach()
        assert finding.description.decoding == Decoding(presentation=Presentation("sint32", -5))
        assert finding.description.link.characteristic == PRESENTED_VALUE
        assert (finding.question, finding.description.name) == (None, "taught")
        assert usual_name(finding.description) == "bluetooth-sint32-metre"
        assert any("says so itself" in sentence for sentence in finding.evidence)
        assert teacher.tried.bytes == 0, "nothing had to be listened to"
        nothing_of_a_line(finding)
        await reads_like(PORT, finding, PRESENTED)


@needs_bus
@pytest.mark.parametrize("port", [MARKS_PORT, BARE_PORT])
async def test_text_that_comes_by_itself_is_worked_out(walking: Simulator, port: str) -> None:
    async with near(walking):
        teacher = Teacher(port)
        finding = await teacher.teach()
        assert finding.sound
        assert finding.description.sends == "stream"
        assert isinstance(finding.description.framing, ByTerminator), "of pieces of 20 bytes"
        assert finding.description.link.characteristic == UART_OUT
        assert (finding.description.checksum is not None) == (port == MARKS_PORT)
        assert teacher.tried.requests == []
        assert list(teacher.tried.characteristics) == [UART_OUT]
        assert teacher.tried.speeds == {}
        nothing_of_a_line(finding)
        await reads_like(port, finding, catalog.find(TEXTS[port]))


@needs_bus
async def test_what_does_not_come_by_itself_is_asked_for(
    walking: Simulator, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(policy, "QUIET", 0.5)
    async with near(walking):
        teacher = Teacher(ASKED_PORT)
        finding = await teacher.teach()
        assert finding.description.sends == "when-asked"
        assert finding.description.ask is not None
        assert finding.description.ask.send == "?\r"
        asked = tuple(teacher.tried.requests)
        assert asked == policy.REQUESTS[: len(asked)]
        nothing_of_a_line(finding)
        await reads_like(ASKED_PORT, finding, catalog.find(TEXTS[ASKED_PORT]))


@needs_bus
async def test_values_of_bytes_without_a_descriptor_are_worked_out() -> None:
    async with simulated("--descriptor", "absent"):
        finding = await Teacher(PORT).teach()
        assert finding.description.framing == ByPacket(4)
        assert finding.description.decoding.layout == [Field("value", 0, 4, "int-le")]
        assert finding.description.unit == "hundredths"
        assert finding.question is not None, "no unit is sent"
        nothing_of_a_line(finding)
        await reads_like(PORT, finding, PRESENTED)


@needs_bus
async def test_a_button_is_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(policy, "QUIET", 0.3)
    monkeypatch.setattr(policy, "LAST_ANSWER", 0.02)
    monkeypatch.setattr(policy, "REQUESTS", policy.REQUESTS[:2])
    said: asyncio.Queue[str] = asyncio.Queue()
    async with simulated("--text", "button-hundredths-crlf") as simulator:
        teaching = asyncio.create_task(Teacher(PORT, say=said.put_nowait, seconds=10).teach())
        while await said.get() != PRESS:
            pass
        await asyncio.sleep(1.5)
        while not teaching.done():
            await simulator.done("button")
            await asyncio.sleep(0.5)
        finding = await teaching
    assert finding.description.sends == "on-button"
    assert finding.description.ask is None
    nothing_of_a_line(finding)


@needs_bus
@pytest.mark.usefixtures("hasty")
async def test_one_that_never_says_anything_tells_what_was_tried() -> None:
    async with simulated("--text", "bare-decimal-lf") as simulator:
        await simulator.done("sleep", seconds=600)
        teacher = Teacher(PORT)
        with pytest.raises(NotTaught, match="nothing came") as caught:
            await teacher.teach()
        assert UART_OUT in str(caught.value)
        assert "baud" not in str(caught.value)
        assert tuple(caught.value.tried.requests) == policy.REQUESTS
        assert caught.value.tried.bytes == 0


@needs_bus
async def test_a_lost_connection_and_a_wrong_address_are_told_of(walking: Simulator) -> None:
    async with near(walking) as simulator:
        with pytest.raises(LinkError, match="names no device"):
            await Teacher("ble:").teach()
        teaching = asyncio.create_task(Teacher(BARE_PORT).teach())
        await asyncio.sleep(1.0)
        await simulator.done("drop", peer=3)
        with pytest.raises(LinkError, match="the connection was lost"):
            await teaching


@needs_bus
async def test_leaving_off_in_the_middle_leaves_the_device_free(walking: Simulator) -> None:
    async with near(walking):
        teaching = asyncio.create_task(Teacher(MARKS_PORT).teach())
        await asyncio.sleep(0.7)
        teaching.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await teaching
        link = links.open_link(MARKS_PORT, LinkSettings())
        await link.open()
        assert (await link.read()).data
        await link.close()


# What comes, without a radio

UUID = "6f1c0011-52a4-4e0b-9d3e-2b7a5c1e8f40"
BY_AIR = Line(0, characteristic=UUID)


def moved(index: int) -> Decimal:
    """Millimetres at a value, up and down, below zero at times."""
    place = index * 37 % 700
    return Decimal(place if place < 350 else 700 - place).scaleb(-2) - Decimal("0.41")


def values(*sent: bytes, every: float = 0.1) -> list[Chunk]:
    return [Chunk(each, index * every) for index, each in enumerate(sent)]


def reads(description: Description, chunks: list[Chunk]) -> list[Decimal]:
    pipeline = Pipeline(description, "g")
    return [each.hundredths for chunk in chunks for each in pipeline.feed(chunk.data, chunk.at)]


def test_pieces_of_a_long_line_are_joined() -> None:
    lines = b"".join(b"%06d;POSITION;%+.3f;mm;OK;87%%\r\n" % (i, moved(i)) for i in range(40))
    pieces = [Chunk(lines[at : at + 20], at / 400) for at in range(0, len(lines), 20)]
    finding = analyse(pieces, BY_AIR)
    assert finding is not None
    assert reads(finding.description, pieces) == [100 * moved(i) for i in range(40)]


def test_text_without_an_end_is_one_frame_in_each_value() -> None:
    chunks = values(*(b"%+.2fmm" % moved(i) for i in range(30)), every=0.02)
    finding = analyse(chunks, BY_AIR)
    assert finding is not None
    assert isinstance(finding.description.framing, ByPacket)
    assert reads(finding.description, chunks) == [100 * moved(i) for i in range(30)]


def test_a_float_of_bytes_is_read_as_one() -> None:
    chunks = values(*(struct.pack("<f", moved(i) / 25) for i in range(40)))
    finding = analyse(chunks, BY_AIR)
    assert finding is not None
    presented = finding.description.decoding.presentation
    assert presented is not None
    assert presented.format == "float32"
    assert "in" in {each.decoding.presentation.unit for _, each in finding.alternatives or []}  # type: ignore[union-attr]
    assert len(reads(finding.description, chunks)) == 40


def test_bit_7_is_never_a_parity_over_the_air() -> None:
    chunks = values(*(with_parity(b"%+.2fmm\r\n" % moved(i), "even") for i in range(30)))
    assert (serial := analyse(chunks, Line(9600))) is not None
    assert serial.description.link.parity == "even"
    finding = analyse(chunks, BY_AIR)
    assert finding is None or finding.description.link.parity == "none"


STATE, TEXT = UUID.replace("0011", "0021"), UUID
TWO = [
    Offer("a", STATE, 11, service_handle=10, notifies=True, written=True),
    Offer("b", TEXT, 21, service_handle=20, notifies=True, written=False),
    Offer("b", UUID.replace("0011", "0012"), 23, service_handle=20, notifies=False, written=True),
]
"""What a device offers that has a value of another kind before its text."""


class Played(BluetoothLink):
    """A link to a device with two values, without the radio."""

    sent: ClassVar[list[tuple[str, bytes]]] = []

    def __init__(self, port: str, settings: LinkSettings) -> None:
        super().__init__(port, settings)
        self._from = settings.characteristic or STATE
        self._index = 0

    @property
    def can_be_asked(self) -> bool:
        return True

    async def open(self) -> None:
        self.offers = TWO

    async def read(self) -> Chunk:
        if self._from == STATE:
            await asyncio.Event().wait()
        await asyncio.sleep(0.002)
        self._index += 1
        return Chunk(b"%+.2fmm\r\n" % moved(self._index), self._index / 10)

    async def write(self, data: bytes) -> None:
        self.sent.append((self._from, data))

    async def close(self) -> None:
        """Nothing to let go of."""


@pytest.mark.usefixtures("hasty")
async def test_the_value_that_speaks_is_found_among_several() -> None:
    async with asyncio.timeout(DEADLINE):
        teacher = Teacher("ble:any", Played)
        finding = await teacher.teach()
    assert finding.description.link.characteristic == TEXT
    assert finding.description.framing == ByTerminator("\r\n", 32)
    assert set(teacher.tried.characteristics) == {STATE, TEXT}
    assert Played.sent == [], "what speaks is never asked"
