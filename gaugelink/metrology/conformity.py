"""Whether a value keeps its limits, when it is known only to within its uncertainty.

After JCGM 106:2012 (the role of measurement uncertainty in conformity assessment): what is known
of a value is a normal distribution about the reading, and the share of it within the limits is the
probability that the value conforms. Between what is shown and what is disproved lies "cannot tell".
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from statistics import NormalDist
from typing import Literal

import msgspec

from gaugelink.metrology.samples import MetrologyError

Outcome = Literal["pass", "fail", "cannot tell"]
Finding = Literal["take", "leave", "over", "cannot tell"]

RISK = 0.05
"""The risk of a wrong decision that is put up with when none is asked for.

One in twenty is the default of ISO 14253-1:2017 (from memory)."""

ROUNDING = 1e-9
"""Hundredths: what binary floats may add to a target and its tolerance."""

FINE = 1e-9
"""How finely an acceptance limit is sought, as a fraction of the tolerance."""

MOST_READINGS = 10**6
"""More readings than this are no answer: nobody makes them."""


class Limits(msgspec.Struct, frozen=True):
    """A tolerance interval, or an acceptance interval; both limits belong to it."""

    lower: float | None = None
    """None when there is no limit on this side."""
    upper: float | None = None


class Shares(msgspec.Struct, frozen=True):
    """The probabilities that the value lies below, within and above the limits."""

    below: float
    within: float
    above: float


class Decision(msgspec.Struct, frozen=True):
    """A decision about one value."""

    outcome: Outcome
    probability: float
    """The conformance probability: that the value lies within the limits."""


class Judgement(msgspec.Struct, frozen=True):
    """What the readings of a station say about what to do there."""

    finding: Finding
    take: float
    """The probability that the thickness is above the target's tolerance."""
    leave: float
    """The probability that it is on target."""
    over: float
    """The probability that it is below the tolerance."""


class Risks(msgspec.Struct, frozen=True):
    """How often a rule goes wrong over a whole production, as fractions of all that is made."""

    consumer: float
    """Accepted, and out of tolerance."""
    producer: float
    """Rejected, and within tolerance."""


def shares(value: float, uncertainty: float, limits: Limits) -> Shares:
    """How the distribution about `value` with standard uncertainty `uncertainty` is shared out.

    JCGM 106:2012, clause 7. With no uncertainty the value is what it says, and a value on a limit
    is within. Raises MetrologyError for limits the wrong way round and values that are not finite.
    """
    _check(value, uncertainty, limits)
    below = 0.0 if limits.lower is None else _beyond(limits.lower - value, uncertainty)
    above = 0.0 if limits.upper is None else _beyond(value - limits.upper, uncertainty)
    return Shares(below, max(0.0, 1.0 - below - above), above)


def decide(value: float, uncertainty: float, limits: Limits, risk: float = RISK) -> Decision:
    """Pass, fail or cannot tell, wrong with a probability of `risk` at most.

    It passes when it conforms with a probability of 1 - `risk` or more (guarded acceptance,
    JCGM 106 8.3.2), and fails when it lies beyond one and the same limit with such a probability
    (guarded rejection, 8.3.3; so too ISO 14253-1). A value known so badly that it may lie beyond
    either limit has not been shown to fail. `risk` lies above 0 and below 0.5.
    """
    _check_risk(risk)
    found = shares(value, uncertainty, limits)
    if found.within >= 1 - risk:
        return Decision("pass", found.within)
    if max(found.below, found.above) >= 1 - risk:
        return Decision("fail", found.within)
    return Decision("cannot tell", found.within)


def judge(
    mean: float, uncertainty: float, target: float, tolerance: float, risk: float = RISK
) -> Judgement:
    """Take, leave, over or cannot tell for a station; all lengths in hundredths of a millimetre.

    `uncertainty` is the standard uncertainty of `mean`. A finding is made when it is right with a
    probability of 1 - `risk` or more.
    """
    _check_risk(risk)
    allowed = tolerance + ROUNDING if tolerance >= 0 else tolerance
    found = shares(mean, uncertainty, Limits(target - allowed, target + allowed))
    finding: Finding = "cannot tell"
    if found.above >= 1 - risk:
        finding = "take"
    elif found.within >= 1 - risk:
        finding = "leave"
    elif found.below >= 1 - risk:
        finding = "over"
    return Judgement(finding, take=found.above, leave=found.within, over=found.below)


def guard_band(uncertainty: float, risk: float = RISK) -> float:
    """How far inside one limit a value must lie to pass, by the standard uncertainty.

    JCGM 106 8.3.2 writes it as r U with U twice the standard uncertainty: r = 1 for a risk of
    2.28 %, r = 0.8224 for 5 %. It is exact where the other limit is far away.
    """
    _check_risk(risk)
    _check(0.0, uncertainty, Limits())
    return NormalDist().inv_cdf(1 - risk) * uncertainty


def acceptance_limits(limits: Limits, uncertainty: float, risk: float = RISK) -> Limits | None:
    """Where a value must lie to pass; None when no value can.

    Exact for two limits too: then both tails count, which is felt when the uncertainty is not
    small beside the tolerance.
    """
    band = guard_band(uncertainty, risk)
    if limits.lower is None or limits.upper is None:
        return Limits(
            None if limits.lower is None else limits.lower + band,
            None if limits.upper is None else limits.upper - band,
        )
    half = (limits.upper - limits.lower) / 2
    middle = limits.lower + half
    if decide(middle, uncertainty, limits, risk).outcome != "pass":
        return None
    if uncertainty == 0:
        return limits
    near, far = 0.0, half
    while far - near > FINE * half:
        step = (near + far) / 2
        if decide(middle + step, uncertainty, limits, risk).outcome == "pass":
            near = step
        else:
            far = step
    return Limits(middle - near, middle + near)


def how_many_more(
    mean: float,
    made: int,
    repeatability: float,
    systematic: float,
    limits: Limits,
    risk: float = RISK,
) -> int | None:
    """How many more readings would settle whether the value keeps its limits, if the mean stays.

    `made` readings gave `mean`; `repeatability` is the standard deviation of one, best known from
    a study; `systematic` is the standard uncertainty that all readings share, which no repeating
    lessens. 0 when it is settled already, None when no number of readings can settle it. All in
    one unit. Raises MetrologyError unless at least one reading was made.
    """
    if made < 1:
        raise MetrologyError("no reading was made yet; make one to begin with")
    for each in (repeatability, systematic):
        _check(mean, each, limits)

    def settled(count: int) -> bool:
        known = math.hypot(repeatability / math.sqrt(count), systematic)
        return decide(mean, known, limits, risk).outcome != "cannot tell"

    if settled(made):
        return 0
    most = made + MOST_READINGS
    if not settled(most):
        return None
    # Less uncertainty never unsettles a decision, so the smallest count can be bisected.
    few, enough = made, most
    while enough - few > 1:
        middle = (few + enough) // 2
        if settled(middle):
            enough = middle
        else:
            few = middle
    return enough - made


def global_risks(
    density: Callable[[float], float],
    reach: tuple[float, float],
    uncertainty: float,
    tolerance: Limits,
    acceptance: Limits,
) -> Risks:
    """Consumer's and producer's risk of a rule, over a production with the given density.

    `density` is the probability density of the true values, all of which lie in `reach`;
    `uncertainty` is the standard uncertainty of one measurement, normal and above 0; `acceptance`
    is where a measured value is accepted. JCGM 106:2012, 9.5.
    """
    from scipy.integrate import quad  # type: ignore[import-untyped]

    if not uncertainty > 0:
        raise MetrologyError("a risk comes from an uncertainty above 0; give one")

    def accepted(true: float) -> float:
        return density(true) * shares(true, uncertainty, acceptance).within

    def rejected(true: float) -> float:
        found = shares(true, uncertainty, acceptance)
        return density(true) * (found.below + found.above)

    low, high = reach
    lower = low if tolerance.lower is None else min(max(tolerance.lower, low), high)
    upper = high if tolerance.upper is None else min(max(tolerance.upper, low), high)

    def integral(of: Callable[[float], float], start: float, end: float) -> float:
        # Narrow pieces, so that no edge of the acceptance interval is stepped over.
        pieces = max(1, min(500, math.ceil((end - start) / (2 * uncertainty))))
        edges = [start + (end - start) * each / pieces for each in range(pieces + 1)]
        return math.fsum(quad(of, one, two)[0] for one, two in itertools.pairwise(edges))

    return Risks(
        consumer=integral(accepted, low, lower) + integral(accepted, upper, high),
        producer=integral(rejected, lower, upper),
    )


def _beyond(distance: float, uncertainty: float) -> float:
    """The probability that a normal value with mean `distance` is above 0."""
    if uncertainty == 0:
        return float(distance > 0)
    # erfc keeps the digits of a small tail, which 1 - erf would lose.
    return 0.5 * math.erfc(-distance / uncertainty / math.sqrt(2))


def _check(value: float, uncertainty: float, limits: Limits) -> None:
    if not (math.isfinite(value) and math.isfinite(uncertainty) and uncertainty >= 0):
        raise MetrologyError(
            f"value {value:g}, uncertainty {uncertainty:g}: give finite numbers, the second from 0"
        )
    if limits.lower is not None and limits.upper is not None and limits.lower > limits.upper:
        raise MetrologyError(
            f"lower limit {limits.lower:g} is above upper {limits.upper:g}; give them in order"
        )


def _check_risk(risk: float) -> None:
    if not 0 < risk < 0.5:
        raise MetrologyError(f"a risk lies above 0 and below 0.5, {risk:g} does not")
