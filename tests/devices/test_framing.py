"""Framing: the pieces never change the frames, no bytes raise, memory is bounded, and a framer
finds its way again after noise."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.devices.decoding import Decoder
from gaugelink.devices.description import (
    ByGap,
    ByLength,
    ByMarks,
    ByPacket,
    ByTerminator,
    Description,
    Framing,
)
from gaugelink.devices.framing import (
    CUT_SHORT,
    PARITY,
    TOO_LONG,
    Frame,
    Framer,
    GapFramer,
    LengthFramer,
    MarksFramer,
    PacketFramer,
    SevenBitFramer,
    TerminatorFramer,
    framer_for,
)
from tests.devices.lines import (
    IN_PIECES,
    KINDS,
    PARITIES,
    XOR,
    Parity,
    checked,
    described,
    with_parity,
)

Bursts = list[tuple[bytes, float]]

kinds = pytest.mark.parametrize("kind", KINDS)


def framer(description: Description) -> Framer:
    return framer_for(description, Decoder(description).sound)


def bursts(kind: str) -> st.SearchStrategy[Bursts]:
    """Bursts of whole and spoilt frames and of noise, and when they come."""
    _, frames, matters = KINDS[kind]
    silences = [0.001, 0.029, 0.03, 0.05, 0.051, 0.2]
    noise = [bytes([byte]) for byte in matters + b"\x00\x80\xff"]

    def timed(tokens: list[bytes | float]) -> Bursts:
        at, found = 0.0, [(b"", 0.0)]
        for token in tokens:
            if isinstance(token, float):
                at += token
                found.append((b"", at))
            else:
                found[-1] = (found[-1][0] + token, at)
        return found

    tokens: list[bytes | float] = [*frames, *noise, *silences]
    return st.lists(st.sampled_from(tokens), max_size=24).map(timed)


def noises(kind: str) -> st.SearchStrategy[bytes]:
    """Any bytes, those that matter to the framing more often."""
    matters = KINDS[kind][2]
    return st.binary(max_size=30) | st.lists(st.sampled_from(matters), max_size=30).map(bytes)


def cut_up(data: bytes, cuts: set[int]) -> list[bytes]:
    places = sorted(cut for cut in cuts if cut < len(data))
    return [data[a:b] for a, b in zip([0, *places], [*places, len(data)], strict=True)]


SET_UP = {"_table", "_start", "_end", "_sync"}


def held(framer: Framer) -> int:
    """Bytes that a framer keeps, those of the framer inside it included."""
    kept = 0
    for name, value in vars(framer).items():
        if isinstance(value, bytes | bytearray) and name not in SET_UP:
            kept += len(value)
        elif name == "_inner":
            kept += held(value)
    return kept


@pytest.mark.parametrize("kind", IN_PIECES)
@given(data=st.data(), cuts=st.sets(st.integers(1, 60)))
def test_the_pieces_never_change_the_frames(kind: str, data: st.DataObject, cuts: set[int]) -> None:
    description = KINDS[kind][0]
    line = data.draw(bursts(kind))
    whole, cut, single = framer(description), framer(description), framer(description)
    expected = [frame for burst, at in line for frame in whole.feed(burst, at)]
    in_pieces = [
        frame
        for burst, at in line
        for piece in cut_up(burst, cuts)
        for frame in cut.feed(piece, at)
    ]
    by_byte = [
        frame for burst, at in line for byte in burst for frame in single.feed(bytes([byte]), at)
    ]
    assert in_pieces == expected
    assert by_byte == expected
    later = line[-1][1] + 1.0
    assert whole.quiet(later) == cut.quiet(later) == single.quiet(later)


@kinds
@given(line=st.lists(st.tuples(st.binary(max_size=40), st.floats()), max_size=8), then=st.floats())
def test_no_bytes_at_any_time_raise(kind: str, line: Bursts, then: float) -> None:
    tried = framer(KINDS[kind][0])
    for data, at in line:
        assert all(type(frame.payload) is bytes for frame in tried.feed(data, at))
    tried.quiet(then)
    tried.reset()
    assert held(tried) == 0
    assert tried.patience is None
    assert tried.quiet(then) == []


@kinds
@given(data=st.data())
def test_memory_stays_bounded_in_endless_noise_and_a_reset_forgets_it(
    kind: str, data: st.DataObject
) -> None:
    description, frames, _ = KINDS[kind]
    framing = description.framing
    longest = framing.length if isinstance(framing, ByLength) else framing.longest
    noise = data.draw(noises(kind))
    fresh, noisy = framer(description), framer(description)
    for _ in range(10):
        noisy.feed(noise * 3, 0.0)
        assert held(noisy) <= 3 * longest
    noisy.reset()
    for frame in frames:
        assert noisy.feed(frame, 9.0) == fresh.feed(frame, 9.0)


SOUND = {
    "terminator": 1,
    "two-byte terminator": 1,
    "marks": 1,
    "long marks": 1,
    "overlapping marks": 1,
    "marks with a check": 1,
    "length with sync and check": 2,
    "length with check": 2,
    "length with sync": 2,
    "length with long sync": 2,
    "gap": 1,
    "packet": 0,
    "packet, presented": 0,
    "seven bits, even": 1,
    "seven bits, odd": 1,
}
"""How many good frames a framer may lose, at most, until it has found its way."""


@pytest.mark.parametrize("kind", SOUND)
@given(data=st.data())
def test_it_finds_its_way_after_any_noise(kind: str, data: st.DataObject) -> None:
    description, frames, _ = KINDS[kind]
    good = frames[0]
    clean = framer(description)
    (expected,) = clean.feed(good, 5.0) or clean.quiet(6.0)
    noise = data.draw(noises(kind))
    noisy = framer(description)
    noisy.feed(noise, 0.0)
    found = []
    for number in range(6):
        # No silence helps, but where it is all that there is.
        at = 5.0 + number if isinstance(description.framing, ByGap) else 0.0
        found += noisy.feed(good, at)
    found += noisy.quiet(99.0)
    read = [frame for frame in found if frame.payload == expected.payload and not frame.fault]
    assert len(read) >= 6 - SOUND[kind]


@pytest.mark.parametrize("parity", PARITIES)
@pytest.mark.parametrize("kind", ["terminator", "marks", "length", "gap"])
@given(data=st.data())
def test_a_frame_with_a_flipped_parity_bit_is_refused(
    kind: str, parity: Parity, data: st.DataObject
) -> None:
    kinds: dict[str, tuple[Framing, bytes]] = {
        "terminator": (ByTerminator("\r\n"), b"+1.5\r\n"),
        "marks": (ByMarks(), b"\x02+1.5\x03"),
        "length": (ByLength(4, sync="+"), b"+1.5"),
        "gap": (ByGap(), b"+1.5"),
    }
    framing, text = kinds[kind]
    # Even and odd parity notice any single bit; mark and space only notice the parity bit.
    bit = data.draw(st.integers(0, 7) if parity in ("even", "odd") else st.just(7))
    where = data.draw(st.integers(0, len(text) - 1))
    good = bytearray(with_parity(text, parity))
    spoilt = bytearray(good)
    spoilt[where] ^= 1 << bit
    line = framer(described(framing, parity=parity))
    frames: list[Frame] = []
    for number, part in enumerate([good, spoilt, good, good]):
        frames += line.feed(bytes(part), number / 10)
    frames += line.quiet(9.0)
    sound = [frame for frame in frames if not frame.fault]
    assert {frame.payload for frame in sound} <= {b"+1.5"}
    # Spoilt marks cost the next frame too; those around them stand.
    assert sound[0].at <= 0.1
    assert sound[-1].at == pytest.approx(0.3)
    assert 2 <= len(sound) <= 3
    assert all(frame.at != pytest.approx(0.1) or where == len(text) - 1 for frame in sound[1:])


def test_a_terminated_frame_that_is_too_long_says_how_it_began() -> None:
    line = TerminatorFramer(ByTerminator("\r\n", longest=4))
    assert line.feed(b"12345", 0.0) == []
    assert line.feed(b"6" * 100 + b"\r", 1.0) == []
    assert line.feed(b"\n1.5\r\n", 2.0) == [Frame(b"1234", 2.0, TOO_LONG), Frame(b"1.5", 2.0)]


def test_a_frame_as_long_as_allowed_is_read() -> None:
    assert TerminatorFramer(ByTerminator("\r\n", longest=4)).feed(b"1234\r\n", 0.0) == [
        Frame(b"1234", 0.0)
    ]
    assert MarksFramer(ByMarks(longest=4)).feed(b"\x021234\x03", 0.0) == [Frame(b"1234", 0.0)]
    gap = GapFramer(ByGap(longest=4))
    assert gap.feed(b"1234", 0.0) == []
    assert gap.quiet(1.0) == [Frame(b"1234", 0.0)]


def test_empty_lines_are_no_frames() -> None:
    assert TerminatorFramer(ByTerminator("\n")).feed(b"\n\n\n", 0.0) == []


def test_a_start_mark_inside_a_frame_cuts_it_short() -> None:
    frames = MarksFramer(ByMarks()).feed(b"\x02+0.4\x02+0.43\x03", 0.0)
    assert frames == [Frame(b"+0.4", 0.0, CUT_SHORT), Frame(b"+0.43", 0.0)]


def test_a_trailer_may_hold_both_marks() -> None:
    frames = MarksFramer(ByMarks(trailer=2)).feed(b"\x02a\x03\x03\x02\x02b\x03\x02\x03", 0.0)
    assert frames == [Frame(b"a\x03\x02", 0.0), Frame(b"b\x02\x03", 0.0)]


def test_a_trailer_that_was_cut_off_does_not_swallow_the_next_frame() -> None:
    description = described(ByMarks(trailer=1), checksum=XOR)
    good = b"\x02+1.5\x03" + checked(XOR, b"+1.5")[-1:]
    frames = framer(description).feed(good[:-1] + good, 0.0)
    assert [frame.payload for frame in frames] == [b"+1.5\x02", checked(XOR, b"+1.5")]


def test_fixed_length_needs_no_silence_when_it_has_a_sync() -> None:
    line = LengthFramer(ByLength(4, sync="V"))
    assert line.feed(b"xxV1.5V2.", 0.0) == [Frame(b"V1.5", 0.0)]
    assert line.feed(b"5", 0.05) == [Frame(b"V2.5", 0.05)]


def test_part_of_a_frame_of_fixed_length_is_given_up_after_silence() -> None:
    line = LengthFramer(ByLength(4, gap=0.05))
    assert line.feed(b"+1.", 1.0) == []
    assert line.feed(b"+2.5", 1.051) == [Frame(b"+1.", 1.0, CUT_SHORT), Frame(b"+2.5", 1.051)]


def test_sync_bytes_in_the_data_do_not_hide_the_true_beginning() -> None:
    sound = checked(XOR, b"VV1")
    line = LengthFramer(ByLength(4, sync="V"), lambda payload: payload == sound)
    assert line.feed(b"VV" + sound, 0.0) == [
        Frame((b"VV" + sound)[:4], 0.0, "checksum"),
        Frame(sound, 0.0),
    ]


@pytest.mark.parametrize("silence", [0.0, 1.0])
def test_every_frame_with_a_wrong_check_is_counted(silence: float) -> None:
    line = LengthFramer(ByLength(4, sync="V"), lambda payload: False)
    frames = [frame for n in range(5) for frame in line.feed(b"V1.5", n * silence)]
    assert [frame.fault for frame in frames] == ["checksum"] * 5


def test_a_lost_frame_is_counted_once_however_many_places_are_tried() -> None:
    line = LengthFramer(ByLength(8, sync="V"), lambda payload: False)
    assert [frame.fault for frame in line.feed(b"VVVVVVVV", 0.0)] == ["checksum"]


def test_silence_ends_a_frame_and_its_time_is_that_of_its_last_byte() -> None:
    line: Framer = GapFramer(ByGap(0.03))
    patience = [line.patience]
    assert line.feed(b"+1", 1.0) == []
    assert line.feed(b".5", 1.02) == []
    patience.append(line.patience)
    assert line.quiet(1.04) == []
    assert line.quiet(1.06) == [Frame(b"+1.5", 1.02)]
    patience.append(line.patience)
    assert line.quiet(2.0) == []
    assert patience == [None, 0.03, None]


def test_an_overlong_burst_is_one_fault() -> None:
    line = GapFramer(ByGap(0.03, longest=4))
    for _ in range(100):
        assert line.feed(b"xyz", 1.0) == []
    assert line.feed(b"1.5", 2.0) == [Frame(b"xyzx", 1.0, TOO_LONG)]
    assert line.quiet(3.0) == [Frame(b"1.5", 2.0)]


@given(st.lists(st.tuples(st.binary(max_size=8), st.floats()), max_size=8))
def test_a_packet_is_a_frame_whatever_is_in_it(packets: Bursts) -> None:
    line = PacketFramer(ByPacket(longest=6))
    found = [line.feed(data, at) for data, at in packets]
    for (data, at), frames in zip(packets, found, strict=True):
        if not data:
            assert frames == []
            continue
        (frame,) = frames
        assert (frame.payload, frame.fault) == (data[:6], TOO_LONG if len(data) > 6 else "")
        assert frame.at is at
    assert line.quiet(1.0) == []
    assert line.patience is None


def test_time_that_steps_back_ends_no_burst() -> None:
    line = GapFramer(ByGap(0.03))
    assert line.feed(b"+1", 5.0) == []
    assert line.feed(b".5", 1.0) == []
    assert line.quiet(1.03) == [Frame(b"+1.5", 1.0)]


def test_a_parity_fault_says_so_even_in_a_frame_that_was_cut() -> None:
    line = SevenBitFramer("space", MarksFramer(ByMarks()))
    assert line.feed(b"\x02\xb1\x02", 0.0) == [Frame(b"\xff", 0.0, PARITY)]


def test_eight_bits_and_seven_without_parity_are_passed_on_as_they_are() -> None:
    assert isinstance(framer_for(described(ByTerminator())), TerminatorFramer)
    assert isinstance(framer_for(described(ByTerminator(), parity="even")), SevenBitFramer)
