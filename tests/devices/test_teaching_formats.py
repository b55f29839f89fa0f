"""Formats that the teaching once took for something else, each for a reason of its own."""

from __future__ import annotations

import struct
from collections.abc import Callable
from decimal import Decimal
from itertools import accumulate

import pytest

from gaugelink.devices.description import Field
from gaugelink.devices.link import Chunk
from gaugelink.devices.teaching import coded
from gaugelink.devices.teaching.analysis import analyse
from gaugelink.devices.teaching.columns import without_codes
from gaugelink.devices.teaching.finding import Line
from gaugelink.devices.teaching.tokens import number
from tests.devices.test_teaching import RATE, hand, lrc, reads, stream, taught

HANDS = [hand(index) for index in range(700)]
GREATEST, LEAST = list(accumulate(HANDS, max)), list(accumulate(HANDS, min))
"""What has been reached so far, as an indicator holds it."""


def minus(v: int) -> bytes:
    return b"\x01" if v < 0 else b"\x00"


ODD: dict[str, Callable[[int, int], bytes]] = {
    "three lines and an empty one": lambda v, i: (
        f"--- {i:04d} ---\r\nVAL {v / 100:+.3f} mm\r\nTMP 21.{i % 3} C\r\n\r\n".encode()
    ),
    "greatest and least beside it": lambda v, i: (
        f"{v / 100:+.3f},{GREATEST[i] / 100:+.3f},{LEAST[i] / 100:+.3f},mm\r\n".encode()
    ),
    "the range beside it": lambda v, i: (
        f"{(GREATEST[i] - LEAST[i]) / 100:.3f} {v / 100:.3f} mm\r\n".encode()
    ),
    "quoted in an object": lambda v, i: (
        f'{{"ch":1,"val":"{v / 100:.3f}","unit":"mm","bat":2.98,"seq":{i}}}\n'.encode()
    ),
    "a list with quotation marks": lambda v, i: f'"{i}","{v / 100:.3f}","mm"\r\n'.encode(),
    "a symbol for the limits": lambda v, i: (
        f"{v / 100:8.3f} {'<' if v < 100 else '>' if v > 400 else '='}\r\n".encode()
    ),
    "a mark that changes": lambda v, i: f"{'*' if i % 3 else '#'}{v / 100:+.3f} mm\r\n".encode(),
    "counter and battery glued to it": lambda v, i: f"{i % 1000:03d}{v / 100:+07.3f}87\r".encode(),
    "hexadecimal counter before a space": lambda v, i: (
        f"{i * 7 % 256:02x} {v / 100:+.3f} mm\r\n".encode()
    ),
    "wide columns of spaces": lambda v, i: (
        f"          {v / 100:10.3f}    mm      G   0   \r\n".encode()
    ),
    "a check of one character, of no known rule": lambda v, i: (
        (body := f"{v / 100:+09.3f}mm".encode()) + bytes([0x20 + sum(body) % 64]) + b"\r"
    ),
    "sign and size, two bytes": lambda v, i: (
        (body := b"\x7e" + minus(v) + (abs(v) * 10).to_bytes(2, "little"))
        + bytes([sum(body) % 256])
    ),
    "a plus or minus sign, highest byte first": lambda v, i: lrc(
        b"\xaa\x55" + (b"-" if v < 0 else b"+") + (abs(v) * 10).to_bytes(2, "big")
    ),
    "a status below the highest byte first": lambda v, i: lrc(
        b"\x55\x01" + (v * 10).to_bytes(2, "big", signed=True) + bytes([i // 40 % 2])
    ),
}


@pytest.mark.parametrize("name", ODD)
def test_odd_formats_are_read_in_hundredths(name: str) -> None:
    finding = taught(stream(ODD[name], 120))
    assert finding.sound
    fresh = stream(ODD[name], 100, first=500)
    got = reads(finding.description, fresh)
    assert len(got) >= 99
    for value, chunk in zip(got, fresh[-len(got) :], strict=True):
        assert abs(value - hand(round(chunk.at * RATE))) < Decimal("0.2")


def test_a_status_that_turns_near_zero_is_no_second_sign() -> None:
    def frame(v: int, i: int) -> bytes:
        return (
            f"{'L' if abs(v) < 60 else 'N'} {'-' if v < 0 else '+'} {abs(v) / 100:.3f}\x03".encode()
        )

    finding = taught(stream(frame))
    assert finding.sound
    assert reads(finding.description, [Chunk(b"L - 0.430\x03N + 4.300\x03", 0.0)]) == [
        Decimal(-43),
        Decimal(430),
    ]


def test_lines_of_other_kinds_are_not_held_against_it() -> None:
    finding = taught(stream(lambda v, i: f"N {i}\r\nX {v / 100:+.3f}\r\nU mm\r\nB 87\r\n".encode()))
    assert finding.sound
    assert reads(finding.description, [Chunk(b"N 7\r\nX +0.430\r\nB 87\r\n", 0.0)]) == [Decimal(43)]


def test_a_number_far_from_all_others_is_no_reading() -> None:
    def frame(v: int, i: int) -> bytes:
        return b"9999.999 mm\r\n" if i % 17 == 9 else f"{v / 100:8.3f} mm\r\n".encode()

    finding = taught(stream(frame))
    assert finding.description.unit == "mm"
    assert reads(finding.description, [Chunk(b"   0.430 mm\r\n9999.999 mm\r\n", 0.0)]) == [
        Decimal(43)
    ]
    moving = [number(f"{index}.5") for index in range(1, 9)]
    assert without_codes([*moving, number("12.0")]) == {*moving, number("12.0")}


def test_inches_and_millimetres_in_the_same_minute() -> None:
    def frame(v: int, i: int) -> bytes:
        return (f"{v / 100:+.3f}mm\r" if i < 35 else f"{v / 2540:+.5f}in\r").encode()

    found = taught(stream(frame)).description
    assert reads(found, [Chunk(b"+0.430mm\r+0.01000in\r", 0.0)]) == [Decimal(43), Decimal("25.4")]


@pytest.mark.parametrize("sent", [b"000.43-MM\r", b"-00.43 MM\r"])
def test_a_minus_that_was_not_seen_may_stand_behind(sent: bytes) -> None:
    finding = taught(stream(lambda v, i: f"{abs(v) % 99 / 100 + i % 5:06.2f} MM\r".encode()))
    assert any("no minus was seen" in sentence for sentence in finding.evidence)
    assert reads(finding.description, [Chunk(sent, 0.0)]) == [Decimal(-43)]
    assert reads(finding.description, [Chunk(b"000.43 MM\r", 0.0)]) == [Decimal(43)]


@pytest.mark.parametrize(
    "frame",
    [
        lambda v, i: f"{v / 100:+.3f},{(v - HANDS[i - 1]) / 10:+.3f},mm\r\n".encode(),
        lambda v, i: f"RAW {v / 100:.3f} AVG {(v + HANDS[i - 1]) / 200:.4f} mm\r\n".encode(),
    ],
    ids=["its speed", "its mean"],
)
def test_a_unit_behind_several_numbers_says_nothing_of_which(
    frame: Callable[[int, int], bytes],
) -> None:
    finding = taught(stream(frame, 60, first=1))
    assert finding.question is not None
    assert "which" in finding.question
    fresh = stream(frame, 50, first=300)
    expected = [Decimal(hand(round(chunk.at * RATE))) for chunk in fresh]
    assert expected in [reads(each, fresh) for _, each in finding.alternatives or []]


def test_commas_between_thousands_are_not_believed() -> None:
    finding = taught(stream(lambda v, i: f"{(abs(v) + 110) * 10:,} um\r\n".encode()))
    assert finding.sure < 0.5


@pytest.mark.parametrize(
    "number",
    [
        lambda v: struct.pack("<f", v / 100),
        lambda v: struct.pack(">f", v / 2540),
        lambda v: (b"-" if v < 0 else b"+") + bytes.fromhex(f"{abs(v) * 10:06d}"),
    ],
    ids=["float", "float of inches, highest byte first", "binary-coded decimal"],
)
def test_bytes_that_are_no_whole_number_are_not_read_as_one(
    number: Callable[[int], bytes],
) -> None:
    """No description can say them, and a wrong thickness would be worse than none."""
    chunks = stream(lambda v, i: lrc(b"\xaa\x55" + number(v)), 90)
    assert analyse(chunks, Line(9600)) is None


def test_small_whole_numbers_are_no_floats() -> None:
    for order in ("little", "big"):
        parts = [(v * 10).to_bytes(4, order, signed=True) for v in HANDS[:60]]
        assert coded.floats(parts, "<") is None
        assert coded.floats(parts, ">") is None
        assert coded.places(parts, 4) == set()


def test_a_sign_byte_is_part_of_the_description() -> None:
    layout = taught(stream(ODD["sign and size, two bytes"], 120)).description.decoding.layout
    assert layout == [Field("sign", 1, 1, "uint-le"), Field("value", 2, 2, "uint-le")]


def test_binary_frames_say_that_no_minus_was_seen() -> None:
    finding = taught(stream(lambda v, i: lrc(b"\xaa" + (abs(v) * 10).to_bytes(4, "little"))))
    assert any("no minus was seen" in sentence for sentence in finding.evidence)
