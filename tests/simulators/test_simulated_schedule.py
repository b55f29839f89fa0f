"""Samples are due by their number."""

from __future__ import annotations

import pytest

from simulators.schedule import MOST_BEHIND, Schedule


def test_lateness_does_not_add_up() -> None:
    schedule = Schedule(20, 100.0)
    now = 100.0
    for _ in range(1000):
        now += schedule.wait(now) + 0.003  # each sleep ends late
    assert now == pytest.approx(100 + 1000 / 20, abs=0.004)


def test_a_short_delay_is_caught_up() -> None:
    schedule = Schedule(20, 0.0)
    assert schedule.wait(0.0) == pytest.approx(0.05)
    assert [schedule.wait(0.2) for _ in range(4)] == pytest.approx([0, 0, 0, 0.05])


def test_a_long_delay_is_let_go() -> None:
    schedule = Schedule(20, 0.0)
    late = 60.0 + MOST_BEHIND
    assert schedule.wait(late) == 0
    assert schedule.wait(late) == pytest.approx(0.05)
