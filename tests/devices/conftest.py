"""A Bluetooth simulator for all tests of the devices: one for each would take a minute in all."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.devices.bluetooth_peer import TEXTS, Simulator, running


@pytest.fixture(scope="session")
def shared() -> Iterator[Simulator]:
    """One indicator that presents sint32 in 0.01 mm, and one for each text format of `TEXTS`."""
    also = [option for name in TEXTS.values() for option in ("--also", name)]
    with running(*also) as simulator:
        yield simulator
