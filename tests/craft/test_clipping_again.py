"""A crow that alone is on its goal does not end the clipping while all together are flat."""

from __future__ import annotations

import random
from decimal import Decimal

from gaugelink.craft.clipping import Crowed, Goal, goal_of_day, learn_slope, plan
from gaugelink.craft.rules import Clipping

RULE = Clipping()
GOAL = goal_of_day(RULE, 2)


def crowed(length: str, cents: float) -> Crowed:
    return Crowed(Decimal(length), Decimal(str(cents)))


def why(*points: Crowed, goal: Goal = GOAL) -> str:
    return plan(points, goal, learn_slope([], RULE), RULE, Decimal(69), 0.05).why


def test_one_crow_alone_is_believed() -> None:
    assert why(crowed("71", -4)) == "on goal"


def test_a_crow_that_the_others_contradict_is_heard_again() -> None:
    flat = [crowed("71.00", -12), crowed("70.98", -11), crowed("70.96", -12)]
    found = plan([*flat, crowed("70.94", -4)], GOAL, learn_slope([], RULE), RULE, Decimal(69), 0.05)
    assert found.why == "again"
    assert found.step is None
    assert found.text.endswith("on its goal, but flat by its earlier crows; crow it again")
    # Heard often enough, it is believed.
    assert why(*flat, *[crowed("70.94", -2)] * 6) == "on goal"
    # A clip as large as should bring it there is no contradiction.
    assert why(crowed("71.00", -14), crowed("70.50", -3)) == "on goal"


def test_fewer_reeds_are_left_flat() -> None:
    """Against stopping at the first crow that is on its goal; crows scatter as the style says."""

    def ends(heeded: bool) -> int:
        flat = 0
        for seed in range(60):
            draw = random.Random(seed)
            length, base, per_mm = Decimal(72), -draw.uniform(25, 40), draw.uniform(18, 32)
            points: list[Crowed] = []
            while len(points) < 80:
                true = base + per_mm * float(72 - length)
                points.append(Crowed(length, round(Decimal(true + draw.gauss(0, 4)), 1)))
                found = plan(points, GOAL, learn_slope([], RULE), RULE, Decimal(69), 0.05)
                if found.step is not None:
                    length -= found.step
                elif not (heeded and found.why == "again"):
                    break
            flat += true < -5
        return flat

    assert ends(heeded=True) < 0.85 * ends(heeded=False)
