"""What a number can mean: its unit and implied decimal places, by what an indicator can show."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

import msgspec

from gaugelink.devices.teaching import policy
from gaugelink.units import HUNDREDTHS, factor

SENT: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(("mm", "millimetre", "millimeter", "millimetres", "millimeters"), ("mm",)),
    **dict.fromkeys(("um", "µm", "μm", "Âµm", "micron", "microns", "Î¼m"), ("um",)),
    **dict.fromkeys(("in", "inch", "inches", '"', "i", "''"), ("in",)),
    **dict.fromkeys(("thou", "mil", "mils"), ("thou",)),
    **dict.fromkeys(("m", "metre", "meter"), ("m", "mm")),
    "cm": ("cm",),
    "ft": ("ft",),
}
"""Words for units of length, in lower case, and what they can mean; a lone M is often mm.

The last bytes of two-byte characters arrive one by one: a mu after a circumflexed letter.
"""

INCHES = ("in", "thou", "ft")

_METRIC = {-1: 0.02, -2: 1.0, -3: 1.0, -4: 0.3, -5: 0.03}
_INCH = {-2: 0.02, -3: 0.5, -4: 0.5, -5: 0.4, -6: 0.05}
"""How usual a last digit of that power of ten is, in millimetres and in inches."""

_ODD = 0.003
"""The same for a last digit that no indicator has."""

_UNSENT_MARKED = {"mm": 1.0, "in": 0.35, "um": 0.03, "thou": 0.05, "cm": 0.01, "m": 0.02}
_UNSENT_POWER = {"m": 0.6, "mm": 0.5, "in": 0.1}
_UNSENT_WHOLE = {
    (HUNDREDTHS, 0): 0.6,
    ("um", 0): 0.6,
    ("um", 1): 0.5,
    ("um", 2): 0.1,
    ("thou", 0): 0.1,
    ("thou", 1): 0.12,
    ("thou", 2): 0.06,
}
"""How often an indicator that sends no unit means that one (and these implied decimals)."""


class Written(msgspec.Struct, frozen=True):
    """How numbers were written."""

    largest: Decimal
    """The largest, without its sign, as written."""
    places: int | None
    """Decimal places, None without a mark."""
    power: bool
    """Written with a power of ten."""
    width: int
    """Digits of a number filled up with zeros, else 0."""
    moved: bool
    fives: bool = False
    """The last digit was only ever 0 or 5."""


class Meaning(msgspec.Struct, frozen=True):
    """One way to understand the digits."""

    unit: str
    decimals: int
    share: float
    """Its probability among the meanings that were weighed; less when all are far-fetched."""

    def says(self, text: str) -> str:
        """In plain words, with a number as it was sent."""
        words = {HUNDREDTHS: "hundredths of a millimetre", "mm": "millimetres", "um": "micrometres"}
        words |= {"in": "inches", "thou": "thousandths of an inch", "m": "metres"}
        unit = words.get(self.unit, self.unit)
        if not self.decimals:
            return f"{text} is in {unit}"
        return f"{text} is in {unit}, with the last {self.decimals} digits behind the point"


def millimetres(unit: str) -> float:
    """Millimetres in one of a unit."""
    return float(factor(unit)) / 100


def meanings(written: Written, sent: Iterable[str] = ()) -> list[Meaning]:
    """The meanings worth considering, likeliest first; none when nothing is credible.

    `sent` are the units that the word with the number can mean, none when no unit is sent.
    """
    weighed = []
    for unit, decimals, prior in _options(written, list(sent)):
        weight = prior * _reach(written, unit, decimals) * _step(written, unit, decimals)
        if weight > 0:
            weighed.append((weight, unit, decimals))
    total = sum(weight for weight, _, _ in weighed)
    # When even the best is far-fetched, something that is not among them may be meant.
    total = max(total, policy.FAR_FETCHED) if weighed else total
    found = [Meaning(unit, decimals, weight / total) for weight, unit, decimals in weighed]
    return sorted(found, key=lambda each: -each.share)


def _options(written: Written, sent: Sequence[str]) -> list[tuple[str, int, float]]:
    if sent:
        if written.places is not None or written.power:
            return [(unit, 0, 1.0) for unit in sent]
        # With its unit a whole number mostly means what it says, when that is credible at all.
        return [(unit, d, 3.0 if d == 0 else 1.0) for unit in sent for d in range(6)]
    if written.power:
        return [(unit, 0, prior) for unit, prior in _UNSENT_POWER.items()]
    if written.places is not None:
        return [(unit, 0, prior) for unit, prior in _UNSENT_MARKED.items()]
    return [(unit, decimals, prior) for (unit, decimals), prior in _UNSENT_WHOLE.items()]


def _reach(written: Written, unit: str, decimals: int) -> float:
    """How well the largest value fits an indicator's travel, when a hand moved its spindle."""
    reach = float(written.largest) * 10.0**-decimals * millimetres(unit)
    if reach > policy.CREDIBLE:
        return 0.0
    if reach > policy.TRAVEL:
        return 0.25
    if not written.moved:
        return 1.0 if reach > 0.05 else 0.5
    if reach >= 1:
        return 1.0
    if reach >= 0.3:
        return 0.5
    return 0.2 if reach >= 0.05 else 0.08


def _step(written: Written, unit: str, decimals: int) -> float:
    """How usual the resolution is, and the count of digits before the point."""
    if written.power:
        return 1.0
    power = -(written.places if written.places is not None else decimals)
    inches = unit in INCHES
    shift = {"um": -3, HUNDREDTHS: -2, "cm": 1, "m": 3, "thou": -3}.get(unit, 0)
    usual = (_INCH if inches else _METRIC).get(power + shift, _ODD)
    if inches and written.fives:
        usual *= 2
    if written.width and written.places is None:
        before = written.width + power + shift
        usual *= 1.0 if 1 <= before <= 3 else 0.5
    return usual


def of_word(word: str) -> tuple[str, ...]:
    """The units that a word can mean, none when it is no unit of length.

    Quotation marks around a word do not count.
    """
    word = word.strip("\"'") or word
    return SENT.get(word.strip().lower(), SENT.get(word.strip(), ()))
