"""Descriptions: a wrong file is refused with the file, the path inside it and what was expected."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.devices import catalog
from gaugelink.devices.catalog import find, load, parse
from gaugelink.devices.description import DescriptionError
from gaugelink.devices.pipeline import Pipeline

PATTERN = r"""
name = "mine"
title = "Mine"
unit = "mm"
sends = "when-asked"
range = [-5, 5.5]
[link]
baud = 9600
[ask]
send = "?"
[framing]
by = "terminator"
end = "\r"
[decoding]
pattern = '(?P<value>\d+)(?P<status>.?)'
units = { MM = "mm" }
status = { O = "overrange" }
refuse = ["overrange"]
[checksum]
kind = "sum8"
"""

LAYOUT = """
name = "mine"
title = "Mine"
[framing]
by = "length"
length = 8
sync = "V"
[decoding]
layout = [
    { name = "value", at = 1, length = 4, kind = "int-le" },
    { name = "unit", at = 5 },
]
"""

MARKS = r"""
name = "mine"
title = "Mine"
[framing]
by = "marks"
start = "<"
end = ">"
[decoding]
pattern = '(?P<value>\d+)'
"""

PRESENTED = """
name = "mine"
title = "Mine"
[link]
characteristic = "6f1c0001-52a4-4e0b-9d3e-2b7a5c1e8f40"
[framing]
by = "packet"
[decoding]
presentation = { format = "sint32", exponent = -5, unit = "m" }
"""

FAULTS = [
    # What is wrong, what stands there instead, the path in the file, what was expected.
    (PATTERN, 'name = "mine"', "", "$", "required field `name`"),
    (PATTERN, 'name = "mine"', "name = 3", "$.name", "Expected `str`, got `int`"),
    (PATTERN, 'title = "Mine"', 'titel = "Mine"', "$", "unknown field `titel`"),
    (PATTERN, "[link]", "[limk]", "$", "unknown field `limk`"),
    (PATTERN, "baud = 9600", 'baud = "fast"', "$.link.baud", "Expected `int`, got `str`"),
    (PATTERN, "baud = 9600", "baud = 9", "link.baud", "9 is not a speed of a serial line"),
    (PATTERN, "baud = 9600", "bits = 9", "$.link.bits", "Invalid enum value 9"),
    (PATTERN, "baud = 9600", "stop = 1.5", "$.link.stop", "Expected `int`, got `float`"),
    (PATTERN, "baud = 9600", 'parity = "E"', "$.link.parity", "Invalid enum value 'E'"),
    (PATTERN, "baud = 9600", "dtr = 1", "$.link.dtr", "Expected `bool`, got `int`"),
    (PATTERN, 'by = "terminator"', 'by = "magic"', "$.framing.by", "Invalid value 'magic'"),
    (PATTERN, 'by = "terminator"', "", "$.framing", "required field `by`"),
    (PATTERN, 'end = "\\r"', 'end = ""', "framing.end", "a terminator cannot be empty"),
    (PATTERN, 'end = "\\r"', 'end = "€"', "framing.end", "'€' is not one byte of the line"),
    (PATTERN, 'end = "\\r"', 'start = "<"', "$.framing", "unknown field `start`"),
    (PATTERN, 'end = "\\r"', "longest = 0", "framing.longest", "from 1 to 4096"),
    (PATTERN, 'end = "\\r"', "longest = 5000", "framing.longest", "from 1 to 4096"),
    (PATTERN, 'sends = "when-asked"', 'sends = "often"', "$.sends", "Invalid enum value 'often'"),
    (PATTERN, '[ask]\nsend = "?"', "", "ask", "needs what to send"),
    (PATTERN, 'send = "?"', 'send = ""', "ask.send", "cannot be empty"),
    (PATTERN, 'send = "?"', 'send = "≈"', "ask.send", "'≈' is not one byte of the line"),
    (PATTERN, 'send = "?"', 'send = "?"\nevery = 0', "ask.every", "must be above 0"),
    (PATTERN, 'send = "?"', 'send = "?"\nevery = nan', "ask.every", "must be above 0"),
    (PATTERN, 'send = "?"', 'send = "?"\nwait = -1', "ask.wait", "must be above 0"),
    (PATTERN, 'send = "?"', 'send = "?"\nwait = inf', "ask.wait", "3600 at most"),
    (PATTERN, 'unit = "mm"', 'unit = "furlong"', "unit", "'furlong' is not a length"),
    (PATTERN, 'MM = "mm"', 'MM = "mg"', "decoding.units.MM", "'mg' is not a length"),
    (PATTERN, "range = [-5, 5.5]", "range = [5, -5]", "range", "the lowest value comes first"),
    (PATTERN, "range = [-5, 5.5]", "range = [5, 5]", "range", "the lowest value comes first"),
    (PATTERN, "range = [-5, 5.5]", "range = [nan, 5]", "range", "two numbers, in millimetres"),
    (PATTERN, "range = [-5, 5.5]", "range = [5, inf]", "range", "two numbers, in millimetres"),
    (PATTERN, "range = [-5, 5.5]", "range = [5]", "$.range", "of length 2"),
    (PATTERN, "range = [-5, 5.5]", "range = 5", "$.range", "Expected `array`, got `int`"),
    (PATTERN, r"(?P<value>\d+)", r"(?P<value>\d+", "decoding.pattern", "not a regular expression"),
    (PATTERN, r"(?P<value>\d+)", r"(?P<value>\d{99999999999})", "decoding.pattern", "not a regu"),
    (PATTERN, r"(?P<value>\d+)", r"\d+", "decoding", "a group or field named value"),
    (PATTERN, "?P<status>", "?P<battery>", "decoding.pattern", "'battery' is not one of decimals"),
    (PATTERN, "[checksum]", 'layout = [{ name = "value", at = 0 }]\n[checksum]', "decoding",
     "either a pattern or a layout"),
    (PATTERN, "pattern =", "#", "decoding", "either a pattern or a layout"),
    (PATTERN, "units =", "decimals = 13\nunits =", "decoding.decimals", "from 0 to 12"),
    (PATTERN, "units =", "decimals = -1\nunits =", "decoding.decimals", "from 0 to 12"),
    (PATTERN, "units =", 'decimal_mark = ";"\nunits =', "$.decoding.decimal_mark", "Invalid enum"),
    (PATTERN, "units =", 'signs = { N = "minus" }\nunits =', "$.decoding.signs[...]", "Invalid"),
    (PATTERN, 'refuse = ["overrange"]', 'refuse = ["O"]', "decoding.refuse[0]",
     "the word that 'O' stands for, 'overrange'"),
    (PATTERN, 'kind = "sum8"', 'kind = "crc8"', "$.checksum.kind", "Invalid enum value 'crc8'"),
    (PATTERN, 'kind = "sum8"', 'kind = "crc16-modbus"', "checksum.length", "as hex takes 4"),
    (PATTERN, 'kind = "sum8"', 'kind = "sum8"\nwritten = "byte"', "checksum.length", "takes 1"),
    (PATTERN, 'kind = "sum8"', 'kind = "crc16-ccitt"\nwritten = "byte"\nlength = 1',
     "checksum.written", "does not fit one byte"),
    (PATTERN, 'kind = "sum8"', 'kind = "sum8"\nat = -1', "checksum.at", "no room for 2 bytes"),
    (PATTERN, 'kind = "sum8"', 'kind = "sum8"\nexample = ""', "$.checksum", "unknown field"),
    (PRESENTED, "sint32", "sint33", "$.decoding.presentation.format", "Invalid enum value"),
    (PRESENTED, "sint32", "utf8s", "$.decoding.presentation.format", "Invalid enum value"),
    (PRESENTED, "sint32", "float32", "decoding.presentation.exponent", "an exponent of its own"),
    (PRESENTED, "-5", "-13", "decoding.presentation.exponent", "power of ten from -12 to 12"),
    (PRESENTED, '"m"', '"kg"', "decoding.presentation.unit", "'kg' is not a length"),
    (PRESENTED, "presentation =", "decimals = 2\npresentation =", "decoding", "nothing else"),
    (PRESENTED, "presentation =", "pattern = '.*'\npresentation =", "decoding",
     "either a pattern or a layout or a presentation"),
    (PRESENTED, "[link]", '[checksum]\nkind = "sum8"\n[link]', "checksum", "leaves no room"),
    (PRESENTED, '"packet"', '"packet"\nlongest = 0', "framing.longest", "from 1 to 4096"),
    (PRESENTED, "6f1c0001-", "6f1c-", "link.characteristic", "is not a UUID of 128 bits"),
    (MARKS, 'start = "<"', 'start = ""', "framing", "both marks must be given"),
    (MARKS, 'start = "<"', 'start = ">"', "framing.end", "must differ from start"),
    (MARKS, 'end = ">"', 'end = "<>"', "framing.end", "holds the start mark"),
    (MARKS, 'end = ">"', 'end = ">"\ntrailer = -1', "framing.trailer", "from 0 to 64"),
    (MARKS, 'end = ">"', 'end = ">"\ntrailer = 65', "framing.trailer", "from 0 to 64"),
    (MARKS, "[framing]", 'example = "Ω"\n[framing]', "example", "'Ω' is not one byte of the line"),
    (MARKS.replace('"<"', '"«"'), "[framing]", '[link]\nbits = 7\nparity = "even"\n[framing]',
     "framing.start", "'«' is not one byte of the line"),
    (LAYOUT, "length = 8", "length = 0", "framing.length", "at least 1"),
    (LAYOUT, "length = 8\nsync = \"V\"", "length = 6\nsync = \"VVVVVVV\"", "framing.length",
     "hold the sync bytes"),
    (LAYOUT, "length = 8", "length = 1000000", "framing.length", "4096 at most"),
    (LAYOUT, "length = 8", "length = 8\ngap = 0", "framing.gap", "must be above 0"),
    (LAYOUT, "length = 8", "length = 8\ngap = nan", "framing.gap", "must be above 0"),
    (LAYOUT, "length = 8", "length = 8\ngap = inf", "framing.gap", "60 at most"),
    (LAYOUT, "length = 8", "length = 5", "decoding.layout[1]", "ends after the frame's 5 bytes"),
    (LAYOUT, "at = 1", "at = -4", "decoding.layout[0].at", "counts bytes from 0"),
    (LAYOUT, "length = 4", "length = 0", "decoding.layout[0].length", "from 1 to 8"),
    (LAYOUT, "length = 4", "length = 2000", "decoding.layout[0].length", "from 1 to 8"),
    (LAYOUT, 'kind = "int-le"', 'kind = "float"', "$.decoding.layout[0].kind", "Invalid enum"),
    (LAYOUT, 'name = "unit"', 'name = "value"', "decoding.layout[1].name", "'value' stands twice"),
    (LAYOUT, 'name = "value"', 'name = "sign"', "decoding", "a group or field named value"),
    (LAYOUT, 'name = "unit"', 'name = "colour"', "$.decoding.layout[1].name", "Invalid enum"),
]  # fmt: skip


@pytest.mark.parametrize("text", [PATTERN, LAYOUT, MARKS, PRESENTED])
def test_the_files_that_are_spoilt_below_are_sound(text: str) -> None:
    assert Pipeline(parse(text, "mine.toml"), "g").feed(b"\x00\xff", 0.0) == []


@pytest.mark.parametrize(
    ("text", "what", "instead", "path", "said"), FAULTS, ids=lambda part: part[:30].strip()
)
def test_a_wrong_file_is_told_with_the_path_and_what_was_expected(
    text: str, what: str, instead: str, path: str, said: str
) -> None:
    assert what in text
    with pytest.raises(DescriptionError) as caught:
        parse(text.replace(what, instead), "folder/mine.toml")
    told = str(caught.value)
    assert told.startswith("folder/mine.toml: ")
    assert re.search(rf"(: |at `){re.escape(path)}(:|`|$)", told) or path == "$", told
    assert said in told
    assert "\n" not in told


@pytest.mark.parametrize(
    "text",
    ["name = ", "name = 'a'\nname = 'b'", "\x00", "[a", "n = " + "1" * 5000, "d = 2025-99-99"],
)
def test_what_is_no_toml_is_told_with_the_file(text: str) -> None:
    with pytest.raises(DescriptionError, match=r"^mine\.toml: not valid TOML: "):
        parse(text, "mine.toml")


def test_toml_nested_without_end_is_refused() -> None:
    with pytest.raises(DescriptionError, match="not valid TOML"):
        parse("a = " + "[" * 100_000, "mine.toml")


@given(st.data())
def test_any_change_of_a_sound_file_is_sound_or_refused(data: st.DataObject) -> None:
    text = data.draw(st.sampled_from([PATTERN, LAYOUT, MARKS, PRESENTED]))
    lines = text.splitlines()
    place = data.draw(st.integers(0, len(lines) - 1))
    value = data.draw(
        st.sampled_from(
            ['""', '"\\u00ff\\u0100"', "-1", "0", "1e300", "nan", "[]", "{}", "true", "[[1]]"]
        )
    )
    lines[place] = f"{lines[place].partition('=')[0]}= {value}"
    try:
        description = parse("\n".join(lines), "mine.toml")
    except DescriptionError as error:
        told = str(error)
    else:
        told = "mine.toml: sound"
        # What is accepted must work on any bytes.
        pipeline = Pipeline(description, "g")
        pipeline.feed(data.draw(st.binary(max_size=40)), 0.0)
    assert told.startswith("mine.toml: ")


def test_a_file_is_read_whatever_editor_saved_it(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text(LAYOUT, encoding="utf-8-sig")
    (tmp_path / "b.toml").write_bytes(LAYOUT.replace("\n", "\r\n").encode())
    assert load(tmp_path / "a.toml") == load(tmp_path / "b.toml") == parse(LAYOUT, "")


def test_a_file_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    latin = tmp_path / "latin.toml"
    latin.write_bytes(MARKS.replace("<", "«").encode("latin-1"))
    for path in (latin, tmp_path / "missing.toml", tmp_path):
        with pytest.raises(DescriptionError, match=f"^{re.escape(str(path))}: cannot be read: "):
            load(path)
    with pytest.raises(DescriptionError, match=r"latin\.toml: cannot be read: "):
        catalog.catalog(tmp_path)
    with pytest.raises(DescriptionError, match=r"missing\.toml: cannot be read: "):
        find(str(tmp_path / "missing.toml"))


def test_ones_own_descriptions_come_last(tmp_path: Path) -> None:
    (tmp_path / "x.toml").write_text(MARKS.replace("mine", "bare-decimal-lf"))
    (tmp_path / "y.toml").write_text(MARKS)
    (tmp_path / "notes.txt").write_text("not a description")
    shipped, all_of_them = catalog.catalog(), catalog.catalog(tmp_path)
    assert set(all_of_them) == {*shipped, "mine"}
    assert all_of_them["bare-decimal-lf"] == find("bare-decimal-lf", tmp_path)
    assert all_of_them["bare-decimal-lf"].title == "Mine"
    assert find("bare-decimal-lf").title != "Mine"
    assert catalog.catalog(tmp_path / "no such folder") == shipped


def test_one_wrong_file_of_ones_own_is_told_by_its_name(tmp_path: Path) -> None:
    (tmp_path / "wrong.toml").write_text(MARKS.replace("title", "titel"))
    with pytest.raises(DescriptionError, match=r"wrong\.toml: Object contains unknown field"):
        catalog.catalog(tmp_path)


def test_an_unknown_name_lists_the_known_ones() -> None:
    with pytest.raises(DescriptionError) as caught:
        find("no-such")
    assert str(caught.value).startswith("no description is called 'no-such'; known are: asked-")
    assert "signed-decimal-unit-cr" in str(caught.value)


SHIPPED = catalog.catalog()


@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_description_is_named_for_what_it_is(name: str) -> None:
    description = SHIPPED[name]
    assert re.fullmatch(r"[a-z]+(-[a-z]+)+", name)
    assert description.title
    assert description.example


def test_shipped_descriptions_cover_every_kind() -> None:
    assert {type(each.framing).__name__ for each in SHIPPED.values()} == {
        "ByTerminator", "ByMarks", "ByLength", "ByGap"
    }  # fmt: skip
    assert {each.sends for each in SHIPPED.values()} == {"stream", "on-button", "when-asked"}
    assert {each.checksum.kind for each in SHIPPED.values() if each.checksum} >= {
        "sum8", "xor8", "crc16-modbus"
    }  # fmt: skip
    assert {each.link.parity for each in SHIPPED.values()} >= {"none", "even", "odd"}


@pytest.mark.parametrize(
    ("settings", "short"),
    [("", "9600 8N1"), ('bits = 7\nparity = "even"\nstop = 2\nbaud = 300', "300 7E2")],
)
def test_the_short_form_of_link_settings(settings: str, short: str) -> None:
    assert parse(f"{MARKS}\n[link]\n{settings}", "mine.toml").link.short == short
