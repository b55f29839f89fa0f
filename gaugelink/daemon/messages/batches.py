"""What a client asks and is told of many reeds at once: sorting, and what the best have alike."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

import msgspec

from gaugelink.craft.reed import Station
from gaugelink.daemon.messages.base import Message
from gaugelink.daemon.messages.requests import Request


class SortBatch(Request, frozen=True, kw_only=True, tag="sort-batch"):
    """The blanks of a batch, the most promising first; answered with a list of `sorted-blank`."""

    batch: str
    stage: str = ""
    """Empty: the first of the style."""
    uncertainty: float | None = None
    """The standard uncertainty of one value in hundredths, null for the usual one."""


class Best(Request, frozen=True, kw_only=True, tag="best"):
    """What the graded reeds of a style have alike; answered with a `best-reeds`."""

    style: str = ""
    """Empty: the one whose reeds have grades."""
    at_least: Decimal = Decimal(4)
    """The mean grade from which a reed counts as good."""
    coverage: float = 0.9
    """The share of good reeds that an interval is to hold."""
    confidence: float = 0.95


class DraftStyle(Request, frozen=True, kw_only=True, tag="draft-style"):
    """Write a style drafted from the good reeds among the user's own; answered with a `drafted`.

    Never over another one.
    """

    name: str
    style: str = ""
    at_least: Decimal = Decimal(4)
    coverage: float = 0.9
    confidence: float = 0.95
    day: str
    """Of the maker's calendar, for the note in the file."""


class SortedBlank(Message, frozen=True, tag="sorted-blank"):
    """Where a blank stands in its batch."""

    name: str
    place: int
    """From 1, the most promising."""
    group: Literal["sound", "thin", "too few"]
    off: int | None
    """Hundredths from the target, on average."""
    uneven: int | None
    """Hundredths between mirrored places, on average."""
    measured: int
    reasons: list[str]


class Span(msgspec.Struct, frozen=True):
    """A tolerance interval in hundredths: it holds the coverage asked for of all such reeds."""

    lower: float
    upper: float
    confidence: float


class GoesWith(msgspec.Struct, frozen=True):
    """How a station's thickness goes with the grade, over all graded reeds."""

    reeds: int
    rho: float
    """Spearman's, from -1 (thinner is better) over 0 to 1 (thicker is better)."""
    lower: float
    upper: float
    p: float
    told: bool
    more: int | None
    """Reeds more that would tell it; 0 when it is told, null when nothing is seen at all."""


class BestStation(msgspec.Struct, frozen=True):
    """A station of a stage on the good reeds."""

    stage: str
    station: Station
    zone: str
    good: int
    """Good reeds that were measured there."""
    mean: float | None
    normal: Span | None
    """If thickness scatters normally; null with fewer than two good reeds."""
    free: Span | None
    """However it scatters; null with too few good reeds, see `free_needs`."""
    goes_with: GoesWith | None
    """Null with too few graded reeds, or when either is all the same."""
    text: str


class BestReeds(Message, frozen=True, tag="best-reeds"):
    """What the graded reeds of a style have alike."""

    style: str
    graded: list[str]
    good: list[str]
    at_least: Decimal
    coverage: float
    confidence: float
    free_needs: int
    """Good reeds that an interval needs which minds no shape."""
    stations: list[BestStation]
    lines: list[str]
    """What can be said of it, in words."""


class Drafted(Message, frozen=True, tag="drafted"):
    """A style that was drafted."""

    name: str
    path: str
    toml: str
    lines: list[str]
    """What was drafted and what was left as it was, in words."""


BatchRequest = SortBatch | Best | DraftStyle
BatchAnswer = SortedBlank | BestReeds | Drafted
