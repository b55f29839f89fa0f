"""Which number of a frame is the thickness: what each column's series of values looks like."""

from __future__ import annotations

import math
import re
import statistics
from collections import Counter
from collections.abc import Sequence
from itertools import accumulate, pairwise

import msgspec

from gaugelink.devices.teaching import policy
from gaugelink.devices.teaching.meaning import of_word
from gaugelink.devices.teaching.tokens import Column, Number, Table, number

_OTHER_UNITS = (
    "c °c â°c degc f °f k % v mv %rh rh a ma hz s ms min h kg g n bar pa hpa kpa deg ° db lx"
)

OTHER_UNITS = frozenset(_OTHER_UNITS.split(" "))
"""Words behind a number that is no length, in lower case."""

_OTHER_LABELS = (
    "t temp b bat batt battery vbat cnt count n no nr seq sn ser id ch time ts date chk crc cs tick"
    " tol rev"
)

OTHER_LABELS = frozenset(_OTHER_LABELS.split(" "))
"""Words before a number that is no length."""


class Series(msgspec.Struct, frozen=True):
    """How a series of numbers behaves."""

    distinct: int
    span: float
    """From the smallest to the largest."""
    steps: float
    """The same in units of the last digit."""
    rough: float
    """Mean step over span: near a third when random, small when something moves."""
    steady: bool
    """Always the same step, or twice or three times it when frames were missed: a counter."""
    clock: bool
    """In step with the time that passed."""
    falls: bool
    """Never rises, and falls at least once."""

    @property
    def moved(self) -> bool:
        """Whether it moved as a spindle in a hand does."""
        return self.distinct >= policy.MOVED


def series(values: Sequence[float], times: Sequence[float], last: float = 1.0) -> Series:
    """Describe a series: the times at which the frames came, and the weight of its last digit."""
    if not values:
        return Series(0, 0.0, 0.0, 0.0, False, False, False)
    steps = [after - before for before, after in pairwise(values)]
    span = max(values) - min(values)
    rough = statistics.fmean(map(abs, steps)) / span if span and steps else 0.0
    return Series(
        len(set(values)),
        span,
        span / last,
        rough,
        _steady(steps),
        _with_time(values, times),
        bool(span) and all(step <= 0 for step in steps),
    )


def _steady(steps: Sequence[float]) -> bool:
    if len(steps) < 4:
        return False
    usual = statistics.mode(steps)
    if not usual or steps.count(usual) < 0.8 * len(steps) - 1:
        return False
    # A counter that starts anew has one step of another kind.
    fitting = sum(step / usual in (1.0, 2.0, 3.0) for step in steps)
    return fitting >= len(steps) - 1 - len(steps) // 20


def _with_time(values: Sequence[float], times: Sequence[float]) -> bool:
    """Whether the values run with time; one step back is a clock that starts anew."""
    if len(values) < 6 or times[-1] - times[0] <= 0:
        return False
    backward = [index for index, (a, b) in enumerate(pairwise(values), 1) if b < a]
    if len(backward) > 1:
        return False
    cut = backward[0] if backward else 0
    part, at = (
        (values[cut:], times[cut:]) if cut <= len(values) / 2 else (values[:cut], times[:cut])
    )
    if len(set(part)) < 4 or len(set(at)) < 4:
        return False
    if statistics.correlation(part, at) < 0.999:
        return False
    # A clock counts seconds, or tenths, or thousandths of them; a hand may be as even for a while.
    pace = statistics.linear_regression(at, part).slope
    return pace > 0 and abs(math.log10(pace) - round(math.log10(pace))) < policy.CLOCK_PACE


class Judged(msgspec.Struct, frozen=True):
    """A number's column, how like a thickness it is, and why."""

    index: int
    points: float
    series: Series
    units: tuple[str, ...]
    """What the unit with it can mean, empty when it has none."""
    unit_at: int | None
    """The column of the unit."""
    why: tuple[str, ...]


def judge(table: Table) -> list[Judged]:
    """Every number's column, the likeliest thickness first."""
    times = [frame.at for frame in table.frames]
    values = {
        index: [float(number(text).value) for text in column.present]
        for index, column in enumerate(table.columns)
        if column.kind == "number" and not column.optional
    }
    found = [
        _judge(table.columns, index, times)
        for index, column in enumerate(table.columns)
        if column.kind == "number"
    ]
    found = [
        _as_held(each)
        if any(_holds(values[each.index], values[other]) for other in values if other != each.index)
        else each
        for each in found
        if each.index in values
    ] + [each for each in found if each.index not in values]
    return sorted(found, key=lambda each: (-each.points, each.index))


def _holds(held: Sequence[float], of: Sequence[float]) -> bool:
    """Whether one number is what another has reached at most or at least so far, or their
    distance: it goes one way only, and just when the other goes where it has not been.
    """
    steps = [after - before for before, after in pairwise(held)]
    changes = [index for index, step in enumerate(steps, 1) if step]
    one_way = all(step >= 0 for step in steps) or all(step <= 0 for step in steps)
    if len(changes) < policy.HELD_CHANGES or not one_way:
        return False
    highs, lows = list(accumulate(of, max)), list(accumulate(of, min))
    fresh = {
        index
        for index in range(1, len(of))
        if highs[index] > highs[index - 1] or lows[index] < lows[index - 1]
    }
    return len(fresh) <= policy.HELD_SHARE * len(of) and fresh.issuperset(changes)


def _as_held(judged: Judged) -> Judged:
    return msgspec.structs.replace(judged, points=judged.points - 20.0)


def _judge(columns: Sequence[Column], index: int, times: Sequence[float]) -> Judged:
    column = columns[index]
    times = [at for at, text in zip(times, column.texts, strict=True) if text is not None]
    numbers = [number(text) for text in column.present]
    kept = without_codes(numbers)
    times = [at for at, each in zip(times, numbers, strict=True) if each in kept]
    numbers = [each for each in numbers if each in kept]
    last = min((each.last for each in numbers), default=1.0)
    found = series([float(each.value) for each in numbers], times, last)
    unit_at = _unit_column(columns, index)
    points, why = _by_movement(found, any(each.places is not None for each in numbers))
    units: tuple[str, ...] = ()
    if unit_at is not None:
        units = of_word(usual_word(columns[unit_at]))
        points += 6
        why.append(f"{usual_word(columns[unit_at])} stands with it")
    elif (unit_at := _unit_elsewhere(columns)) is not None:
        units = of_word(usual_word(columns[unit_at]))
        if _shares(columns, index, unit_at):
            points += 6
            why.append(f"{usual_word(columns[unit_at])} stands behind it and others")
    if any(each.places is not None for each in numbers):
        points += 2
        why.append("it has a decimal mark")
    if any(each.sign or each.behind for each in numbers):
        points += 1.5
        why.append("it has a sign")
    if any(each.exponent for each in numbers):
        points += 1
    # A serial number or a time; no gauge has so many digits.
    if any(sum(map(str.isdigit, each.digits)) > 9 for each in numbers):
        points -= 3
    points += _by_neighbours(columns, index)
    return Judged(index, points - 0.05 * index, found, units, unit_at, tuple(why))


def _by_movement(found: Series, marked: bool) -> tuple[float, list[str]]:
    if found.steady or found.clock:
        # A hand could move just so, but hardly when the number has a decimal mark.
        return (-2.0 if marked else -8.0), ["it runs like a counter or a clock"]
    if found.distinct < 3:
        return 0.0, []
    points = min(6.0, 1.5 * math.log2(found.distinct))
    points += min(4.0, 1.5 * math.log10(max(1.0, found.steps)))
    if found.steps <= policy.JITTER and marked:
        points -= 3
    why = [f"it took {found.distinct} different values"]
    if found.falls and found.distinct < 6:
        points -= 3
    if found.rough > policy.ROUGH and found.distinct >= 6:
        points -= 2
    else:
        why.append("and moved smoothly")
    return points, why


def usual_word(column: Column) -> str:
    """The most frequent word of a column."""
    return Counter(column.present).most_common(1)[0][0]


def without_codes(numbers: Sequence[Number]) -> set[Number]:
    """The numbers but for one that stands for no reading, such as 9999.99: seldom, and far larger
    than all others.
    """
    kept = set(numbers)
    sizes = sorted({abs(each.value) for each in kept})
    if len(sizes) < policy.MOVED or sizes[-1] <= policy.CODE_FAR * float(sizes[-2]):
        return kept
    codes = {each for each in kept if abs(each.value) == sizes[-1]}
    seldom = sum(each in codes for each in numbers) <= policy.CODE_SHARE * len(numbers)
    return kept - codes if seldom else kept


def _shares(columns: Sequence[Column], index: int, unit_at: int) -> bool:
    """Whether a number, which has no unit of its own, stands before others and the unit of all."""
    between = columns[index + 1 : unit_at]
    if len(between) == 2 and _comma_and_digits(between):
        # The two may be one number with a decimal comma.
        return False
    words = {word.lower() for each in between if each.kind == "word" for word in each.present}
    return index < unit_at and not words & OTHER_UNITS


def _comma_and_digits(columns: Sequence[Column]) -> bool:
    comma, digits = columns
    glued = comma.mark == "," and not (comma.spaces[1] or digits.spaces[1])
    lengths = {len(text) for text in digits.present}
    return glued and len(lengths) == 1 and all(text.isdigit() for text in digits.present)


def _unit_elsewhere(columns: Sequence[Column]) -> int | None:
    """The only word of the frames that is a unit of length, wherever it stands; one letter is too
    little to be sure of that.
    """
    found = [
        index
        for index, column in enumerate(columns)
        if column.kind == "word"
        and not column.optional
        and all(len(word) > 1 and of_word(word) for word in set(column.present))
    ]
    return found[0] if len(found) == 1 else None


def _quoted(columns: Sequence[Column], index: int) -> bool:
    """Whether a number stands between quotation marks, of which the second is no inch sign."""
    if not 0 < index < len(columns) - 1:
        return False
    before, after = columns[index - 1], columns[index + 1]
    return (
        before.kind == after.kind == "word"
        and set(after.present) <= {'"', "'"}
        and all(text[-1] == after.present[0] for text in before.present)
    )


def _unit_column(columns: Sequence[Column], index: int) -> int | None:
    """The column of the unit that stands with a number: behind it, at most one mark between."""
    if _quoted(columns, index):
        return None
    for places in ((1, 2), (-1, -2)):
        for step in places:
            at = index + step
            if not 0 <= at < len(columns):
                break
            column = columns[at]
            if column.kind == "word" and column.present:
                another = step < 0 and at > 0 and columns[at - 1].kind == "number"
                taken = another and len(set(columns[at - 1].present)) > 1
                if all(of_word(word) for word in set(column.present)) and not taken:
                    return at
                break
            if column.kind == "number":
                break
    return None


def _by_neighbours(columns: Sequence[Column], index: int) -> float:
    points = 0.0
    after = columns[index + 1] if index + 1 < len(columns) else None
    if _is_time_or_date(columns, index) or _is_date(columns, index):
        points -= 12
    if after is not None and after.kind == "word":
        words = {word.lower() for word in after.present}
        if words <= OTHER_UNITS and not any(len(word) == 1 and after.spaces[0] for word in words):
            points -= 6
    label = _label(columns, index)
    if label.lower() in OTHER_LABELS:
        points -= 5
    return points


def _is_time_or_date(columns: Sequence[Column], index: int) -> bool:
    """Whether the number is one of three joined by colons or strokes, or of two two-digit ones."""
    for joint in ":/":
        first = index
        while first >= 2 and _joined(columns, first - 2, joint):
            first -= 2
        last = index
        while _joined(columns, last, joint):
            last += 2
        chain = columns[first : last + 1 : 2]
        if len(chain) >= 3:
            return True
        if len(chain) == 2 and all(
            len(text) == 2 and text.isdigit() for part in chain for text in part.present
        ):
            return True
    return False


def _joined(columns: Sequence[Column], index: int, joint: str) -> bool:
    """Whether this number and the next are joined by that mark as parts of a time or date."""
    parts = columns[index : index + 3]
    return (
        [part.kind for part in parts] == ["number", "mark", "number"]
        and parts[1].mark == joint
        and all(
            _PART_OF[joint].fullmatch(text)
            for part in (parts[0], parts[2])
            for text in part.present
        )
    )


_PART_OF = {
    ":": re.compile(r"\d{1,2}([.,]\d+)?", re.ASCII),
    "/": re.compile(r"\d{1,4}", re.ASCII),
}
"""What can stand beside such a mark: hours, minutes, seconds; days, months, years."""


def _is_date(columns: Sequence[Column], index: int) -> bool:
    """Whether the number is part of year-month-day, whose hyphens look like signs."""
    for first in range(max(0, index - 2), index + 1):
        parts = columns[first : first + 3]
        if len(parts) == 3 and all(part.kind == "number" for part in parts):
            texts = [part.present[0] for part in parts]
            if texts[1].startswith("-") and texts[2].startswith("-") and texts[0].isdigit():
                return parts[1].spaces[1] == parts[2].spaces[1] == 0
    return False


def _label(columns: Sequence[Column], index: int) -> str:
    """The word before a number, with a colon or equals sign between perhaps; empty when it changes,
    as a status does.
    """
    at = index - 1
    if at >= 0 and columns[at].kind == "mark" and columns[at].mark in ":=":
        at -= 1
    if at >= 0 and columns[at].kind == "word" and len(set(columns[at].present)) == 1:
        return columns[at].present[0]
    return ""
