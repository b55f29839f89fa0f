"""Cues in words, short enough to be over before the hands have moved on.

The words are those of the screen: a thickness in whole hundredths with a tenth only when there is
one, the blade before the side before the height, and the verdict as `take 3` is read aloud.
"""

from __future__ import annotations

import re
from decimal import Decimal

import msgspec

from gaugelink.craft.reed import Station
from gaugelink.craft.verdict import Verdict
from gaugelink.cues.cue import (
    Captured,
    Cue,
    LinkBack,
    LinkLost,
    NextStation,
    OnTarget,
    Refused,
    ZoneOver,
)

CAPTURED = "{blade}, {place}, {value}, {verdict}"


class Words(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A wording for each kind of cue, with named fields in braces."""

    take: str = CAPTURED
    leave: str = CAPTURED
    over: str = CAPTURED
    refused: str = "{lead}, {text}"
    zone: str = "{zone} on target, leave it"
    next: str = "next, {blade}, {place}, {height}"
    lost: str = "{gauge}, link down"
    back: str = "{gauge}, link up again"
    soak: str = "soak {reed} again, it is {minutes} minutes out of the water"


TENTH = Decimal("0.1")

# fmt: off
_SMALL = [
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
    "ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen",
    "eighteen", "nineteen",
]
_TENS = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
# fmt: on


def phrase(cue: Cue, words: Words) -> str:
    """What is said of a cue; the wordings must be such as `settings.check` lets through."""
    wording: str = getattr(words, cue.kind)
    return _tidy(wording.format_map(fields(cue)))


def fields(cue: Cue) -> dict[str, str]:
    """The fields that the wording of such a cue may name, with what they say here."""
    if isinstance(cue, Captured):
        return {
            **_where(cue.station, cue.zone),
            "value": number(cue.hundredths),
            "verdict": verdict(cue.verdict),
            "amount": number(Decimal(cue.verdict.amount)),
        }
    if isinstance(cue, ZoneOver):
        # Worded as a capture that is over is, without what a whole zone does not have.
        nowhere = dict.fromkeys(("blade", "side", "height", "station", "value"), "")
        said = {"verdict": verdict(cue.verdict), "amount": number(Decimal(cue.verdict.amount))}
        return {**nowhere, "zone": cue.zone, "place": cue.zone, **said}
    if isinstance(cue, NextStation):
        return _where(cue.station, cue.zone)
    if isinstance(cue, Refused):
        return {"lead": "not taken" if cue.capture else "", "text": cue.text}
    if isinstance(cue, OnTarget):
        return {"zone": cue.zone}
    if isinstance(cue, LinkLost | LinkBack):
        return {"gauge": cue.gauge}
    return {"reed": cue.reed, "minutes": number(Decimal(cue.minutes))}


def _where(station: Station, zone: str) -> dict[str, str]:
    height = spelled(Decimal(repr(station.height)))
    return {
        "blade": station.blade,
        "side": station.side,
        "zone": zone,
        "place": place(station, zone),
        "height": height,
        "station": f"{station.blade}, {station.side}, {height}",
    }


def place(station: Station, zone: str) -> str:
    """The side and the zone as one says them together: `left window`, `top of the slope, left`.

    A zone's title names all its stations, so its plural is taken off where one of them is meant,
    and a title that says that it lies in the middle is not told so twice.
    """
    words = zone.lower().split()
    if station.side == "middle":
        if {"middle", "spine"} & set(words):
            return zone
    elif re.search("[^aius]s$", zone):
        zone = zone[:-1]
    return f"{zone}, {station.side}" if "of" in words else f"{station.side} {zone}".rstrip()


def verdict(found: Verdict) -> str:
    """A verdict in words: `take three`, `leave`, `over two`."""
    if found.word == "leave":
        return found.word
    return f"{found.word} {number(Decimal(found.amount))}"


def number(hundredths: Decimal) -> str:
    """A thickness in words, rounded to tenths as on the screen: `forty-three and a half`."""
    return spelled(hundredths.quantize(TENTH))


def spelled(value: Decimal) -> str:
    """A finite number in English words with all its digits: `minus twelve point two five`.

    A half is said as one. From a thousand on the whole part stands in figures, which a speech
    engine reads by itself.
    """
    sign = "minus " if value < 0 else ""
    whole, _, rest = f"{abs(value):f}".partition(".")
    rest = rest.rstrip("0")
    if rest == "5":
        return sign + ("a half" if int(whole) == 0 else f"{_whole(int(whole))} and a half")
    digits = "".join(f" {_SMALL[int(digit)]}" for digit in rest)
    return sign + _whole(int(whole)) + (f" point{digits}" if rest else "")


def _whole(value: int) -> str:
    if value < 20:
        return _SMALL[value]
    if value < 100:
        tens, ones = divmod(value, 10)
        return _TENS[tens - 2] + (f"-{_SMALL[ones]}" if ones else "")
    if value < 1000:
        hundreds, rest = divmod(value, 100)
        return f"{_SMALL[hundreds]} hundred" + (f" and {_whole(rest)}" if rest else "")
    return str(value)


def _tidy(text: str) -> str:
    """One line without the marks that an empty field leaves behind; no mark is read out as such."""
    text = re.sub(r"[\s·]+", " ", text)
    text = re.sub(r"\s*([,;:])(\s*[,;:])*", r"\1", text)
    text = re.sub(r"([,;:])(?=\S)", r"\1 ", text)
    return text.strip(" ,;:")
