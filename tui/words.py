"""Numbers and places in the words of the bench; and the words on safety."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from gaugelink.craft.reed import parse_key

if TYPE_CHECKING:
    from gaugelink.craft.advice import Step
    from gaugelink.craft.verdict import Verdict
    from gaugelink.daemon.messages import Tendency, Water

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

FIRST = "①"
"""Where to scrape first: the sign on the reed, and before the step in words."""

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


def first_places(step: Step | None) -> frozenset[str]:
    """The stations to begin with: what is to be taken, or measured again where nothing is.

    Those that it says to leave, or to stay off, are not among them.
    """
    stations = step.stations if step is not None else ()
    wanted = "take" if any(each.word == "take" for each in stations) else "unsure"
    return frozenset(each.station.key for each in stations if each.word == wanted)


def seconds(time: float) -> str:
    """A time: `0.6 s`, and in whole seconds once nobody looks for tenths."""
    return f"{time:.1f} s" if time < 100 else f"{time:.0f} s"


def port(name: str) -> str:
    """Where an indicator is: `serial port /dev/ttyUSB0`, `Bluetooth C0:FF:EE:00:00:01`."""
    kind, _, rest = name.partition(":")
    match kind:
        case "ble":
            return f"Bluetooth {rest}"
        case "replay":
            return f"replay of {rest}"
    return f"serial port {name}"


def ago(time: float | None) -> str:
    """How long ago something was, in seconds, minutes or hours: `0.1 s ago`; `never` for None."""
    if time is None:
        return "never"
    if time < 120:
        return f"{seconds(time)} ago"
    return f"{time / 60:.0f} min ago" if time < 7200 else f"{time / 3600:.0f} h ago"


def count(number: int, thing: str) -> str:
    """How many of a thing, whose plural takes an s: `1 byte`, `no bad frames`."""
    return f"{number or 'no'} {thing}{'' if number == 1 else 's'}"


def water(known: Water) -> str:
    """Where a reed is, and for how long: `out of the water 4 min, wet`; empty for nothing known."""
    if known.wet == "dry":
        return "measured dry"
    if known.where == "unknown":
        return ""
    where = "in the water" if known.where == "in" else "out of the water"
    wet = ", wet" if known.wet == "wet" else ""
    return f"{where} {known.minutes or 'under 1'} min{wet}"


def dip_again(reed: str, minutes: int) -> str:
    """The reminder in a sentence."""
    return f"{reed}: {count(minutes, 'minute')} out of the water; dip it before you measure on"


def remaining(verdict: Verdict | None) -> str:
    """What is to be done with a watched zone: `6 hundredths to take`."""
    if verdict is None:
        return "nothing measured yet"
    match verdict.word:
        case "take":
            return f"{count(verdict.amount, 'hundredth')} to take"
        case "leave":
            return "on target: leave it"
        case "over":
            return f"over by {count(verdict.amount, 'hundredth')}: put the knife down"


def trend(tendency: Tendency, per_minute: float | None) -> str:
    """How a watched zone changes: `falling 2 a minute`, `steady`, `can't tell yet`."""
    if tendency == "unknown" or per_minute is None:
        return "can't tell yet"
    if tendency == "steady":
        return "steady"
    speed = abs(per_minute)
    return f"{tendency} {speed:.0f} a minute" if speed >= 1 else f"{tendency} {speed:.1f} a minute"


def times(number: int) -> str:
    """How often: `once`, `twice`, `3 times`."""
    return {1: "once", 2: "twice"}.get(number, f"{number} times")
