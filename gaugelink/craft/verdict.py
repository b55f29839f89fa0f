"""What to do at a station, and at a zone: take, leave or over.

Cane cannot be put back, so the rounding is one-sided. What is asked to be taken is never more
than what the reading shows above the target; what lies below is never made to look smaller.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import Literal

import msgspec

Word = Literal["take", "leave", "over"]


class Verdict(msgspec.Struct, frozen=True):
    """A word, and for take and over an amount in whole hundredths of a millimetre."""

    word: Word
    amount: int = 0

    def __str__(self) -> str:
        return self.word if self.word == "leave" else f"{self.word} {self.amount}"


LEAVE = Verdict("leave")


def verdict(
    hundredths: Decimal, target: Decimal, tolerance: Decimal, resolution: Decimal
) -> Verdict:
    """The verdict on a thickness; all four are in hundredths of a millimetre.

    A place is on target within the tolerance, both limits included. An indicator whose last digit
    is worth more than twice the tolerance cannot tell that finely: half its step then counts as
    the tolerance, for a reading stands for every thickness within half a step of it. Less than a
    whole hundredth too much is left too: the least that can be asked for would take more.
    """
    excess = hundredths - target
    if abs(excess) <= max(tolerance, resolution / 2):
        return LEAVE
    if excess > 0:
        whole = int(excess.to_integral_value(ROUND_FLOOR))
        return Verdict("take", whole) if whole else LEAVE
    return Verdict("over", int((-excess).to_integral_value(ROUND_CEILING)))


def zone_verdict(verdicts: Iterable[Verdict | None]) -> Verdict | None:
    """One verdict for a zone from those of its stations, None for a station not yet measured.

    Over when any is over, by the worst; else take, by the most that any needs; leave only when
    every station has been measured and is on target; None while that is open.
    """
    known = list(verdicts)
    for word in ("over", "take"):
        amounts = [each.amount for each in known if each is not None and each.word == word]
        if amounts:
            return Verdict(word, max(amounts))
    return LEAVE if known and None not in known else None
