"""Frames of text: which cut, check, mark and number explain best what was heard."""

from __future__ import annotations

import statistics
from collections.abc import Iterator, Sequence
from itertools import pairwise

import msgspec

from gaugelink.devices import checksums
from gaugelink.devices.description import ByMarks, Checksum, Framing
from gaugelink.devices.framing import Frame
from gaugelink.devices.link import Chunk
from gaugelink.devices.teaching import checks, policy
from gaugelink.devices.teaching.characters import stripped
from gaugelink.devices.teaching.columns import Judged, judge, series, usual_word
from gaugelink.devices.teaching.cutting import Cut, cuts
from gaugelink.devices.teaching.finding import Choice, Hypothesis, Line
from gaugelink.devices.teaching.meaning import Meaning, meanings
from gaugelink.devices.teaching.patterns import decoding, glued, shown, written
from gaugelink.devices.teaching.tokens import Column, Table, number, tables

CHECKED = 6.0
"""Points for a check that holds: it proves the cut and the bytes at once."""

COVERED = 0.6
"""Share of all bytes that frames hold at least, without their ends and marks."""

HEX, ANY = "[0-9A-Fa-f]", r"[\x00-\xff]"

UNLIKE = 10.0
"""Points lost if no frame were of the common form; a share of them for a share of frames."""


PART = 1.0
"""Points lost by reading one kind of several that come in turn: all alike, if possible."""


class _Body(msgspec.Struct, frozen=True):
    """Frames without their check."""

    frames: list[Frame]
    checksum: Checksum | None
    tail: int
    """Characters of an unknown check at the end, cut off here."""
    kind: str
    """What matches one of those."""


def best(chunks: Sequence[Chunk], line: Line) -> Hypothesis | None:
    """The best way to read the chunks as text, None when there is none."""
    plain = [Chunk(stripped(chunk.data, line.parity), chunk.at) for chunk in chunks]
    found = sorted(_hypotheses(plain, line), key=lambda each: -each.score)
    if not found:
        return None
    first = found[0]
    for other in found[1:]:
        mark = other.choices[0].decoding.decimal_mark != first.choices[0].decoding.decimal_mark
        if mark and first.score - other.score < policy.RIVAL:
            return msgspec.structs.replace(first, enough=policy.ENOUGH_RIVALS)
    return first


def _hypotheses(chunks: Sequence[Chunk], line: Line) -> Iterator[Hypothesis]:
    heard = max(1, sum(len(chunk.data) for chunk in chunks))
    for cut in cuts(chunks, line):
        frames = cut.frames[-policy.LOOKED_AT :]
        if not frames:
            continue
        body = _without_check(cut.framing, frames)
        covered = sum(len(frame.payload) for frame in cut.frames) / heard
        for mark in (".", ","):
            plain: Table | None = None
            for rows in tables(body.frames, mark):
                if rows.others and plain is not None and _goes_on(plain):
                    continue
                plain = rows if plain is None else plain
                made = _read(cut, body, rows) if _fits(rows, mark) else None
                if made is not None:
                    lost = UNLIKE * max(0.0, COVERED - covered)
                    yield msgspec.structs.replace(made, score=made.score - lost)


def _goes_on(rows: Table) -> bool:
    """Whether one number moves smoothly through all frames, whatever they begin with: then that is
    a status, and does not tell frames of several kinds apart.
    """
    return any(
        each.series.moved
        and each.series.rough <= policy.ROUGH
        and not (each.series.steady or each.series.clock)
        for each in judge(rows)
    )


def _without_check(framing: Framing, frames: list[Frame]) -> _Body:
    payloads = [frame.payload for frame in frames]
    rule = checks.find(payloads)
    if rule is not None:
        good = [frame for frame in frames if checksums.holds(rule, frame.payload)]
        return _Body([_shortened(rule, frame) for frame in good], rule, 0, "")
    tail = checks.opaque_tail(payloads)
    if tail:
        kind = ANY if tail == 1 else HEX
        return _Body([_cut_short(frame, tail) for frame in frames], None, tail, kind)
    if isinstance(framing, ByMarks) and framing.trailer and len(set(payloads)) > 1:
        tail = framing.trailer
        return _Body([_cut_short(frame, tail) for frame in frames], None, tail, ANY)
    return _Body(frames, None, 0, "")


def _cut_short(frame: Frame, tail: int) -> Frame:
    return Frame(frame.payload[:-tail], frame.at)


def _shortened(rule: Checksum, frame: Frame) -> Frame:
    return Frame(checksums.split(rule, frame.payload)[2], frame.at)


def _fits(rows: Table, mark: str) -> bool:
    """Whether a comma as decimal mark stands in any number."""
    numbers = [text for each in rows.columns if each.kind == "number" for text in each.present]
    if mark == ".":
        return True
    # "2300,21.3" and "4.35,17" are lists, and "122,11:34:44" ends with a time.
    listed = any(
        {one.kind, other.kind} == {"number", "mark"}
        and other.spaces == (0, 0)
        and (one.mark if one.kind == "mark" else other.mark) in ".:"
        and any("," in text for text in (other if one.kind == "mark" else one).present)
        for one, other in pairwise(rows.columns)
    )
    return any("," in text for text in numbers) and not listed


def _read(cut: Cut, body: _Body, rows: Table) -> Hypothesis | None:
    readable = [(each, found) for each in judge(rows) if (found := _meanings(rows, each))]
    if not readable:
        return None
    (winner, means), *others = readable
    rivals = [
        (each, found)
        for each, found in others
        if each.series.moved
        and winner.series.moved
        and each.points > 0
        and winner.points - each.points < policy.MARGIN
        and not _same(rows, winner, each)
    ]
    choices, question, share = _choices(body, rows, (winner, means), rivals)
    score = winner.points + cut.prior - UNLIKE * (1 - rows.share)
    if rows.others:
        score -= PART
    if body.checksum is not None:
        score += CHECKED
    if rows.mark == ",":
        score += _as_decimal_comma(rows, winner)
    elif _like_a_fraction(rows, winner.index):
        score -= 4
    return Hypothesis(
        cut.framing,
        body.checksum,
        choices,
        question,
        share,
        score,
        winner.series.moved,
        cut.frames,
        [cut.why, *_evidence(body, rows, winner, means)],
        others=rows.others,
    )


def _as_decimal_comma(rows: Table, judged: Judged) -> float:
    """Points for taking the comma as a decimal mark instead of as what parts two numbers.

    What stands behind a decimal comma changes wildly while the whole number hardly does; a list's
    second number goes its own way.
    """
    numbers = [number(text) for text in rows.columns[judged.index].present]
    pairs = [each.digits.partition(",") for each in numbers if "," in each.digits]
    if len(pairs) < policy.ENOUGH_FRAMES:
        return 0.0
    before = series([float(pair[0] or 0) for pair in pairs], [0.0] * len(pairs))
    behind = series([float(pair[2]) for pair in pairs], [0.0] * len(pairs))
    if before.steady or behind.distinct < 2 or len({len(pair[2]) for pair in pairs}) > 1:
        return -10.0
    if before.distinct == 1:
        return 0.0 if set(pairs[0][0]) <= {"0"} else -3.0
    return -3.0 if behind.rough < 0.7 * judged.series.rough else 2.0


def _like_a_fraction(rows: Table, index: int) -> bool:
    """Whether a column looks like what stands behind a decimal comma: as many digits each time,
    zeros in front of some, glued to a comma and a number that changes or is zero.
    """
    if index < 2:
        return False
    whole, comma, part = rows.columns[index - 2 : index + 1]
    if whole.kind != "number" or comma.mark != "," or comma.spaces[1] or part.spaces[1]:
        return False
    texts, before = part.present, set(whole.present)
    return (
        all(text.isdigit() and len(text) == len(texts[0]) for text in texts)
        and len(texts[0]) > 1
        and any(text.startswith("0") for text in texts)
        and (len(before) > 1 or not next(iter(before)).strip("+-0 "))
    )


def _meanings(rows: Table, judged: Judged) -> list[Meaning]:
    column = _in_usual_unit(rows, judged)
    part = glued(column, judged.series.moved)
    found = meanings(written(column, part, judged.series.moved), judged.units)
    return found if part is None or part.decimals is None else _without_decimals(found)


def _in_usual_unit(rows: Table, judged: Judged) -> Column:
    """The judged column, without the rows in another unit than the most usual one."""
    column = rows.columns[judged.index]
    if judged.unit_at is None:
        return column
    words = rows.columns[judged.unit_at].texts
    usual = usual_word(rows.columns[judged.unit_at])
    texts = [text for text, word in zip(column.texts, words, strict=True) if word == usual]
    return msgspec.structs.replace(column, texts=texts)


def _without_decimals(found: list[Meaning]) -> list[Meaning]:
    return [msgspec.structs.replace(each, decimals=0) for each in found]


def _same(rows: Table, one: Judged, other: Judged) -> bool:
    """Whether two columns say the same number, in the same unit or in two."""
    first, second = (
        [float(number(text).value) for text in rows.columns[each.index].present]
        for each in (one, other)
    )
    if len(first) != len(second) or len(set(first)) < 2 or len(set(second)) < 2:
        return first == second
    return statistics.correlation(first, second) > 0.9999


def _choices(
    body: _Body,
    rows: Table,
    winner: tuple[Judged, list[Meaning]],
    rivals: Sequence[tuple[Judged, list[Meaning]]],
) -> tuple[list[Choice], str, float]:
    judged, means = winner
    if rivals:
        both = [winner, *rivals]
        choices = [_choice(body, rows, each, found[0], which=True) for each, found in both]
        return choices, "which of the moving numbers is the thickness?", 1 / len(both)
    close = [each for each in means if each.share >= means[0].share / 8][:4]
    choices = [_choice(body, rows, judged, each) for each in close]
    share = means[0].share
    return choices, _question(judged) if share < policy.SURE else "", share


def _question(judged: Judged) -> str:
    if judged.units:
        return "how many of the digits stand behind the decimal point?"
    return "no unit is sent: what does the indicator's display show?"


def _choice(
    body: _Body, rows: Table, judged: Judged, meaning: Meaning, which: bool = False
) -> Choice:
    column = rows.columns[judged.index]
    part = glued(column, judged.series.moved)
    made = decoding(rows, judged, meaning, part)
    if body.tail:
        made = msgspec.structs.replace(made, pattern=f"{made.pattern}{body.kind}{{{body.tail}}}")
    text = column.present[-1].strip()
    places = "" if not which else f"the number at place {judged.index + 1}: "
    return Choice(made, meaning.unit, places + meaning.says(text))


def _evidence(body: _Body, rows: Table, winner: Judged, means: Sequence[Meaning]) -> Iterator[str]:
    example = body.frames[-1].payload.decode("latin-1")
    text = rows.columns[winner.index].present[-1]
    yield f"a frame reads {shown(example)}; {text.strip()!r} is taken as the thickness"
    if winner.why:
        yield "because " + ", ".join(winner.why)
    yield means[0].says(text.strip()) + ("" if winner.units else " (no unit is sent)")
    numbers = [number(each) for each in rows.columns[winner.index].present]
    if not any("-" in (each.sign, each.behind) for each in numbers):
        yield "no minus was seen; move the spindle below zero and teach again if it can go there"
    if body.checksum is not None:
        yield f"each frame carries a check that holds: {body.checksum.kind}"
    elif body.tail:
        yield f"the last {body.tail} characters look like a check of an unknown kind; not checked"
