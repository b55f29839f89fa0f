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

LONGEST_FIGURES = len("-1270")


def number(hundredths: Decimal) -> str:
    """A thickness as it is said: whole hundredths, with a tenth only when there is one.

    The screen has no room for more; the verdict is made from all digits.
    """
    tenths = hundredths.quantize(TENTH) + 0  # a zero has no sign
    whole = tenths.to_integral_value()
    return f"{whole:f}" if tenths == whole else f"{tenths:f}"


def figures(hundredths: Decimal | None) -> str:
    """A thickness for the readout, which has room for five signs at most; `--` for none.

    Tenths are left out from a millimetre on, and below minus a tenth of one: there the spindle is
    in the air, or the gauge is not zeroed.
    """
    if hundredths is None:
        return "--"
    fine = -TENTH * 99 < hundredths < 100
    text = number(hundredths if fine else hundredths.to_integral_value())
    return text if len(text) <= LONGEST_FIGURES else "--"


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
    """A time: `0.6 s`, and in whole seconds once nobody looks for tenths."""
    return f"{time:.1f} s" if time < 100 else f"{time:.0f} s"
