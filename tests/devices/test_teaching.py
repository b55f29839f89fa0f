"""What recorded bytes show: the pure parts of the teaching."""

from __future__ import annotations

import math
from collections.abc import Callable
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.devices import catalog, checksums
from gaugelink.devices.description import ByLength, ByMarks, ByTerminator, Checksum, Description
from gaugelink.devices.link import Chunk
from gaugelink.devices.pipeline import Pipeline
from gaugelink.devices.teaching import checks, policy
from gaugelink.devices.teaching.analysis import analyse
from gaugelink.devices.teaching.bursts import Pace, pace_of
from gaugelink.devices.teaching.characters import judge, likely_speeds
from gaugelink.devices.teaching.columns import series
from gaugelink.devices.teaching.cutting import frames_of
from gaugelink.devices.teaching.finding import Finding, Line, either
from gaugelink.devices.teaching.meaning import Written, meanings
from gaugelink.devices.teaching.writing import written
from gaugelink.units import factor
from simulators.encoding import Encoder
from simulators.formats import SPEEDS, Format, formats
from simulators.line import heard
from tests.devices.lines import PARITIES, with_parity

RATE = 10.0


def hand(index: int) -> int:
    """Hundredths at a frame: a spindle moved up and down, below zero at times."""
    seconds = index / RATE
    return round(290 + 330 * math.sin(1.1 * seconds) + 1.3 * math.sin(40 * seconds))


def stream(frame: Callable[[int, int], bytes], count: int = 60, first: int = 0) -> list[Chunk]:
    """Frames of `frame(hundredths, index)`, each as it comes."""
    return [Chunk(frame(hand(i), i), i / RATE) for i in range(first, first + count)]


def reads(description: Description, chunks: list[Chunk]) -> list[Decimal]:
    pipeline = Pipeline(description, "g")
    found = [each for chunk in chunks for each in pipeline.feed(chunk.data, chunk.at)]
    found += pipeline.quiet(chunks[-1].at + 60)
    return [each.hundredths for each in found]


def taught(chunks: list[Chunk], line: Line | None = None) -> Finding:
    found = analyse(chunks, line or Line(9600))
    assert found is not None
    return found


def clock(index: int) -> str:
    now = 36_000 + index // 10
    return f"{now // 3600:02d}:{now // 60 % 60:02d}:{now % 60:02d}"


def lrc(data: bytes) -> bytes:
    return data + bytes([checksums.xor8(data)])


def comma(text: str) -> bytes:
    return text.replace(".", ",").encode()


ODD: dict[str, Callable[[int, int], bytes]] = {
    "fixed digits, decimal places and unit code glued": lambda v, i: (
        f"V{'-' if v < 0 else '+'}{abs(v) * 10:06d}30".encode()
    ),
    "a binary check over the end mark, of no known rule": lambda v, i: (
        b"\x02" + lrc(f"{v / 100:+08.3f}mm\x03".encode())
    ),
    "line feed before, carriage return behind": lambda v, i: f"\n{v / 100:+.3f} mm\r".encode(),
    "everything labelled": lambda v, i: (
        f"CNT={i:05d} TEMP={21 + 0.3 * math.sin(i / 9):.1f}C POS={v / 100:.3f}mm BAT=90%\r\n"
    ).encode(),
    "two lines in turn": lambda v, i: f"T 21.{i % 3}C\r\nD {v / 100:.3f} mm\r\n".encode(),
    "as an object": lambda v, i: f'{{"t":{100 * i},"value":{v / 100:.3f},"unit":"mm"}}\n'.encode(),
    "hexadecimal counter": lambda v, i: f"{i * 37 % 65536:04X},{v / 100:.3f},mm\r\n".encode(),
    "decimal commas": lambda v, i: comma(f"{i:05d};{v / 100:.3f};mm;{21 + 0.1 * (i % 3):.1f}\r\n"),
    "in both units": lambda v, i: f"{v / 100:.3f} mm {v / 2540:.5f} in\r\n".encode(),
    "limits beside it": lambda v, i: f"{v / 100:.3f},6.210,-0.400\r".encode(),
    "no digit before the point": lambda v, i: f"{v / 2540:+.4f}in\r\n".replace("0.", ".").encode(),
    "a power of ten": lambda v, i: f"{v / 100:+.4E} MM\r\n".encode(),
    "metres without a unit": lambda v, i: f"{v / 100_000:+.4E}\n".encode(),
    "a status that comes and goes": lambda v, i: (
        f"{v / 100:.3f} mm{' L' if i // 9 % 3 == 2 else ''}\r\n".encode()
    ),
    "date and time": lambda v, i: f"2031-04-17T{clock(i)},{v / 100:.2f}\r\n".encode(),
    "seconds since it was switched on": lambda v, i: f"{12 + i / 10:.1f},{v / 100:.3f}\n".encode(),
    "sign behind": lambda v, i: f"{abs(v) / 100:07.3f}{'-' if v < 0 else '+'} mm\r".encode(),
    "sign as a letter": lambda v, i: f"{'N' if v < 0 else 'P'}{abs(v) / 100:06.3f}\r".encode(),
    "nothing but silence between": lambda v, i: f"{v / 100:+.3f}mm".encode(),
    "mu in two bytes": lambda v, i: f"{v * 10} µm\r\n".encode(),
    "noise beside it": lambda v, i: f"{v / 100:.3f},{i * 7919 % 1000}\r\n".encode(),
    "a zero byte behind": lambda v, i: f"{v / 100:.3f}mm\x00".encode(),
    "sync, two bytes, nothing checked": lambda v, i: (
        b"\xaa\x55" + (v * 10).to_bytes(2, "little", signed=True) + b"\x00"
    ),
    "highest byte first, sum": lambda v, i: (
        (body := b"\x02\x06\x01" + (v * 10).to_bytes(2, "big", signed=True))
        + bytes([sum(body) % 256])
    ),
}
"""Formats unlike the generator's, by what is odd about them."""


@pytest.mark.parametrize("name", ODD)
def test_odd_formats_are_read_in_hundredths(name: str) -> None:
    finding = taught(stream(ODD[name]))
    fresh = stream(ODD[name], 100, first=500)
    got = reads(finding.description, fresh)
    assert len(got) >= 99
    for value, chunk in zip(got, fresh[-len(got) :], strict=True):
        assert abs(value - hand(round(chunk.at * RATE))) < Decimal("0.2")


@pytest.mark.parametrize("made", formats(40, seed=1), ids=lambda made: made.description.name)
def test_made_up_formats_are_taught(made: Format) -> None:
    ask = made.description.ask
    line = Line(
        made.description.link.baud,
        request=ask.send if ask else "",
        sends="when-asked" if ask else "stream",
    )
    chunks = [Chunk(made.frame(i), i / made.rate) for i in range(30)]
    finding = taught(chunks, line)
    fresh = [Chunk(made.frame(i), i / made.rate) for i in range(900, 960)]
    candidates = [finding.description, *(each for _, each in finding.alternatives or [])]
    expected = reads(made.description, fresh)
    assert len(expected) >= 59
    if made.says_unit:
        assert reads(finding.description, fresh) == expected
    else:
        assert expected in [reads(each, fresh) for each in candidates]


def test_the_generator_knows_the_truth_about_two_hundred_formats() -> None:
    made = formats(200, seed=1)
    assert len({each.name for each in made}) == 200
    assert {each.description.link.baud for each in made} == set(SPEEDS)
    for each in made:
        catalog.parse(written(each.description, []), each.name)
        chunks = [Chunk(each.frame(i), i / each.rate) for i in range(5)]
        per_unit = factor(each.description.unit)
        for index, read in enumerate(reads(each.description, chunks)):
            sent = each.hundredths(index)
            if each.value.sign != "none":
                step = per_unit.scaleb(-each.value.places)
                assert abs(read - sent) <= max(step / 2, abs(sent) / 1000)


def test_a_simulator_speaks_what_was_taught_by_its_example() -> None:
    finding = taught(stream(lambda v, i: f"\x02{i:04d};{v / 100:+08.3f}mm\x03".encode()))
    frame = Encoder(finding.description).encode(Decimal(43))
    assert reads(finding.description, [Chunk(frame, 0.0)]) == [Decimal(43)]


def test_the_description_is_an_ordinary_file_with_the_evidence_as_comments() -> None:
    finding = taught(stream(lambda v, i: f"\x02{v / 100:+.3f}mm\x03\r".encode()))
    text = written(finding.description, finding.evidence)
    assert catalog.parse(text, "taught.toml") == finding.description
    for sentence in finding.evidence:
        assert any(line.startswith("# ") and sentence[:20] in line for line in text.splitlines())
    assert all(line.isprintable() for line in text.splitlines())


def test_every_shipped_description_survives_being_written() -> None:
    for description in catalog.catalog().values():
        assert catalog.parse(written(description, ["why"]), "again") == description


@pytest.mark.parametrize("parity", PARITIES[:3])
def test_parity_is_found_in_bit_7(parity: str) -> None:
    def frame(v: int, i: int) -> bytes:
        return with_parity(f"{v / 100:+.3f} mm\r\n".encode(), parity)  # type: ignore[arg-type]

    link = taught(stream(frame)).description.link
    assert (link.bits, link.parity) == (7, parity)


def test_space_parity_is_eight_bits_without() -> None:
    frame = with_parity(b"+0.430 mm\r\n", "space")
    assert judge(frame * 4).parity == "none"


def test_a_check_of_a_known_kind_is_found_and_must_hold() -> None:
    rule = Checksum(kind="crc16-modbus", written="hex", stop=-5, at=-4, length=4)

    def frame(v: int, i: int) -> bytes:
        body = f"{v / 100:+.3f} mm".encode()
        return body + b"*" + checksums.write(rule, body) + b"\r\n"

    finding = taught(stream(frame))
    assert finding.description.checksum == rule
    spoilt = frame(43, 0).replace(b"4", b"5", 1)
    assert reads(finding.description, [Chunk(spoilt, 0.0)]) == []


def test_frames_that_are_all_alike_prove_no_check() -> None:
    rule = Checksum(kind="xor8", stop=-2, at=-2)
    frame = b"+0.430" + checksums.write(rule, b"+0.430")
    assert checks.find([frame] * 50) is None


def test_without_movement_it_answers_but_is_less_sure() -> None:
    still = [Chunk(f"{i:05d},0.430,MM,87\r\n".encode(), i / RATE) for i in range(40)]
    moved = stream(lambda v, i: f"{i:05d},{v / 100:.3f},MM,87\r\n".encode())
    finding = taught(still)
    assert set(reads(finding.description, still)) == {Decimal(43)}
    assert not finding.moved
    assert not finding.enough
    assert finding.sure < taught(moved).sure
    assert any("did not move" in sentence for sentence in finding.evidence)


def test_two_moving_numbers_are_a_question() -> None:
    def frame(v: int, i: int) -> bytes:
        return f"{v / 100:.3f} {3 + 2 * math.cos(1.1 * i / RATE):.3f}\r\n".encode()

    finding = taught(stream(frame))
    assert finding.question
    assert "which" in finding.question
    assert finding.sure <= 0.5
    fresh = stream(frame, 50, first=300)
    expected = [Decimal(hand(round(chunk.at * RATE))) for chunk in fresh]
    assert expected in [reads(each, fresh) for _, each in finding.alternatives or []]


def test_whole_numbers_without_a_unit_are_a_question() -> None:
    finding = taught(stream(lambda v, i: f"{v:5d}\r".encode()))
    assert finding.question
    assert finding.description.unit == "hundredths"
    assert [each.unit for _, each in finding.alternatives or []][:2] == ["hundredths", "um"]


def test_decimals_that_are_implied_are_a_question_when_two_fit() -> None:
    few = stream(lambda v, i: f"{abs(v) // 5 + 20:04d}mm\r".encode())
    finding = taught(few)
    assert finding.question
    assert {each.decoding.decimals for _, each in finding.alternatives or []} >= {2, 3}


@pytest.mark.parametrize(
    ("times", "pace"),
    [
        ([0.1 * i for i in range(20)], Pace.FAST),
        ([0.5 * i for i in range(20)], Pace.FAST),
        ([1.1 * i for i in range(20)], Pace.SLOW),
        ([0.0, 0.9, 2.4, 3.0, 5.0], Pace.BY_HAND),
        ([0.0, 1.0], Pace.FAST),
    ],
)
def test_a_hand_on_a_button_is_slow_and_uneven(times: list[float], pace: Pace) -> None:
    assert pace_of([Chunk(b"+0.43mm\r", at) for at in times], Line(9600)) is pace


def test_slow_and_even_values_are_a_question() -> None:
    chunks = [Chunk(f"{3 + i % 7 / 9:+.3f} mm\r".encode(), 1.1 * i) for i in range(12)]
    both = either(taught(chunks), taught(chunks, Line(9600, sends="on-button")))
    assert both.question
    assert [each.sends for _, each in both.alternatives or []] == ["stream", "on-button"]
    assert both.sure < 0.7


@pytest.mark.parametrize(
    ("frame", "value"),
    [
        (lambda v, i: f"{2000 + v},21.{i % 3}\r\n".encode(), "whole numbers beside a temperature"),
        (lambda v, i: f"{v / 100:.2f},{40_000 + i}\r\n".encode(), "a list with points"),
        (lambda v, i: f"{v:+d},{clock(i)}\r".encode(), "a time behind a comma"),
    ],
)
def test_a_comma_between_numbers_is_no_decimal_mark(
    frame: Callable[[int, int], bytes], value: str
) -> None:
    assert taught(stream(frame)).description.decoding.decimal_mark == ".", value


def test_a_letter_that_may_be_a_sign_is_not_read_past() -> None:
    finding = taught(stream(lambda v, i: f"P{abs(v) / 100:06.3f}\r".encode()))
    assert reads(finding.description, [Chunk(b"P00.430\r", 0.0)]) == [Decimal(43)]
    assert reads(finding.description, [Chunk(b"N00.430\r", 0.0)]) == []


def test_an_unknown_unit_code_is_refused() -> None:
    finding = taught(stream(ODD["fixed digits, decimal places and unit code glued"]))
    assert reads(finding.description, [Chunk(b"V+00043030", 0.0)]) == [Decimal(43)]
    assert reads(finding.description, [Chunk(b"V+00043031", 0.0)]) == []


def test_an_error_word_in_the_status_makes_no_reading() -> None:
    finding = taught(
        stream(lambda v, i: f"{'LOW' if i % 20 > 14 else 'OK'},{v / 100:.3f},MM\r\n".encode())
    )
    assert reads(finding.description, [Chunk(b"OK,0.430,MM\r\n", 0.0)]) == [Decimal(43)]
    assert reads(finding.description, [Chunk(b"ERR,0.430,MM\r\n", 0.0)]) == []


def test_the_other_unit_is_read_when_the_indicator_is_switched() -> None:
    finding = taught(stream(lambda v, i: f"{v / 100:.3f} MM\r\n".encode()))
    assert reads(finding.description, [Chunk(b"0.01 IN\r\n", 0.0)]) == [Decimal("25.4")]
    assert reads(finding.description, [Chunk(b"0.01 XX\r\n", 0.0)]) == []


def test_a_request_is_part_of_the_description() -> None:
    line = Line(4800, request="?\r", sends="when-asked")
    found = taught(stream(lambda v, i: f"?\r\n{v / 100:+.3f} mm\r\n".encode()), line).description
    assert found.sends == "when-asked"
    assert found.ask is not None
    assert found.ask.send == "?\r"


def test_nothing_that_is_sent_could_change_an_indicator() -> None:
    for request in policy.REQUESTS:
        word = request.rstrip("\r\n")
        assert word in {"", "?"} or (word.endswith("?") and word[:-1].isalpha()), request
    assert len(set(policy.REQUESTS)) == len(policy.REQUESTS)


# Series


def test_an_even_hand_is_no_clock() -> None:
    times = [i / RATE for i in range(20)]
    assert not series([430 + 37.0 * i / RATE for i in range(20)], times).clock
    assert series([10.0 * round(at, 1) for at in times], times).clock


def test_a_counter_and_a_clock_do_not_move_like_a_spindle() -> None:
    times = [i / RATE for i in range(40)]
    counter = series([(990 + i) % 1000 for i in range(40)], times)
    assert counter.steady
    ticks = series([round(1000 * at) + i % 3 for i, at in enumerate(times)], times)
    assert ticks.clock
    spindle = series([float(hand(i)) for i in range(40)], times)
    assert not spindle.steady
    assert not spindle.clock
    assert spindle.moved
    assert spindle.rough < policy.ROUGH


def test_what_a_number_can_mean_adds_up_and_is_credible() -> None:
    found = meanings(Written(Decimal("6.21"), 2, False, 0, True))
    assert found[0].unit == "mm"
    assert sum(each.share for each in found) == pytest.approx(1)
    assert meanings(Written(Decimal("0.24430"), 5, False, 0, True))[0].unit == "in"
    assert meanings(Written(Decimal(50_000_000), 0, False, 0, True), ["mm"]) == []


# Speed


@pytest.mark.parametrize("sent", SPEEDS)
@pytest.mark.parametrize("read", SPEEDS)
def test_text_is_text_at_its_own_speed_only(sent: int, read: int) -> None:
    frame = b"17,+0.430,mm,21.3\r\n+03.281mm\r\n"
    arriving = b"".join(heard(frame, sent, read) for _ in range(8))
    assert judge(arriving).text == (sent == read)


@pytest.mark.parametrize("sent", SPEEDS)
def test_a_wrong_speed_points_to_the_right_one(sent: int) -> None:
    frame = b"17,+0.430,mm,21.3\r\n"
    hops, at = 0, 9600
    left = list(SPEEDS)
    while at != sent:
        left.remove(at)
        order = likely_speeds(heard(frame, sent, at) * 8, at)
        at = min(left, key=order.index)
        hops += 1
    assert hops <= 4


# Any bytes

CHUNKS = st.lists(
    st.one_of(
        st.binary(max_size=30),
        st.sampled_from([b"+0.430mm\r", b"17,0.43,MM\r\n", b"\x02 1.5\x03", b"\xaa\x55\x01\x02"]),
        st.text("0123456789+-.,;: \r\nEmV*\x02\x03", max_size=30).map(str.encode),
    ),
    max_size=30,
)


@given(CHUNKS, st.sampled_from(SPEEDS))
def test_any_bytes_never_raise(parts: list[bytes], baud: int) -> None:
    chunks = [Chunk(part, 0.1 * index) for index, part in enumerate(parts) if part]
    found = analyse(chunks, Line(baud))
    if found is not None:
        assert 0 <= found.sure <= 1
        text = written(found.description, found.evidence)
        assert catalog.parse(text, "any") == found.description


@given(st.data())
def test_pieces_do_not_matter(data: st.DataObject) -> None:
    whole = b"".join(chunk.data for chunk in stream(lambda v, i: f"{v / 100:+.3f} mm\r\n".encode()))
    cuts = sorted(data.draw(st.sets(st.integers(1, len(whole) - 1), max_size=40)))
    parts = [whole[a:b] for a, b in zip([0, *cuts], [*cuts, len(whole)], strict=True)]
    # The times too: bytes 10 ms apart whatever the pieces.
    at = 0.0
    chunks = []
    for part in parts:
        at += 0.001 * len(part)
        chunks.append(Chunk(part, at))
    found = taught(chunks).description
    assert isinstance(found.framing, ByTerminator)
    assert found.framing.end == "\r\n"
    assert found.decoding == taught([Chunk(whole, 1.0)]).description.decoding


def test_the_first_frame_may_be_cut() -> None:
    chunks = [Chunk(b"30 mm\r", 0.0), *stream(lambda v, i: f"{v / 100:+.3f} mm\r".encode())]
    frames = frames_of(ByTerminator("\r"), chunks, whole=False)
    assert frames[0].payload == chunks[1].data[:-1]


def test_binary_frames_keep_as_short_a_sync_as_finds_them() -> None:
    rule = Checksum(kind="sum8", written="byte", stop=-1, at=-1, length=1)

    def frame(v: int, i: int) -> bytes:
        body = b"\xa5\x61" + (v * 10).to_bytes(4, "little", signed=True)
        return body + checksums.write(rule, body)

    finding = taught(stream(frame))
    framing = finding.description.framing
    assert isinstance(framing, ByLength)
    # The byte behind may be a battery's charge.
    assert framing.sync == "\xa5"
    assert finding.description.checksum == rule


def test_marks_hold_frames_that_have_no_line_end() -> None:
    finding = taught(stream(lambda v, i: f"\x02{v / 100:+08.3f}mm\x03".encode()))
    assert isinstance(finding.description.framing, ByMarks | ByTerminator)
    assert len(reads(finding.description, stream(lambda v, i: b"\x02+000.430mm\x03", 5))) == 5
