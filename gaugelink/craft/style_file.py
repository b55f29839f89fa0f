"""Writing a style as a TOML file that reads back as the same style."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

import msgspec

from gaugelink.craft.style import Style


def written(style: Style, comments: Sequence[str] = ()) -> str:
    """The text of a style's file, with comments at its head; what is not given is left out."""
    fields = msgspec.to_builtins(style, builtin_types=(Decimal,))
    plain = {name: value for name, value in fields.items() if not _is_table(value)}
    lines = [f"# {_printable(each)}".rstrip() for each in comments]
    lines += ["", *_pairs(plain)]
    for name, value in fields.items():
        if isinstance(value, Mapping):
            lines += ["", f"[{name}]", *_pairs(value)]
    for name, value in fields.items():
        if _is_table(value) and not isinstance(value, Mapping):
            for each in value:
                lines += ["", f"[[{name}]]", *_pairs(each)]
    return "\n".join(lines).lstrip("\n") + "\n"


def _printable(text: str) -> str:
    """A comment ends with its line, and a file may not hold what cannot be shown."""
    return "".join(each if each.isprintable() else " " for each in text)


def _is_table(value: object) -> bool:
    return isinstance(value, Mapping) or (
        isinstance(value, list | tuple) and bool(value) and isinstance(value[0], Mapping)
    )


def _pairs(table: Mapping[str, Any]) -> list[str]:
    return [f"{key} = {_value(value)}" for key, value in table.items() if value is not None]


def _value(value: Any) -> str:
    if isinstance(value, str):
        # TOML's basic strings are JSON's, but that they may not hold a DEL as it is.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, Mapping):
        return "{ " + ", ".join(_pairs(value)) + " }"
    if isinstance(value, list | tuple):
        if value and isinstance(value[0], Mapping):
            return "[\n" + "".join(f"    {_value(each)},\n" for each in value) + "]"
        return "[" + ", ".join(map(_value, value)) + "]"
    return repr(value)
