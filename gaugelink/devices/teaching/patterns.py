"""From columns to the pattern that reads them."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from typing import Literal

import msgspec

from gaugelink.devices.description import Decoding
from gaugelink.devices.teaching import policy
from gaugelink.devices.teaching.columns import OTHER_LABELS, Judged, without_codes
from gaugelink.devices.teaching.meaning import Meaning, Written, of_word
from gaugelink.devices.teaching.tokens import SYMBOLS, Column, Number, Table, number

WORD = r"[A-Za-z%\x22\x27\x80-\xff]+"

COUNTERPARTS = {"mm": "in", "in": "mm", "MM": "IN", "IN": "MM", "Mm": "In", "In": "Mm"}
"""The other unit that an indicator can be switched to, spelt in the same way."""

WORTHLESS = ["ERR", "ERROR", "Err", "Error", "OL", "OVER", "OVF", "INVALID"]
"""Status words that make the number worthless, whoever sends them."""


class Glued(msgspec.Struct, frozen=True):
    """Digits without a separator that hold more than the value."""

    value: int
    """Digits of the value."""
    decimals: int | None
    """The decimal places that the next digit says, None when there is no such digit."""
    unit: str
    """The digit after that, which may be a code for the unit; empty when there is none."""
    rest: int
    """Further digits."""
    places: int | None = None
    """Digits of the value behind its decimal mark, None when it has none."""


def written(column: Column, glued: Glued | None, moved: bool) -> Written:
    """How the numbers of a column were written."""
    numbers = [number(text) for text in column.present]
    if glued is not None:
        numbers = [each._replace(digits=each.digits[: glued.value]) for each in numbers]
    places = [each.places for each in numbers if each.places is not None]
    power = any(each.exponent for each in numbers)
    widths = {len(each.digits) for each in numbers}
    padded = len(widths) == 1 and any(
        each.digits.startswith("0") and each.digits.isdigit() and len(each.digits) > 1
        for each in numbers
    )
    largest = max(abs(each.value) for each in without_codes(numbers))
    shown = max(places) if places else None
    if glued is not None and glued.decimals is not None:
        largest, shown = largest.scaleb(-glued.decimals), glued.decimals
    lasts = {each.digits[-1] for each in numbers}
    return Written(
        largest,
        shown,
        power,
        widths.pop() if padded else 0,
        moved,
        fives=lasts == {"0", "5"},
    )


def glued(column: Column, moved: bool) -> Glued | None:
    """Constant last digits that cannot belong to a value which moved."""
    numbers = [number(text) for text in column.present]
    lengths = {len(each.digits) for each in numbers}
    if not moved or len(lengths) != 1:
        return None
    if any(each.exponent or each.behind for each in numbers):
        return None
    width = lengths.pop()
    digits = [each.digits for each in numbers]
    changing = [place for place in range(width) if len({text[place] for text in digits}) > 1]
    if not changing or len(set(digits)) < policy.MOVED:
        return None
    tail = digits[0][changing[-1] + 1 :]
    # Zeros alone may be a padded last digit, and say the same value either way.
    if not tail.strip("0"):
        return None
    if not digits[0].isdigit():
        return _glued_behind_mark(digits, len(tail))
    zeros = len(tail) - len(tail.lstrip("0"))
    place = changing[-1] + 1 + zeros
    says = int(digits[0][place])
    after = digits[0][place + 1 :]
    if 1 <= place - says <= 4 and says <= 6:
        return Glued(place, says, after[:1], max(0, len(after) - 1))
    return Glued(changing[-1] + 1, None, "", len(tail))


def _glued_behind_mark(digits: Sequence[str], rest: int) -> Glued | None:
    """The same of numbers with a decimal mark, when it stands at one place, before all of them."""
    marks = {max(text.find("."), text.find(",")) for text in digits}
    before = len(digits[0]) - rest
    mark = marks.pop()
    if marks or mark < 0 or before <= mark + 1:
        return None
    return Glued(before, None, "", rest, places=before - mark - 1)


def sign_letters(table: Table, at: int) -> tuple[int, dict[str, Literal["+", "-"]]] | None:
    """A letter or digit before the number that stands for its sign: it turns only near zero."""
    if at == 0 or table.columns[at - 1].kind != "word":
        return None
    letters, texts = table.columns[at - 1].texts, table.columns[at].present
    seen = set(letters)
    minus = seen & {"N", "M", "n", "m", "NEG", "neg"}
    if None in seen or len(seen) != 2 or len(minus) != 1:
        return None
    if any(of_word(str(each)) for each in seen):
        return None
    numbers = [number(text) for text in texts]
    if any(each.sign or each.behind for each in numbers):
        return None  # it has a sign of its own
    sizes = [abs(each.value) for each in numbers]
    turns = [index for index in range(1, len(letters)) if letters[index] != letters[index - 1]]
    near = max(sizes) / 4
    if not turns or any(min(sizes[i], sizes[i - 1]) > near for i in turns):
        return None
    return at - 1, {str(each): "-" if each in minus else "+" for each in seen}


def literal_letter(table: Table, at: int) -> int | None:
    """A lone letter that never changed, glued to a number that never had a sign.

    It may be the sign: another letter there must not be read as the same number.
    """
    before = table.columns[at - 1] if at else None
    if before is None or before.kind != "word" or before.optional or table.columns[at].spaces[1]:
        return None
    numbers = [number(text) for text in table.columns[at].present]
    if any(each.sign or each.behind for each in numbers):
        return None
    return at - 1 if len(set(before.present)) == 1 and len(before.present[0]) == 1 else None


def shown(text: str) -> str:
    """A frame's text for a person, other characters as their codes."""
    return "".join(each if each.isprintable() else f"\\x{ord(each):02x}" for each in text)


def escaped(text: str) -> str:
    """A literal part of a pattern that can also be read."""
    return "".join(
        re.escape(each) if " " < each <= "~" and each != "'" else f"\\x{ord(each):02x}"
        for each in text
    )


def decoding(table: Table, judged: Judged, meaning: Meaning, part: Glued | None) -> Decoding:
    """The decoding that takes the judged column as the value, with that meaning."""
    signs = sign_letters(table, judged.index)
    status = _status_column(table, judged, signs[0] if signs else None)
    letter = literal_letter(table, judged.index) if signs is None else None
    pieces = []
    for index, column in enumerate(table.columns):
        body = _body(column)
        if index == judged.index:
            body = _value(column, part, signs is None, _room_behind(table, index))
        elif index == judged.unit_at:
            body = f"(?P<unit>{WORD})"
        elif signs is not None and index == signs[0]:
            body = f"(?P<sign>{WORD})"
        elif index == letter:
            body = escaped(column.present[0])
        elif index == status:
            body = f"(?P<status>{_word(column)})"
        if column.optional:
            body += "?" if body.startswith("(") else ""
            body = body if body.endswith("?") else f"(?:{body})?"
        pieces.append(_spaces(table.columns, index) + body)
    units = _units(table, judged, meaning)
    if part is not None and part.unit:
        units = {part.unit: meaning.unit}
    words = Counter(table.columns[status].present) if status is not None else Counter[str]()
    usual = words.most_common(1)[0][0] if words else ""
    return Decoding(
        pattern="".join(pieces) + " *",
        decimal_mark="," if table.mark == "," else ".",
        decimals=meaning.decimals,
        signs=signs[1] if signs else {},
        units=units,
        status={usual: ""} if usual and usual not in WORTHLESS else {},
        refuse=WORTHLESS if words else [],
    )


def _spaces(columns: Sequence[Column], index: int) -> str:
    if index == 0:
        return " *"
    column = columns[index]
    alike = column.kind == columns[index - 1].kind != "mark"
    return " +" if alike and column.spaces[0] >= 1 and not column.optional else " *"


def _word(column: Column) -> str:
    """Any word; or any symbol, where symbols stood."""
    symbols = sum(text[0] in SYMBOLS for text in column.present)
    marks = f"[{re.escape(SYMBOLS)}]+"
    if not symbols:
        return WORD
    return marks if symbols == len(column.present) else f"(?:{WORD}|{marks})"


def _body(column: Column) -> str:
    if column.kind == "mark":
        return escaped(column.mark)
    if column.kind == "opaque":
        return f"[^{escaped(column.mark)}]*"
    if column.fixed:
        return escaped(column.present[0])
    if column.kind == "word":
        return _word(column)
    point = _point(column)
    numbers = [number(text) for text in column.present]
    power = r"(?:[eE][+-]?\d+)?" if any(each.exponent for each in numbers) else ""
    behind = "[+-]?" if any(each.behind for each in numbers) else ""
    return rf"[+-]? *[\d{point}]+{power}{behind}"


def _room_behind(table: Table, index: int) -> bool:
    """Whether a sign, of which none was seen, would have to stand behind the number: zeros fill it
    up to one width, nothing is left before it, and a space stands behind.
    """
    numbers = [number(text) for text in table.columns[index].present]
    if any(each.sign or each.behind or each.exponent for each in numbers):
        return False
    filled = len({len(each.digits) for each in numbers}) == 1 and all(
        each.digits.startswith("0") for each in numbers
    )
    last = index + 1 == len(table.columns)
    after = table.after if last else table.columns[index + 1].spaces[0]
    return filled and not table.columns[index].spaces[1] and after == 1


def _value(column: Column, part: Glued | None, signed: bool, room_behind: bool) -> str:
    numbers = [number(text) for text in column.present]
    if part is not None:
        tail = ""
        if part.decimals is not None:
            tail = r"(?P<decimals>\d)" + (r"(?P<unit>\d)" if part.unit else "")
        rest = rf"\d{{{part.rest}}}" if part.rest else ""
        sign = "(?P<sign>[+-]?) *" if signed else ""
        digits = rf"\d{{{part.value}}}"
        if part.places is not None:
            digits = rf"\d+{_point(column)}\d{{{part.places}}}"
        return rf"{sign}(?P<value>{digits}){tail}{rest}"
    digits = _digits(numbers, _point(column))
    power = r"[eE](?P<exponent>[+-]?\d+)" if any(each.exponent for each in numbers) else ""
    if power and not all(each.exponent for each in numbers):
        power = f"(?:{power})?"
    if any(each.behind for each in numbers) and signed:
        return f"(?P<value>{digits}){power}(?P<sign>[+-]?)"
    if signed and room_behind:
        # It may stand before the number all the same.
        return f"(?P<value>[+-]?(?:{digits}))(?P<sign>[+-]?)"
    sign = "(?P<sign>[+-]?) *" if signed else ""
    return f"{sign}(?P<value>{digits}){power}"


def _point(column: Column) -> str:
    return "," if column.mark == "," else r"\."


def _digits(numbers: Sequence[Number], point: str) -> str:
    marked = sum(each.places is not None for each in numbers)
    if not marked:
        widths = {len(each.digits) for each in numbers}
        if len(widths) == 1 and any(each.digits[0] == "0" for each in numbers) and widths != {1}:
            return rf"\d{{{widths.pop()}}}"
        return r"\d+"
    before = r"\d*" if any(not each.digits[0].isdigit() for each in numbers) else r"\d+"
    if marked < len(numbers):
        return rf"\d+(?:{point}\d*)?|{point}\d+"
    trailing = r"\d*" if any(not each.places for each in numbers) else r"\d+"
    return f"{before}{point}{trailing}"


def _units(table: Table, judged: Judged, meaning: Meaning) -> dict[str, str]:
    if judged.unit_at is None:
        return {}
    words = set(table.columns[judged.unit_at].present)
    found = {}
    for word in sorted(words):
        can = of_word(word)
        found[word] = meaning.unit if meaning.unit in can else can[0]
        other = COUNTERPARTS.get(word)
        # With implied decimal places the other unit would have another count of them.
        if other is not None and not meaning.decimals:
            found.setdefault(other, of_word(other)[0])
    return found


def _status_column(table: Table, judged: Judged, taken: int | None) -> int | None:
    """The word that changes, comes and goes, or is a single letter, and so may be a status."""
    for index, column in enumerate(table.columns):
        if column.kind != "word" or index in (judged.unit_at, taken) or not column.present:
            continue
        if column.fixed or index == literal_letter(table, judged.index):
            continue
        words = set(column.present)
        if {word.lower() for word in words} <= OTHER_LABELS and len(words) == 1:
            continue
        if len(words) > 1 or column.optional or all(len(word) == 1 for word in words):
            return index
    return None
