"""How far a gauge can be trusted: series of readings that prove and study it, and what follows.

Plans and results are JSON that only the analysis reads, so that no screen has to load it before its
first paint: those of `gaugelink.metrology.plans`.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

import msgspec

from gaugelink.daemon.messages.base import Message
from gaugelink.daemon.messages.requests import Request

SeriesKind = Literal["proof", "crossed", "placing"]
"""A proof with shims or blocks; a study of several people; a study of one person alone."""


class BeginSeries(Request, frozen=True, kw_only=True, tag="begin-series"):
    """Keep a plan to prove or to study a gauge; answered with its `series`, still empty."""

    gauge: str
    plan: msgspec.Raw
    """An object whose `type` is the kind of series."""


class AddToSeries(Request, frozen=True, kw_only=True, tag="add-to-series"):
    """Keep the next reading of a series; answered when it is durable."""

    series: int
    number: int
    """Its place in the plan, from 0; one out of turn is refused."""
    hundredths: Decimal
    resolution: Decimal
    unit: str
    value: str
    """The digits as sent, in `unit`."""


class SolveSeries(Request, frozen=True, kw_only=True, tag="solve-series"):
    """Work out what a series amounts to and keep that, once; answered with its `series`."""

    series: int


class AskSeries(Request, frozen=True, kw_only=True, tag="series"):
    """A series with its readings; answered with a `series`."""

    series: int


class ListSeries(Request, frozen=True, kw_only=True, tag="list-series"):
    """Every series, oldest first; answered with a list of `series`, without their readings."""

    gauge: str = ""
    """Those of one gauge only, also under its earlier names."""


class AskTrust(Request, frozen=True, kw_only=True, tag="trust"):
    """How unsure a reading of a gauge is; answered with a `trust`."""

    gauge: str
    resolution: Decimal
    """Hundredths of a millimetre: what counts for a gauge that was never proved nor studied."""


class SeriesReading(msgspec.Struct, frozen=True):
    """A reading of a series."""

    hundredths: Decimal
    resolution: Decimal
    unit: str
    value: str
    taken_at: str
    """UTC, ISO 8601."""


class Series(Message, frozen=True, tag="series"):
    """A series as it stands."""

    series: int
    kind: SeriesKind
    gauge: str
    """What its gauge was called then."""
    begun_at: str
    plan: msgspec.Raw
    made: int
    """How many of its readings there are."""
    of: int
    """How many it needs."""
    found_at: str | None
    """When it was solved; null while it is open."""
    result: msgspec.Raw
    """What it amounts to: a proof or a study; null while it is open."""
    readings: tuple[SeriesReading, ...] = ()
    """In the order of the plan; empty in a list of series."""


class Trusted(Message, frozen=True, tag="trust"):
    """How unsure one reading of a gauge is; lengths are hundredths of a millimetre."""

    gauge: str
    standard: float
    """The standard uncertainty of one reading."""
    repeatability: float
    """The part of it that measuring again makes smaller."""
    systematic: float
    """The part that it does not."""
    source: Literal["proof and study", "proof", "study", "last digit"]
    """What it is known from."""
    proved_at: str = ""
    """UTC; empty when the gauge was never proved."""
    old: bool = False
    """Whether it was proved too long ago."""


TrustRequest = BeginSeries | AddToSeries | SolveSeries | AskSeries | ListSeries | AskTrust
