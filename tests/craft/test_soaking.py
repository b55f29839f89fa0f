"""Soaking: reminded once, wet only as long as can be answered for."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft.measured import CraftError
from gaugelink.craft.rules import Soaking
from gaugelink.craft.soaking import Bath, condition, dip, lift, out_for, remind

RULE = Soaking(soak=3, remind=5, wet_for=10)
MINUTE = 60.0


def soaked() -> Bath:
    """Out of the water since minute 4, wet."""
    return lift(dip(Bath(), 0, RULE), 4 * MINUTE, RULE)


def test_wet_after_its_soak_and_for_a_while_out_of_the_water() -> None:
    bath = dip(Bath(), 0, RULE)
    assert condition(bath, 2.9 * MINUTE, RULE) == "unknown"
    assert condition(bath, 3 * MINUTE, RULE) == "wet"
    out = lift(bath, 4 * MINUTE, RULE)
    assert condition(out, 14 * MINUTE, RULE) == "wet"
    assert condition(out, 14.1 * MINUTE, RULE) == "unknown"


def test_a_dip_while_it_is_wet_keeps_it_wet_and_a_late_one_must_soak() -> None:
    again = dip(soaked(), 10 * MINUTE, RULE)
    assert condition(lift(again, 10.1 * MINUTE, RULE), 15 * MINUTE, RULE) == "wet"
    late = dip(soaked(), 20 * MINUTE, RULE)
    assert condition(lift(late, 20.1 * MINUTE, RULE), 21 * MINUTE, RULE) == "unknown"
    assert condition(late, 23 * MINUTE, RULE) == "wet"


def test_the_reminder_comes_once_for_each_time_out_of_the_water() -> None:
    bath, said = remind(soaked(), 8.9 * MINUTE, RULE)
    assert said is None
    bath, said = remind(bath, 9 * MINUTE, RULE)
    assert said is not None
    assert said.text == "out of the water for 5 minutes: dip it again before you measure"
    assert said.out_for == 5 * MINUTE
    bath, said = remind(bath, 12 * MINUTE, RULE)
    assert said is None
    bath = lift(dip(bath, 13 * MINUTE, RULE), 14 * MINUTE, RULE)
    assert remind(bath, 18.9 * MINUTE, RULE)[1] is None
    assert remind(bath, 19 * MINUTE, RULE)[1] is not None


def test_of_what_nothing_is_known_nothing_is_said() -> None:
    assert condition(Bath(), 100.0, RULE) == "unknown"
    assert out_for(Bath(), 100.0) is None
    assert remind(Bath(), 1e9, RULE) == (Bath(), None)
    assert lift(Bath(), 5.0, RULE) == Bath()
    inside = dip(Bath(), 5.0, RULE)
    assert dip(inside, 9.0, RULE) == inside
    assert out_for(inside, 9.0) is None


events = st.lists(
    st.tuples(st.sampled_from(["dip", "lift", "look"]), st.floats(0, 20 * MINUTE)), max_size=20
)


@given(events)
def test_never_wet_without_a_soak_nor_reminded_twice(steps: list[tuple[str, float]]) -> None:
    bath, now, in_since, longest, reminders, outings = Bath(), 0.0, None, 0.0, 0, 0
    for what, later in steps:
        now += later
        if what == "dip":
            if in_since is None:
                in_since = now
            bath = dip(bath, now, RULE)
        elif what == "lift":
            if in_since is not None:
                longest, in_since = max(longest, now - in_since), None
                outings += 1
            bath = lift(bath, now, RULE)
        else:
            bath, said = remind(bath, now, RULE)
            reminders += said is not None
        if condition(bath, now, RULE) == "wet":
            in_now = now - in_since if in_since is not None else 0.0
            assert max(longest, in_now) >= 3 * MINUTE
        assert reminders <= outings


def test_a_clock_that_runs_backwards_is_told() -> None:
    for ask in (
        lambda: dip(soaked(), 0, RULE),
        lambda: condition(soaked(), 0, RULE),
        lambda: out_for(soaked(), float("nan")),
    ):
        with pytest.raises(CraftError, match="the clock ran backwards"):
            ask()
