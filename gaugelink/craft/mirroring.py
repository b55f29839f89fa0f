"""What one quadrant of a reed asks of its mirrors.

What was taken off one place is proposed for the places that mirror it. Where one is already over,
the style decides: the others stop at the target, or they go down to meet it within a limit.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Literal

import msgspec

from gaugelink.craft.advice import whole_take
from gaugelink.craft.balance import difference_word
from gaugelink.craft.measured import Measured, told, trusted
from gaugelink.craft.reed import Station
from gaugelink.craft.rules import Balancing, Risk
from gaugelink.craft.style import Stop
from gaugelink.craft.verdict import verdict

Why = Literal["follow", "stop", "meet"]


class Proposal(msgspec.Struct, frozen=True):
    """Something proposed for a place because of one that mirrors it."""

    station: Station
    zone: str
    because: Station
    """The place that mirrors it."""
    why: Why
    """`follow` what was done there; or it is over, and the style says `stop` or `meet`."""
    take: int
    """Whole hundredths; 0 to leave it as it is."""
    text: str


def mirrors(station: Station) -> tuple[Station, ...]:
    """The places that should measure what this one does: on its blade, over it, across from it."""
    found = (station.mirrored(), station.opposite(), station.opposite().mirrored())
    return tuple(dict.fromkeys(each for each in found if each.key != station.key))


def follow(
    stops: Sequence[Stop],
    before: Mapping[str, Measured],
    now: Mapping[str, Measured],
    uncertainty: float,
    removal: float,
    risk: Risk,
) -> tuple[Proposal, ...]:
    """For what was taken off since `before`, the same for the places that mirror it.

    Only what is told from the uncertainty counts as taken, and what a mirror has lost itself is
    not proposed again. Nothing is proposed that the mirror's own target forbids: as in `advise`,
    never below the target, nor past the risk. In the order of the walk; the largest for each place.
    """
    gone = _gone(stops, before, now, uncertainty)
    found: dict[str, Proposal] = {}
    for stop, measured, mirror in _pairs(stops, now):
        lost = gone.get(mirror.station.key, 0.0) - max(0.0, gone.get(stop.station.key, 0.0))
        said = verdict(measured.hundredths, stop.target, stop.tolerance, measured.resolution)
        if said.word != "take" or lost < 1:
            continue
        most = whole_take(
            measured,
            float(stop.target),
            float(stop.target - stop.tolerance),
            uncertainty,
            removal,
            risk.under,
        )
        take = min(int(lost), most)
        key = stop.station.key
        if take and take > (found[key].take if key in found else 0):
            text = f"{stop.station.spoken}: take {take}, as was done at {mirror.station.spoken}"
            found[key] = Proposal(stop.station, stop.zone, mirror.station, "follow", take, text)
    return tuple(found.values())


def settle_over(
    stops: Sequence[Stop],
    taken: Mapping[str, Measured],
    uncertainty: float,
    removal: float,
    risk: Risk,
    rule: Balancing,
) -> tuple[Proposal, ...]:
    """For places whose mirror is already over: what the style's choice means for them.

    `stop` leaves them to their target. `meet` lets them down to the thinner one, but by no more
    than `meet_within` below their target; the risk then is that of ending under that new target by
    more than its tolerance. A place is only named when it is thicker than its mirror as far as can
    be told, and once: for the thinnest of its mirrors.
    """
    found: dict[str, tuple[Decimal, Proposal]] = {}
    for stop, measured, mirror in _pairs(stops, taken):
        thin = taken[mirror.station.key]
        said = verdict(thin.hundredths, mirror.target, mirror.tolerance, thin.resolution)
        apart = float(measured.hundredths - thin.hundredths)
        spread = (trusted(measured, uncertainty) ** 2 + trusted(thin, uncertainty) ** 2) ** 0.5
        if said.word != "over" or difference_word(apart, spread, rule) != "thicker":
            continue
        key = stop.station.key
        if key in found and found[key][0] <= thin.hundredths:
            continue
        over = f"{mirror.station.spoken} is over {said.amount} and cannot be put back"
        if rule.when_over == "stop":
            text = f"{over}: stop {stop.station.spoken} at its target, {stop.target:f}"
            proposal = Proposal(stop.station, stop.zone, mirror.station, "stop", 0, text)
        else:
            proposal = _meet(stop, measured, mirror, thin, uncertainty, removal, risk, rule, over)
        found[key] = (thin.hundredths, proposal)
    order = [stop.station.key for stop in stops]
    return tuple(found[key][1] for key in sorted(found, key=order.index))


def _meet(
    stop: Stop,
    measured: Measured,
    mirror: Stop,
    thin: Measured,
    uncertainty: float,
    removal: float,
    risk: Risk,
    rule: Balancing,
    over: str,
) -> Proposal:
    limit = stop.target - rule.meet_within
    floor = max(thin.hundredths, limit)
    take = whole_take(
        measured, float(floor), float(floor - stop.tolerance), uncertainty, removal, risk.under
    )
    place = stop.station.spoken
    if not take:
        text = f"{over}: {place} cannot safely be brought nearer; leave it"
    else:
        short = " at most, and they stay apart" if thin.hundredths < limit else ""
        text = f"{over}: take {take} at {place} to meet it, down to {floor:f}{short}"
    return Proposal(stop.station, stop.zone, mirror.station, "meet", take, text)


def _pairs(
    stops: Sequence[Stop], taken: Mapping[str, Measured]
) -> Iterator[tuple[Stop, Measured, Stop]]:
    """Every measured place with each measured one that mirrors it and has the same target."""
    by_key = {stop.station.key: stop for stop in stops if stop.station.key in taken}
    for key, stop in by_key.items():
        for station in mirrors(stop.station):
            mirror = by_key.get(station.key)
            if mirror is not None and (mirror.zone, mirror.target) == (stop.zone, stop.target):
                yield stop, taken[key], mirror


def _gone(
    stops: Sequence[Stop],
    before: Mapping[str, Measured],
    now: Mapping[str, Measured],
    uncertainty: float,
) -> dict[str, float]:
    """Hundredths that are gone at each place, 0 where that cannot be told."""
    found = {}
    for key in (stop.station.key for stop in stops):
        if key in before and key in now:
            lost = float(before[key].hundredths - now[key].hundredths)
            spread = (
                trusted(before[key], uncertainty) ** 2 + trusted(now[key], uncertainty) ** 2
            ) ** 0.5
            found[key] = lost if told(lost, spread) else 0.0
    return found
