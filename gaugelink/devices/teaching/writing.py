"""A description as the text of its TOML file, with the evidence as comments."""

from __future__ import annotations

from collections.abc import Container, Sequence
from decimal import Decimal
from typing import Any

import msgspec

from gaugelink.devices.description import Description

_TABLES = ("link", "framing", "ask", "decoding", "checksum")


def written(description: Description, evidence: Sequence[str]) -> str:
    """The file's text. Whatever has its default value is left out."""
    lines = [f"# {_printable(sentence)}" for sentence in evidence]
    if lines:
        lines = ["# Worked out by `gaugelink teach` from what the indicator sent:", *lines, ""]
    always = _always(description)
    for field in msgspec.structs.fields(Description):
        if field.name not in _TABLES:
            _put(lines, field, getattr(description, field.name), always)
    for name in _TABLES:
        value = getattr(description, name)
        if value is None:
            continue
        lines += ["", f"[{name}]"]
        tag = value.__struct_config__.tag
        if tag is not None:
            lines.append(f"{value.__struct_config__.tag_field} = {_value(tag)}")
        for field in msgspec.structs.fields(value):
            _put(lines, field, getattr(value, field.name), always)
    return "\n".join(lines) + "\n"


def _always(description: Description) -> set[str]:
    """What is said also when it is the default: what anyone looks for first, where it means
    anything. Bluetooth has no speed, and a presentation has its own unit.
    """
    if description.decoding.presentation is not None:
        return set()
    return {"unit"} if description.link.characteristic else {"unit", "baud"}


def _put(
    lines: list[str], field: msgspec.structs.FieldInfo, value: Any, always: Container[str]
) -> None:
    default = field.default
    if field.default_factory is not msgspec.NODEFAULT:
        default = field.default_factory()
    if value is not None and (value != default or field.name in always):
        lines.append(f"{field.name} = {_value(value)}")


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float | Decimal):
        return str(value)
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, dict):
        inner = ", ".join(f"{_text(key)} = {_value(each)}" for key, each in value.items())
        return f"{{ {inner} }}" if inner else "{}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_value, value)) + "]"
    fields = {
        field.name: getattr(value, field.name)
        for field in msgspec.structs.fields(value)
        if getattr(value, field.name) != field.default
    }
    return "{ " + ", ".join(f"{name} = {_value(each)}" for name, each in fields.items()) + " }"


def _text(text: str) -> str:
    """A literal string where one can be read more easily, otherwise one with escapes."""
    if "\\" in text and "'" not in text and text.isprintable():
        return f"'{text}'"
    return '"' + "".join(_escaped(each) for each in text) + '"'


def _escaped(character: str) -> str:
    short = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\r": "\\r", "\t": "\\t"}
    if character in short:
        return short[character]
    return character if character.isprintable() else f"\\u{ord(character):04x}"


def _printable(text: str) -> str:
    return "".join(each if each.isprintable() else f"\\x{ord(each):02x}" for each in text)
