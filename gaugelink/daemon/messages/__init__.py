"""Every message of the protocol, one struct each.

One JSON object a line, UTF-8. The hub speaks first, with a `greeting`. A client sends requests,
which carry a number of the client's choice in `id`; each is answered by one `reply` or `error`
with that number. Between them come events. A follower that reads slowly gets the newest
`reading` of each gauge and in `missed` how many it did not get; every other event, and every
reading that was pushed, is delivered; of `raw` bytes only the newest. When a client ends
its side, what it asked for is still carried out and answered, then the hub ends the connection.

Lengths in `hundredths`, `resolution` and targets are hundredths of a millimetre, written as JSON
numbers with exactly the digits known. `at` is seconds on the hub's monotonic clock.

The JSON Schema made from these structs is shipped as `protocol.schema.json`.
"""

from __future__ import annotations

from typing import get_args

import msgspec

from gaugelink.daemon.messages.base import Greeting, Message
from gaugelink.daemon.messages.batches import (
    BatchAnswer,
    BatchRequest,
    Best,
    BestReeds,
    BestStation,
    Drafted,
    DraftStyle,
    GoesWith,
    SortBatch,
    SortedBlank,
    Span,
)
from gaugelink.daemon.messages.craft import (
    Advice,
    Advise,
    Agenda,
    Changes,
    ClipPlan,
    Compared,
    CraftAnswer,
    CraftRequest,
    Moved,
    MovedPlace,
    Needed,
    NoteCrow,
    NoteLength,
    NoteStrokes,
    NoteTest,
    Overnight,
    PlanClip,
    PlayingTest,
    RackEntry,
    ReedChange,
    SpineSeen,
    StrokeAdvice,
    StrokeRate,
    Strokes,
    Tests,
)
from gaugelink.daemon.messages.gauges import (
    GaugeEvent,
    GaugeGone,
    RawEvent,
    ReadingEvent,
    Taught,
    TaughtAnswer,
    TeachingEvent,
)
from gaugelink.daemon.messages.requests import (
    AddGauge,
    AddReed,
    Diagnose,
    Follow,
    Gauges,
    Learn,
    Open,
    Press,
    Rack,
    ReedHistory,
    RemoveGauge,
    RenameGauge,
    Request,
    Soak,
    StartWalk,
    StopTeaching,
    StopWalk,
    StopWatching,
    Styles,
    Teach,
    UpdateReed,
    Walk,
    WatchZone,
    Where,
)
from gaugelink.daemon.messages.requests import AnyRequest as _Requests
from gaugelink.daemon.messages.results import (
    CaptureRecord,
    Diagnosis,
    GaugeCounts,
    History,
    ReedRecord,
    StyleSummary,
)
from gaugelink.daemon.messages.trust import (
    AddToSeries,
    AskSeries,
    AskTrust,
    BeginSeries,
    ListSeries,
    Series,
    SeriesReading,
    SolveSeries,
    Trusted,
    TrustRequest,
)
from gaugelink.daemon.messages.walks import (
    AtBench,
    Captured,
    Refused,
    SoakReminder,
    StopView,
    Tendency,
    WalkEvent,
    Water,
    ZoneAlert,
    ZoneView,
    ZoneWatched,
)

PROTOCOL = 1
"""Raised when a client of the version before would misread something."""

LONGEST_LINE = 65_536
"""Bytes in a line to the hub; a longer one is answered with an error and the line is closed."""


class Error(Message, frozen=True, tag="error"):
    """A request that was not done: one line that says what is wrong and what to do."""

    text: str
    id: int | None = None
    """Null when the line could not be understood; the connection is then closed."""


Event = (
    ReadingEvent
    | RawEvent
    | GaugeEvent
    | GaugeGone
    | TeachingEvent
    | Taught
    | WalkEvent
    | Captured
    | Refused
    | ZoneAlert
    | ZoneWatched
    | SoakReminder
    | Advice
)
Answer = (
    GaugeEvent
    | WalkEvent
    | ZoneWatched
    | Captured
    | Refused
    | ReedRecord
    | CaptureRecord
    | History
    | StyleSummary
    | Diagnosis
    | Series
    | Trusted
    | CraftAnswer
    | BatchAnswer
)
AnyRequest = _Requests | TrustRequest | CraftRequest | BatchRequest


class Reply(Message, frozen=True, tag="reply"):
    """The answer to the request of that number."""

    id: int
    result: Answer | list[Answer] | None = None


AnyMessage = Greeting | Event | Answer | Reply | Error

# A number in JSON, not a text: other programs do sums with it. The digits are exact all the same.
encoder = msgspec.json.Encoder(decimal_format="number")
request_decoder: msgspec.json.Decoder[AnyRequest] = msgspec.json.Decoder(AnyRequest)
message_decoder: msgspec.json.Decoder[AnyMessage] = msgspec.json.Decoder(AnyMessage)
event_types: tuple[type, ...] = get_args(Event)
