"""Times as the maker's clock shows them, and where that is."""

from __future__ import annotations

from datetime import datetime


def local(text: str) -> str:
    """A UTC time of the hub's in local time, with its zone: `2031-05-04 14:00 CEST`."""
    return f"{datetime.fromisoformat(text).astimezone():%Y-%m-%d %H:%M %Z}"
