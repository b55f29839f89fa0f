"""False settles and bias on simulated approaches, against the bare rule "three alike in a row".

What counts is what a press gets that comes 0.3 s after the rule first says that it stands still, a
practised reaction (assumed). It is false when the spindle had not yet touched the reed, or when the
value is more than two hundredths from the truth. The bias is the mean of value minus truth over
the true ones.
"""

from __future__ import annotations

import itertools
import statistics
from collections.abc import Iterator
from decimal import Decimal

from gaugelink.capture.settling import Settler
from gaugelink.craft.style import Settling
from gaugelink.reading import Reading
from simulators.approach import CALM, FUMBLING, Approached, Hand, approaches
from tests.benchmarks.table import Row

APPROACHES = 1000
STEP = Decimal(1)
"""Hundredths: the last digit of an indicator of 0.01 mm."""

REACTION = 0.3
"""Seconds from the screen's or the ear's "settled" to the press; assumed."""

FALSE_BY = 2.0
"""Hundredths from the truth."""


def readings(approached: Approached) -> Iterator[Reading]:
    """The approach as an indicator of 0.01 mm says it."""
    for seq, (at, value) in enumerate(approached.samples):
        hundredths = Decimal(round(value))
        yield Reading("g", seq, at, hundredths, STEP, "mm", str(hundredths))


def settled_by_rule(settler: Settler, approached: Approached) -> list[tuple[float, float]]:
    """When and at what a press captures by our rule; each contact once."""
    found: list[tuple[float, float]] = []
    used = settler.contact
    pressed = float("inf")
    for reading in readings(approached):
        settled = settler.feed(reading)
        if settled.value is None or settled.contact == used:
            continue
        pressed = min(pressed, settled.at + REACTION)
        if settled.at >= pressed:
            used, pressed = settled.contact, float("inf")
            found.append((settled.at, float(settled.value)))
    return found


def settled_barely(approached: Approached) -> list[tuple[float, float]]:
    """What the bare rule captures: three alike in a row, anew after a change of six."""
    found: list[tuple[float, float]] = []
    last: list[Decimal] = []
    pressed = float("inf")
    for reading in readings(approached):
        last = [*last[-2:], reading.hundredths]
        value = float(reading.hundredths)
        anew = not found or abs(value - found[-1][1]) >= 6
        if anew and len(last) == 3 and len(set(last)) == 1:
            pressed = min(pressed, reading.at + REACTION)
            if reading.at >= pressed:
                pressed = float("inf")
                found.append((reading.at, value))
    return found


class Tally:
    """What came of many approaches."""

    def __init__(self) -> None:
        self.false = 0
        self.missed = 0
        self.errors: list[float] = []

    def add(self, approached: Approached, settles: list[tuple[float, float]]) -> None:
        right = False
        for at, value in settles:
            error = value - approached.thickness
            if at >= approached.touched and abs(error) <= FALSE_BY:
                right = True
                self.errors.append(error)
            else:
                self.false += 1
        self.missed += not right

    def said(self) -> str:
        """In short: false and missed a thousand, and the bias."""
        per = 1000 / APPROACHES
        bias = statistics.fmean(self.errors) if self.errors else float("nan")
        return f"{self.false * per:.0f} / {self.missed * per:.0f} / {bias:+.2f}"


def compared(hand: Hand, rate: float) -> tuple[Tally, Tally]:
    """The bare rule's tally and ours over the same approaches."""
    bare, ours = Tally(), Tally()
    settler = Settler(Settling())
    for approached in itertools.islice(approaches(1, rate, hand), APPROACHES):
        bare.add(approached, settled_barely(approached))
        ours.add(approached, settled_by_rule(settler, approached))
    return bare, ours


def measure() -> list[Row]:
    rows = []
    for hand, whose in ((CALM, "a practised hand"), (FUMBLING, "a fumbling hand")):
        for rate in (10.0, 20.0, 100.0):
            bare, ours = compared(hand, rate)
            rows.append(
                Row(
                    f"settling, {whose}, {rate:g} a second: false/missed per 1000, bias",
                    bare.said(),
                    ours.said(),
                    None if not bare.false else ours.false / bare.false,
                    "false at most 1" if hand is CALM else "-",
                    hand is not CALM or ours.false <= APPROACHES / 1000,
                )
            )
    return rows
