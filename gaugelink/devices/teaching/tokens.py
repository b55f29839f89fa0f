"""Text frames taken apart: numbers, words and marks, lined up in columns over many frames."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from decimal import Decimal
from functools import cache
from typing import Literal, NamedTuple

import msgspec

from gaugelink.devices.framing import Frame
from gaugelink.devices.teaching import policy

Kind = Literal["number", "word", "mark", "opaque"]
"""`opaque` is a field whose content is of many forms, such as a hexadecimal counter."""

SEPARATORS = ",;\t|"
"""Characters that part fields, when all frames have as many of them."""

WORD = r"[A-Za-z%\"'\x80-\xff]"
"""Characters of words; a letter mu, a degree sign and an inch sign are among them."""

SYMBOLS = "<>=!?*#~^&$@"
"""Marks that may stand for a state, such as a limit that is passed, instead of a word."""


class Token(NamedTuple):
    """One part of a frame, and how many spaces stand before it."""

    kind: Kind
    text: str
    spaces: int


class Column(msgspec.Struct, frozen=True):
    """The same part of every frame; None where a frame does not have it."""

    kind: Kind
    texts: list[str | None]
    spaces: tuple[int, int]
    """Fewest and most spaces before it."""
    mark: str
    """The decimal mark of its numbers, the mark that it is, or what parts an opaque field."""
    fixed: bool = False
    """A label that must stand there: lines with another are of another kind."""

    @property
    def optional(self) -> bool:
        return None in self.texts

    @property
    def present(self) -> list[str]:
        return [text for text in self.texts if text is not None]


class Table(msgspec.Struct, frozen=True):
    """Frames of one form, in columns."""

    columns: list[Column]
    frames: list[Frame]
    share: float
    """How many of all frames have this form."""
    mark: str
    after: int
    """Fewest spaces at the end."""
    others: frozenset[str] = frozenset()
    """Labels of frames of other kinds that come in turn with these, such as a temperature's."""


@cache
def _splitter(mark: str, symbols: bool) -> re.Pattern[str]:
    point = re.escape(mark)
    word = rf"{WORD}+|[{re.escape(SYMBOLS)}]+" if symbols else rf"{WORD}+"
    # A point may end a number; a comma there parts it from the next.
    last = "*" if mark == "." else "+"
    return re.compile(
        rf"(?P<number>(?:[+-] *)?(?:\d+(?:{point}\d{last})?|{point}\d+)"
        # Not in "0E+01.234", where a counter's digits stand before the number.
        rf"(?:[eE][+-]?\d+(?![\d{point}]))?"
        rf"(?:[+-](?![\d{point}]))?)|(?P<word>{word})|(?P<mark>[^ ])",
        re.ASCII | re.DOTALL,
    )


class Fields(NamedTuple):
    """The separator of some frames, and which of the fields between are opaque."""

    separator: str
    opaque: frozenset[int]


class Split(NamedTuple):
    """How frames are taken apart."""

    mark: str
    """The decimal mark."""
    fields: Fields | None = None
    symbols: bool = False
    """Symbols are words, which may change, come and go."""


def tokens(text: str, split: Split) -> list[Token]:
    """The parts of a frame."""
    mark, fields, symbols = split
    if fields is None:
        return _tokens(text, mark, symbols)
    found: list[Token] = []
    for index, part in enumerate(text.split(fields.separator)):
        if index:
            found.append(Token("mark", fields.separator, 0))
        if index in fields.opaque:
            found.append(Token("opaque", part, 0))
        else:
            found += _tokens(part, mark, symbols)
    return found


def _tokens(text: str, mark: str, symbols: bool = False) -> list[Token]:
    found: list[Token] = []
    end = 0
    for match in _splitter(mark, symbols).finditer(text):
        kind: Kind = match.lastgroup  # type: ignore[assignment]
        found.append(Token(kind, match[0], match.start() - end))
        end = match.end()
    return found


def _form(parts: Sequence[Token]) -> tuple[str, ...]:
    return tuple(part.text if part.kind == "mark" else part.kind for part in parts)


def tables(frames: Sequence[Frame], mark: str) -> Iterator[Table]:
    """Ways of lining up the frames in columns, the simplest first."""
    plain = _table(frames, Split(mark))
    if plain is None:
        return
    if plain.share >= policy.ALIKE:
        yield plain
    if plain.share < policy.NEARLY_ALL:
        ways = [Split(mark, symbols=True)]
        if (fields := _fields(frames, mark)) is not None:
            ways.append(Split(mark, fields))
        for way in ways:
            other = _table(frames, way)
            if other is not None and other.share >= policy.ALIKE and _believable(other, way):
                yield other
    if plain.share < policy.NEARLY_ALL or _labels_change(plain):
        yield from _in_turn(frames, mark)


def _believable(table: Table, way: Split) -> bool:
    """Whether symbols may be words: at a wrong speed any may be heard, but no decimal mark."""
    return not way.symbols or any(
        way.mark in text
        for column in table.columns
        if column.kind == "number"
        for text in column.present
    )


def _labels_change(table: Table) -> bool:
    """Whether a word before any number changes."""
    for column in table.columns:
        if column.kind == "number":
            return False
        if column.kind == "word" and len(set(column.present)) > 1:
            return True
    return False


def _in_turn(frames: Sequence[Frame], mark: str) -> Iterator[Table]:
    """The frames of each kind alone, when frames of a few kinds come in turn.

    What they begin with tells the kinds apart: a word, or the first mark.
    """
    kinds: dict[str, list[Frame]] = {}
    for frame in frames:
        if any(byte in b"0123456789" for byte in frame.payload):
            kinds.setdefault(label_of(frame.payload), []).append(frame)
    count = sum(map(len, kinds.values()))
    regular = {
        label: of_kind for label, of_kind in kinds.items() if len(of_kind) >= policy.IN_TURN * count
    }
    known = sum(map(len, regular.values()))
    if len(regular) < 2 or known < policy.ALIKE * count:
        return
    apart = {
        label
        for label, of_kind in regular.items()
        if label and (label[0].isalnum() or not _moves(of_kind, mark))
    }
    for label, of_kind in regular.items():
        alone = _table(of_kind, Split(mark))
        if label and alone is not None and alone.share >= policy.ALIKE:
            columns = _with_label(alone.columns, label)
            yield msgspec.structs.replace(alone, columns=columns, others=frozenset(apart - {label}))


def _moves(frames: Sequence[Frame], mark: str) -> bool:
    """Whether any number in frames that no word sets apart moved: it may be the same thickness,
    written in another way.
    """
    table = _table(frames, Split(mark))
    if table is None:
        return False
    numbers = [each.present for each in table.columns if each.kind == "number"]
    return any(len(set(texts)) >= policy.MOVED and mark in texts[0] for texts in numbers)


def label_of(payload: bytes) -> str:
    """The first word before any number, else the mark that the frame begins with; may be empty."""
    parts = tokens(payload.decode("latin-1"), Split("."))
    for part in parts:
        if part.kind == "number":
            break
        if part.kind == "word":
            return part.text
    return parts[0].text if parts and parts[0].kind == "mark" else ""


def _with_label(columns: Sequence[Column], label: str) -> list[Column]:
    """The columns, with the one that holds the label as one that must."""
    place = next(
        (index for index, column in enumerate(columns) if column.present[:1] == [label]), None
    )
    return [
        msgspec.structs.replace(column, fixed=True)
        if index == place and column.kind == "word"
        else column
        for index, column in enumerate(columns)
    ]


def _fields(frames: Sequence[Frame], mark: str) -> Fields | None:
    """The separator that most frames have equally often, and the fields of many forms."""
    texts = [frame.payload.decode("latin-1") for frame in frames]
    for separator in [*SEPARATORS, " "]:
        count, often = Counter(text.count(separator) for text in texts).most_common(1)[0]
        if separator == mark or not count or often < policy.ALIKE * len(texts):
            continue
        rows = [text.split(separator) for text in texts if text.count(separator) == count]
        opaque = set()
        for index in range(count + 1):
            forms = Counter(_form(_tokens(row[index], mark)) for row in rows)
            if forms.most_common(1)[0][1] < policy.FIELD_ALIKE * len(rows):
                opaque.add(index)
        return Fields(separator, frozenset(opaque))
    return None


def _table(frames: Sequence[Frame], split: Split) -> Table | None:
    """The most frequent form of the frames; None when there is no number in any.

    Frames that lack only a word of that form, such as a status, belong to it too. What has no
    digit at all, an echo or a heading, is not counted.
    """
    mark, fields, _ = split
    cut = [(frame, tokens(frame.payload.decode("latin-1"), split)) for frame in frames]
    cut = [(frame, parts) for frame, parts in cut if any(part.kind == "number" for part in parts)]
    forms = Counter(_form(parts) for _, parts in cut)
    if not forms:
        return None
    chosen = _widest(forms)
    rows = [
        (frame, row) for frame, parts in cut if (row := _lined_up(parts, chosen, forms)) is not None
    ]
    columns = [
        _column(kind, [row[index] for _, row in rows], fields.separator if fields else "", mark)
        for index, kind in enumerate(chosen)
    ]
    after = min(_spaces_after(frame.payload) for frame, _ in rows)
    return Table(columns, [frame for frame, _ in rows], len(rows) / len(cut), mark, after)


def _spaces_after(payload: bytes) -> int:
    return len(payload) - len(payload.rstrip(b" "))


def _widest(forms: Counter[tuple[str, ...]]) -> tuple[str, ...]:
    """The form that takes in most frames."""
    common = [form for form, _ in forms.most_common(6)]

    def taken(form: tuple[str, ...]) -> int:
        return sum(count for other, count in forms.items() if _fits(other, form) is not None)

    return max(common, key=lambda form: (taken(form), forms[form]))


def _fits(short: Sequence[str], form: Sequence[str]) -> list[int] | None:
    """The places in `form` of the parts of a form that lacks nothing but words; None if others."""
    places: list[int] = []
    for part in short:
        place = places[-1] + 1 if places else 0
        while place < len(form) and form[place] != part:
            if form[place] != "word":
                return None
            place += 1
        if place == len(form):
            return None
        places.append(place)
    last = places[-1] + 1 if places else 0
    return places if all(part == "word" for part in form[last:]) else None


def _lined_up(
    parts: list[Token], form: tuple[str, ...], forms: Counter[tuple[str, ...]]
) -> list[Token | None] | None:
    own = _form(parts)
    # A form seen once may be a cut frame.
    if own != form and forms[own] < 2:
        return None
    places = _fits(own, form)
    if places is None:
        return None
    row: list[Token | None] = [None] * len(form)
    for place, part in zip(places, parts, strict=True):
        row[place] = part
    return row


def _column(kind: str, cells: list[Token | None], separator: str, mark: str) -> Column:
    present = [cell for cell in cells if cell is not None]
    spaces = [cell.spaces for cell in present] or [0]
    texts = [cell.text if cell is not None else None for cell in cells]
    real: Kind = present[0].kind if present else "word"
    shown = {"mark": kind, "opaque": separator}.get(real, mark)
    return Column(real, texts, (min(spaces), max(spaces)), shown)


_NUMBER = re.compile(r"([+-]?) *(\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE]([+-]?\d+))?([+-]?)", re.ASCII)


class Number(NamedTuple):
    """The parts of a number as written."""

    sign: str
    digits: str
    exponent: str
    behind: str
    """A sign that stands behind the digits."""

    @property
    def value(self) -> Decimal:
        """Its value, without any implied places; an absurd exponent counts as none."""
        plain = Decimal(self.digits.replace(",", ".").rstrip(".") or "0")
        sized = plain.scaleb(self.power)
        return -sized if "-" in (self.sign, self.behind) else sized

    @property
    def power(self) -> int:
        """The power of ten that is written out, 0 for none or an absurd one."""
        power = int(self.exponent) if self.exponent and len(self.exponent) < 5 else 0
        return power if abs(power) < 200 else 0

    @property
    def last(self) -> float:
        """The weight of its last digit."""
        return 10.0 ** (self.power - (self.places or 0))

    @property
    def places(self) -> int | None:
        """Decimal places written, None without a mark."""
        marked = self.digits.replace(",", ".")
        return len(marked) - marked.index(".") - 1 if "." in marked else None


@cache
def number(text: str) -> Number:
    """A number token's parts."""
    match = _NUMBER.fullmatch(text)
    if match is None:
        return Number("", "0", "", "")
    return Number(match[1], match[2], match[3] or "", match[4])
