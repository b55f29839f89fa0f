"""Write the protocol's JSON Schema: `python -m gaugelink.daemon.schema`."""

from __future__ import annotations

from pathlib import Path

import msgspec

from gaugelink.daemon.messages import schema

FILE = Path(__file__).with_name("protocol.schema.json")


def text() -> str:
    """The schema as it is shipped, keys in a steady order."""
    return msgspec.json.format(msgspec.json.encode(schema(), order="deterministic")).decode() + "\n"


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8")
