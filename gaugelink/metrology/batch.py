"""All that is asked of a batch at once: its chart, its limits, its scatter, its order.

What cannot be answered, for want of values or of differences between them, says so and leaves the
rest standing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

import msgspec

from gaugelink.metrology.capability import Capability, capability
from gaugelink.metrology.charts import IndividualsChart, individuals
from gaugelink.metrology.conformity import Limits
from gaugelink.metrology.normality import Normality, normality
from gaugelink.metrology.outliers import FEWEST_FOR_SEVERAL, Grubbs, Several, grubbs, several
from gaugelink.metrology.samples import MetrologyError, Value
from gaugelink.metrology.trend import Order, order
from gaugelink.metrology.words import (
    Sentences,
    Things,
    say_capability,
    say_chart,
    say_grubbs,
    say_normality,
    say_order,
    say_several,
)

T = TypeVar("T")


class Batch(msgspec.Struct, frozen=True):
    """What a batch shows; None for what could not be found out."""

    chart: IndividualsChart
    capability: Capability | None
    """Against the limits; None, too, when there are none."""
    normality: Normality | None
    order: Order | None
    one_out: Grubbs | None
    """Whether one stands out: of fewer than fifteen."""
    several_out: Several | None
    """Which stand out: of fifteen and more."""
    open: tuple[str, ...]
    """Why something could not be found out."""


def look_at(values: Sequence[Value], limits: Limits | None) -> Batch:
    """Everything about values in the order in which they were made, all in one unit.

    MetrologyError for fewer than five.
    """
    chart = individuals(values)
    reasons: list[str] = []

    def tried(find: Callable[[], T]) -> T | None:
        try:
            return find()
        except MetrologyError as error:
            if str(error) not in reasons:
                reasons.append(str(error))
            return None

    many = len(values) >= FEWEST_FOR_SEVERAL
    return Batch(
        chart,
        None if limits is None else tried(lambda: capability(values, limits)),
        tried(lambda: normality(values)),
        tried(lambda: order(values)),
        None if many else tried(lambda: grubbs(values)),
        tried(lambda: several(values)) if many else None,
        tuple(reasons),
    )


def say_batch(found: Batch, things: Things) -> tuple[Sentences, Sentences]:
    """What a batch shows, in words, and the figures of it."""
    told = [
        _both(lambda figures: say_chart(found.chart, things, figures)),
        _of(found.capability, lambda each, figures: say_capability(each, things, figures)),
        _of(found.several_out, lambda each, figures: say_several(each, things, figures)),
        _of(found.one_out, lambda each, figures: say_grubbs(each, things, figures)),
        _of(found.order, lambda each, figures: say_order(each, things, figures)),
        _of(found.normality, lambda each, figures: say_normality(each, things, figures)),
    ]
    words = [each for said, _ in told for each in said]
    figures = [each for _, said in told for each in said]
    return (*words, *(f"not found out: {each}" for each in found.open)), tuple(figures)


def _both(say: Callable[[bool], Sentences]) -> tuple[Sentences, Sentences]:
    """The words, and what is added to them when figures are asked for."""
    words = say(False)
    return words, say(True)[len(words) :]


def _of(found: T | None, say: Callable[[T, bool], Sentences]) -> tuple[Sentences, Sentences]:
    return ((), ()) if found is None else _both(lambda figures: say(found, figures))
