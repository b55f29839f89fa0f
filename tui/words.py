"""Numbers and places in the words of the bench; and the words on safety."""

from __future__ import annotations

from decimal import Decimal

from gaugelink.craft.reed import parse_key

SAFETY = (
    (
        "The knife",
        "Reed knives are razor-sharp. Cut away from fingers and body, plaque in, in good light, "
        "and stop when tired.",
    ),
    ("Dust and hygiene", "Cane dust and shared reeds are a hygiene matter."),
    ("The numbers", "Readings are advice. The maker's ear and judgement decide."),
)

TENTH = Decimal("0.1")


def number(hundredths: Decimal) -> str:
    """A thickness as it is said: whole hundredths, with a tenth only when there is one.

    The screen has no room for more; the verdict is made from all digits.
    """
    tenths = hundredths.quantize(TENTH)
    whole = tenths.to_integral_value()
    return f"{whole:f}" if tenths == whole else f"{tenths:f}"


def target(wanted: Decimal, tolerance: Decimal) -> str:
    """A target with its tolerance: `18 ±1`."""
    return f"{number(wanted)} ±{number(tolerance)}"


def place(key: str) -> str:
    """A station in words, `crossed, left, 53`; the key itself when it names no place."""
    try:
        return parse_key(key).spoken
    except ValueError:
        return key


def seconds(time: float) -> str:
    """A short time: `0.6 s`."""
    return f"{time:.1f} s"
