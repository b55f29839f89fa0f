"""Bytes to readings, whole: the shipped descriptions, and what the pipeline counts."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.devices import checksums
from gaugelink.devices.catalog import catalog
from gaugelink.devices.description import ByGap, ByMarks, ByTerminator, Description
from gaugelink.devices.pipeline import Pipeline
from gaugelink.reading import Reading
from tests.devices.lines import KINDS, described, wire

SHIPPED = catalog()

WHAT_ONE_READS = {
    "asked-query-scientific": ("43", "0.01", "m", "4.300E-04"),
    "asked-question-cr": ("43", "1", "mm", "0.43"),
    "bare-decimal-lf": ("43", "0.1", "mm", "0.430"),
    "binary-micrometre-crc": ("43", "0.1", "um", "430"),
    "button-hundredths-crlf": ("43", "1", "hundredths", "43"),
    "fixed-ten-digits": ("43", "0.1", "mm", "000430"),
    "gap-decimal-letter": ("43", "0.1", "mm", "0.430"),
    "marks-decimal-sum": ("43", "0.1", "mm", "0.430"),
    "marks-fields-xor": ("43", "0.1", "mm", "0.430"),
    "seven-bit-even-crlf": ("43.053", "0.0254", "in", "0.01695"),
    "signed-decimal-comma-crlf": ("-43", "1", "mm", "-0,43"),
    "signed-decimal-unit-cr": ("43", "1", "mm", "000.43"),
}
"""Read off the examples by eye: hundredths, weight of the last digit, unit, digits."""


def run(description: Description, line: bytes) -> list[Reading]:
    pipeline = Pipeline(description, "g")
    return pipeline.feed(line, 1.0) + pipeline.quiet(2.0)


def test_every_shipped_description_is_told_here() -> None:
    assert set(WHAT_ONE_READS) == set(SHIPPED)
    assert len(SHIPPED) >= 8


@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_description_reads_its_own_example(name: str) -> None:
    description = SHIPPED[name]
    hundredths, resolution, unit, value = WHAT_ONE_READS[name]
    (reading,) = run(description, wire(description, description.example))
    assert reading.hundredths == Decimal(hundredths)
    assert reading.resolution == Decimal(resolution)
    assert (reading.unit, reading.value, reading.status) == (unit, value, "")
    assert reading.pushed is (description.sends == "on-button")
    assert (reading.gauge, reading.seq, reading.at) == ("g", 1, 1.0)


@pytest.mark.parametrize("name", SHIPPED)
@given(cuts=st.sets(st.integers(1, 100)), count=st.integers(1, 4), noise=st.binary(max_size=6))
def test_pieces_never_change_a_shipped_descriptions_readings(
    name: str, cuts: set[int], count: int, noise: bytes
) -> None:
    description = SHIPPED[name]
    frame = wire(description, description.example)
    line = frame + noise + frame * count
    places = sorted(cut for cut in cuts if cut < len(line))
    pipeline = Pipeline(description, "g")
    found = []
    for start, end in zip([0, *places], [*places, len(line)], strict=True):
        found += pipeline.feed(line[start:end], 1.0)
    assert found + pipeline.quiet(2.0) == run(description, line)


CHECKED = [name for name in SHIPPED if SHIPPED[name].checksum]


@pytest.mark.parametrize("name", CHECKED)
@given(bit=st.integers(0, 10**6))
def test_no_flipped_bit_becomes_a_wrong_reading_where_there_is_a_check(name: str, bit: int) -> None:
    description = SHIPPED[name]
    frame = wire(description, description.example)
    spoilt = bytearray(frame)
    spoilt[bit // 8 % len(frame)] ^= 1 << bit % 8
    found = run(description, frame + bytes(spoilt) + frame + frame)
    assert {reading.value for reading in found} == {WHAT_ONE_READS[name][3]}
    # Spoilt marks may cost the frame after them.
    assert len(found) >= 2
    assert [reading.seq for reading in found] == list(range(1, len(found) + 1))


@pytest.mark.parametrize("name", SHIPPED)
@given(line=st.lists(st.tuples(st.binary(max_size=60), st.floats()), max_size=6))
def test_no_bytes_raise(name: str, line: list[tuple[bytes, float]]) -> None:
    pipeline = Pipeline(SHIPPED[name], "g")
    for data, at in line:
        for reading in pipeline.feed(data, at) + pipeline.quiet(at):
            assert reading.hundredths.is_finite()
    assert pipeline.refused.total() == 0 or pipeline.last_refused is not None


def test_what_is_refused_is_counted_with_its_reason() -> None:
    pipeline = Pipeline(SHIPPED["signed-decimal-unit-cr"], "g")
    line = [
        (b"+0.43mm\r", ""),
        (b"+0.43\xb5m\r", "no match"),
        (b"+99.0mm\r", "range"),
        (b"+0.44mm\r", ""),
        (b"x" * 80 + b"\r", "too long"),
        (b"+0." + b"0" * 20 + b"mm\r", "too many digits"),
    ]
    read = pipeline.feed(b"".join(frame for frame, _ in line), 5.0)
    assert [reading.hundredths for reading in read] == [43, 44]
    assert [reading.seq for reading in read] == [1, 2]
    assert dict(pipeline.refused) == {
        "no match": 1,
        "range": 1,
        "too long": 1,
        "too many digits": 1,
    }
    assert pipeline.last_refused is not None
    assert pipeline.last_refused.reason == "too many digits"


def test_a_wrong_parity_is_counted_and_no_reading() -> None:
    description = described(ByTerminator(), parity="even")
    pipeline = Pipeline(description, "g")
    good = wire(description, "+1.5\r")
    assert pipeline.feed(bytes([good[0] ^ 0x80]) + good[1:], 0.0) == []
    assert dict(pipeline.refused) == {"parity": 1}
    assert [reading.value for reading in pipeline.feed(good, 1.0)] == ["1.5"]


def test_overrange_is_refused_by_its_status() -> None:
    description = SHIPPED["binary-micrometre-crc"]
    rule = description.checksum
    assert rule is not None
    for status, refused in ((0, None), (1, None), (2, "status")):
        data = b"\xaa\x55\xae\x01\x00\x00" + bytes([status])
        pipeline = Pipeline(description, "g")
        found = pipeline.feed(data + checksums.write(rule, data), 0.0)
        assert [reading.status for reading in found] == (
            [] if refused else [{0: "", 1: "battery low"}[status]]
        )
        assert dict(pipeline.refused) == ({refused: 1} if refused else {})


def test_a_lost_link_leaves_no_half_frame_behind() -> None:
    pipeline = Pipeline(described(ByTerminator("\r")), "g")
    assert pipeline.feed(b"+1", 0.0) == []
    pipeline.reset()
    (reading,) = pipeline.feed(b"2.5\r", 1.0)
    assert reading.value == "2.5"
    assert reading.seq == 1
    pipeline.reset()
    (reading,) = pipeline.feed(b"2.5\r", 1.0)
    assert reading.seq == 2, "readings go on being counted"


def test_patience_is_asked_for_by_silence_only() -> None:
    gap, marks = Pipeline(described(ByGap(0.02)), "g"), Pipeline(described(ByMarks()), "g")
    gap.feed(b"+1.5", 0.0)
    marks.feed(b"\x02+1.5", 0.0)
    assert gap.patience == 0.02
    assert marks.patience is None
    assert [reading.at for reading in gap.quiet(0.02)] == [0.0]
    assert marks.quiet(9.0) == []


def test_every_kind_of_framing_reads_its_first_frame() -> None:
    for kind, (description, frames, _) in KINDS.items():
        assert len(run(description, frames[0])) == 1, kind
