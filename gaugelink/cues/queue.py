"""What is still worth saying, and in which order: a queue that never lags behind the hands.

A cue is about the moment. When the next one comes before it was begun, it is replaced; when it
has waited too long, it is dropped; and what must be known cuts off what is only nice to know.
"""

from __future__ import annotations

import msgspec

from gaugelink.cues.cue import Cue, Kind

AHEAD, HANDS, NOTICE, URGENT = range(4)
"""Degrees of urgency: where to go, what the hands have just done, what is true until it is dealt
with, and what stops the work."""

URGENCY: dict[Kind, int] = {
    "next": AHEAD,
    "take": HANDS,
    "leave": HANDS,
    "refused": HANDS,
    "zone": HANDS,
    "back": NOTICE,
    "soak": NOTICE,
    # Cane cannot be put back, and without a link nothing is captured: both stop the knife.
    "over": URGENT,
    "lost": URGENT,
}

LIMITS = {AHEAD: 3.0, HANDS: 3.0, NOTICE: 10.0, URGENT: 30.0}
"""Seconds after which a cue that was not begun is dropped. By then the hands are at another
station; what is urgent has only other urgent cues before it, and is as true as before."""


class Waiting(msgspec.Struct, frozen=True):
    """A cue that was offered and has not been begun."""

    cue: Cue
    at: float
    """Seconds, monotonic, at which it was offered."""


class CueQueue(msgspec.Struct, frozen=True):
    """What sounds now and what waits, the first to be said first."""

    waiting: tuple[Waiting, ...] = ()
    sounding: Cue | None = None


def urgent(cue: Cue) -> bool:
    """Whether the cue is never dropped for another, and cuts off what is not urgent."""
    return URGENCY[cue.kind] == URGENT


def limit(cue: Cue) -> float:
    """Seconds that the cue may wait."""
    return LIMITS[URGENCY[cue.kind]]


def offer(queue: CueQueue, cue: Cue, now: float) -> CueQueue:
    """The queue with one more cue, offered at `now`.

    It replaces those that wait and are as urgent or less; an urgent one gives way only to a newer
    one about the same thing. Those that wait are sorted by urgency, then by age.
    """
    kept = [each for each in queue.waiting if not _replaced(each.cue, cue)]
    kept.append(Waiting(cue, now))
    kept.sort(key=lambda each: -URGENCY[each.cue.kind])
    return CueQueue(tuple(kept), queue.sounding)


def cuts(queue: CueQueue) -> bool:
    """Whether what sounds must be cut off now for what waits."""
    if queue.sounding is None or not queue.waiting:
        return False
    return urgent(queue.waiting[0].cue) and not urgent(queue.sounding)


def begin(queue: CueQueue, now: float) -> CueQueue:
    """The queue once what sounded has ended: the next cue sounds, or none if none is left.

    Whatever has waited longer than its limit is dropped.
    """
    fresh = [each for each in queue.waiting if now - each.at <= limit(each.cue)]
    if not fresh:
        return CueQueue()
    return CueQueue(tuple(fresh[1:]), fresh[0].cue)


def _replaced(old: Cue, new: Cue) -> bool:
    if old.about == new.about:
        return True
    return not urgent(old) and URGENCY[old.kind] <= URGENCY[new.kind]
