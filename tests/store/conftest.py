"""A user from whom files can be protected."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

NOBODY = 65534
"""The number that systems give to the user who owns nothing."""


@pytest.fixture
def own_place() -> Iterator[Path]:
    """A folder of an ordinary user's; for its time root, from whom nothing is protected, is one."""
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        root = os.geteuid() == 0
        if root:
            os.chown(place, NOBODY, NOBODY)
            os.seteuid(NOBODY)
        try:
            yield place
        finally:
            if root:
                os.seteuid(0)
