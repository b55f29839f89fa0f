"""Captured values for the tests of the craft, and strategies that draw them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal

import msgspec
from hypothesis import strategies as st

from gaugelink.craft.style import Stop, find

TENTH = Decimal("0.1")
LONG = find("millrace-long")
STAGES = [(style, stage.name) for style in map(find, ("millrace-long", "quayside-short",
          "quayside-cane")) for stage in style.stages]  # fmt: skip


class Value(msgspec.Struct, frozen=True):
    """A captured thickness, in hundredths."""

    hundredths: Decimal
    resolution: Decimal = TENTH


def value(hundredths: float | str, resolution: str = "0.1") -> Value:
    return Value(Decimal(str(hundredths)), Decimal(resolution))


def at_target(stops: Sequence[Stop], **off: float) -> dict[str, Value]:
    """Every stop on its target, but for what `off` says by station key."""
    return {
        stop.station.key: value(float(stop.target) + off.get(stop.station.key, 0.0))
        for stop in stops
    }


def around(stops: Sequence[Stop], spread: int = 12) -> st.SearchStrategy[dict[str, Value]]:
    """Values up to `spread` hundredths from the targets, in tenths, for some of the stops."""
    by_key = {stop.station.key: stop for stop in stops}

    def captured(tenths: Mapping[str, int]) -> dict[str, Value]:
        return {key: Value(by_key[key].target + TENTH * off) for key, off in tenths.items()}

    keys = st.sampled_from(sorted(by_key))
    off = st.integers(-10 * spread, 10 * spread)
    return st.dictionaries(keys, off, max_size=len(by_key)).map(captured)


uncertainties = st.floats(0, 3)
