"""Which characteristic is the indicator's value, and what the device says of it: pure choices."""

from __future__ import annotations

import struct

import pytest

from gaugelink.devices.bluetooth import address_of, is_bluetooth, port_of
from gaugelink.devices.bluetooth.assigned import (
    BATTERY,
    BATTERY_LEVEL,
    INDUSTRIAL_MEASUREMENT,
    full_uuid,
)
from gaugelink.devices.bluetooth.offers import (
    Offer,
    chosen,
    over_bluetooth,
    presented,
    question_to,
    text_lines,
    values,
)
from gaugelink.devices.bluetooth.presentation import Presentation
from gaugelink.devices.bluetooth.recognise import self_described
from gaugelink.devices.bluetooth.scan import Near, ordered
from gaugelink.devices.catalog import catalog
from gaugelink.devices.description import check
from gaugelink.devices.framing import PacketFramer, TerminatorFramer, framer_for

METRES = struct.pack("<BbHBH", 16, -5, 0x2701, 1, 0)
SECONDS = struct.pack("<BbHBH", 16, -3, 0x2703, 1, 0)
OWN = "6f1c0001-52a4-4e0b-9d3e-2b7a5c1e8f40"


def offer(handle: int, **more: object) -> Offer:
    known: dict[str, object] = {
        "service": full_uuid(0x1234),
        "uuid": full_uuid(handle),
        "service_handle": 1,
        "notifies": True,
        "written": False,
    }
    return Offer(handle=handle, **known | more)  # type: ignore[arg-type]


CHARGE = offer(2, service=BATTERY, uuid=BATTERY_LEVEL)
CLOCK = offer(3, presented=SECONDS)
LENGTH = offer(5, presented=METRES)
FURTHER = offer(7, presented=METRES)
STANDARD = offer(9, service=INDUSTRIAL_MEASUREMENT, presented=METRES)
BROKEN = offer(4, presented=b"\x10\xfb\x01\x27\x01")
OUT = offer(11, service_handle=10)
IN = offer(13, service_handle=10, notifies=False, written=True)


def test_the_first_that_presents_a_length_is_the_value() -> None:
    found, reasons = presented([FURTHER, BROKEN, CHARGE, LENGTH, CLOCK, OUT, IN])
    assert found is not None
    assert (found.offer, found.presentation) == (LENGTH, Presentation("sint32", -5, "m"))
    assert [reason.split(" ")[0:2] for reason in reasons] == [
        ["it", "presents"],
        ["the", "presentation"],
    ]
    assert chosen([FURTHER, LENGTH, OUT, IN], "") == LENGTH


def test_the_standards_own_service_comes_first() -> None:
    assert chosen([LENGTH, FURTHER, STANDARD], "") == STANDARD


def test_without_a_length_text_is_looked_for_first_where_it_can_be_answered() -> None:
    assert presented([CLOCK, OUT, IN])[0] is None
    assert text_lines([CLOCK, IN, OUT]) == [OUT, CLOCK]
    assert chosen([CLOCK, IN, OUT], "") == OUT
    assert chosen([CHARGE, IN], "") is None
    assert values([CHARGE, IN]) == []


def test_one_that_is_named_is_taken_by_its_name() -> None:
    other = offer(15, uuid=OWN)
    assert chosen([LENGTH, other], OWN.upper()) == other
    assert chosen([LENGTH, other], full_uuid(0x9999)) is None
    assert chosen([offer(15, uuid=OWN, notifies=False)], OWN) is None, "it could never be heard"


def test_a_question_goes_to_the_same_service() -> None:
    both = offer(21, service_handle=20, written=True)
    assert question_to([OUT, IN, both], OUT) == IN
    assert question_to([OUT, IN, both], both) == both
    assert question_to([LENGTH, IN], LENGTH) is None


@pytest.mark.parametrize("unit", [0x2701, 0x2782, 0x2783, 0x27A0, 0x27A2, 0x27A3, 0x27A4])
def test_a_device_that_describes_itself_has_a_description_as_good_as_a_file(unit: int) -> None:
    offered = offer(5, uuid=OWN, presented=struct.pack("<BbHBH", 20, 0, unit, 1, 0))
    found, _ = presented([offered])
    assert found is not None
    description = self_described(found)
    check(description, "the device")
    assert " " not in description.name
    assert description.link.characteristic == OWN
    assert isinstance(framer_for(description), PacketFramer)


def test_over_bluetooth_text_has_no_parity() -> None:
    seven = catalog()["seven-bit-even-crlf"]
    described = over_bluetooth(seven, OWN)
    assert isinstance(framer_for(described), TerminatorFramer)
    assert described.link.characteristic == OWN
    assert over_bluetooth(described).link.characteristic == OWN, "what is known stays known"
    assert described.decoding == seven.decoding


def test_ports_and_addresses() -> None:
    assert is_bluetooth("ble:C4:5A:1E:00:00:01")
    assert not is_bluetooth("/dev/ttyUSB0")
    assert not is_bluetooth("COM3")
    assert address_of(port_of("C4:5A:1E:00:00:01")) == "C4:5A:1E:00:00:01"
    assert address_of("ble:") == ""


def test_what_announces_itself_as_a_measuring_device_comes_first_then_the_strongest() -> None:
    devices = [
        Near("01", "lamp", -30),
        Near("02", "by its service", -80, services=(INDUSTRIAL_MEASUREMENT,)),
        Near("03", "caliper", -70, 0x1482),
        Near("04", "force gauge", -40, 0x1486),
        Near("05", "dial indicator", -60, 0x1483),
        Near("06", "another lamp", -30),
    ]
    assert [each.address for each in ordered(devices)] == ["05", "03", "02", "01", "06", "04"]
    assert [each.measures for each in ordered(devices)] == [
        *("dial indicator", "caliper", "measuring device", "", "", "")
    ]
    assert devices[0].port == "ble:01"
