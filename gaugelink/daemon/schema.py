"""Write the protocol's JSON Schema: `python -m gaugelink.daemon.schema`."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec

from gaugelink.daemon.messages import PROTOCOL, AnyMessage, AnyRequest

FILE = Path(__file__).with_name("protocol.schema.json")


def schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of every line, either way."""
    (requests, messages), parts = msgspec.json.schema_components(
        [AnyRequest, AnyMessage], ref_template="#/$defs/{name}"
    )
    parts = _decimals_as_numbers(parts)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"gaugelink protocol {PROTOCOL}",
        "description": "A line to the hub is a request, a line from it a message.",
        "$defs": {**parts, "request": requests, "message": messages},
    }


def _decimals_as_numbers(part: Any) -> Any:
    """The schema as it is meant: `encoder` writes decimals as numbers, where msgspec has text."""
    if isinstance(part, dict):
        if part.get("format") == "decimal":
            return {**{k: v for k, v in part.items() if k != "format"}, "type": "number"}
        return {name: _decimals_as_numbers(each) for name, each in part.items()}
    if isinstance(part, list):
        return [_decimals_as_numbers(each) for each in part]
    return part


def text() -> str:
    """The schema as it is shipped, keys in a steady order."""
    return msgspec.json.format(msgspec.json.encode(schema(), order="deterministic")).decode() + "\n"


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8")
