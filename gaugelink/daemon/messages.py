"""Every message of the protocol, one struct each.

One JSON object a line, UTF-8. The hub speaks first, with a `greeting`. A client sends requests,
which carry a number of the client's choice in `id`; each is answered by one `reply` or `error`
with that number. Between them come events. A follower that reads slowly gets the newest
`reading` of each gauge and in `missed` how many it did not get; every other event, and every
reading that was pushed, is delivered. When a client ends its side, what it asked for is still
carried out and answered, then the hub ends the connection.

Lengths in `hundredths`, `resolution` and targets are hundredths of a millimetre, written as JSON
numbers with exactly the digits known. `at` is seconds on the hub's monotonic clock.

The JSON Schema made from these structs is shipped as `protocol.schema.json`.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

import msgspec

from gaugelink.capture.settling import Standing
from gaugelink.capture.walk import Gesture, Trigger, Why
from gaugelink.craft.verdict import Verdict

PROTOCOL = 1
"""Raised when a client of the version before would misread something."""

LONGEST_LINE = 65_536
"""Bytes in a line to the hub; a longer one is answered with an error and the line is closed."""


class Request(
    msgspec.Struct, frozen=True, tag_field="do", forbid_unknown_fields=True, kw_only=True
):
    """What a client asks for."""

    id: int = 0


class Open(Request, frozen=True, kw_only=True, tag="open"):
    """The first line on a TCP connection: the token from the hub's address file."""

    token: str


class Follow(Request, frozen=True, kw_only=True, tag="follow"):
    """Send events from now on: walks and links always, readings of these gauges (all if empty)."""

    readings: bool = True
    gauges: list[str] = []


class AddGauge(Request, frozen=True, kw_only=True, tag="add-gauge"):
    """Connect an indicator, or do nothing when the gauge of that name is at that port already.

    A gauge of that name that is at another port, and neither up nor in use, is moved.
    """

    name: str = ""
    """Empty: that of the gauge at the port, or a free one."""
    port: str
    description: str = ""
    """Name of a description or path of a TOML file; empty: recognise it among the known ones."""


class RemoveGauge(Request, frozen=True, kw_only=True, tag="remove-gauge"):
    """Let go of a gauge's port, and do not connect it again by itself."""

    name: str


class Gauges(Request, frozen=True, kw_only=True, tag="gauges"):
    """The gauges; answered with a list of `gauge`."""


class Diagnose(Request, frozen=True, kw_only=True, tag="diagnose"):
    """Counts of each gauge, the followers and the store; answered with a `diagnosis`."""


class Styles(Request, frozen=True, kw_only=True, tag="styles"):
    """The styles; answered with a list of `style-summary`."""


class AddReed(Request, frozen=True, kw_only=True, tag="add-reed"):
    """Put a reed on the rack."""

    name: str
    style: str
    batch: str = ""
    note: str = ""


class UpdateReed(Request, frozen=True, kw_only=True, tag="update-reed"):
    """Move a reed to another state, or note something about it."""

    name: str
    state: str = ""
    note: str | None = None


class Rack(Request, frozen=True, kw_only=True, tag="rack"):
    """The reeds; answered with a list of `reed`."""

    all: bool = False
    """With those handed over or set aside."""


class ReedHistory(Request, frozen=True, kw_only=True, tag="reed-history"):
    """Every capture of a reed, superseded ones too; answered with a `reed-history`."""

    name: str


class StartWalk(Request, frozen=True, kw_only=True, tag="start-walk"):
    """Begin a stage's walk at a bench, or resume the one that was left unfinished.

    A reed that is not on the rack yet is put there. At a bench where another client walks, only
    the very same walk can be joined. A walk that captures by dwell is left when the client that
    began it goes.
    """

    reed: str
    style: str
    stage: str
    gauge: str
    trigger: Trigger = "press"
    bench: str = "bench"
    anew: bool = False
    """Begin from the first station even if an unfinished walk of this stage is there."""


class StopWalk(Request, frozen=True, kw_only=True, tag="stop-walk"):
    """Leave the bench's walk as it stands; it can be resumed."""

    bench: str = "bench"


class Press(Request, frozen=True, kw_only=True, tag="press"):
    """A gesture at a bench; answered when the capture is durable, or with what was refused."""

    gesture: Gesture
    bench: str = "bench"
    station: str = ""
    """The station key for `goto`."""


class Walk(Request, frozen=True, kw_only=True, tag="walk"):
    """The walk at a bench; answered with a `walk`, or null when there is none."""

    bench: str = "bench"


AnyRequest = (
    Open
    | Follow
    | AddGauge
    | RemoveGauge
    | Gauges
    | Diagnose
    | Styles
    | AddReed
    | UpdateReed
    | Rack
    | ReedHistory
    | StartWalk
    | StopWalk
    | Press
    | Walk
)


class Message(msgspec.Struct, frozen=True, tag_field="is"):
    """What the hub sends."""


class Greeting(Message, frozen=True, tag="greeting"):
    """The first line of a connection."""

    protocol: int
    version: str
    """gaugelink's own version."""


class ReadingEvent(Message, frozen=True, tag="reading"):
    """A reading of a gauge, and whether the spindle stands still."""

    gauge: str
    seq: int
    at: float
    hundredths: Decimal
    resolution: Decimal
    unit: str
    value: str
    """The digits as sent, in `unit`."""
    standing: Standing
    settled: Decimal | None
    """The settled value, the median of the still stretch; null while moving."""
    still: float
    """Seconds for which it has stood still."""
    status: str = ""
    pushed: bool = False
    """Sent by the indicator's own button: it says nothing until the next press."""
    missed: int = 0
    """Readings of this gauge that this follower did not get, since the last one it got."""


class GaugeEvent(Message, frozen=True, tag="gauge"):
    """A gauge and its link, sent when either changes."""

    name: str
    port: str
    description: str
    """Name of the description, empty while it is being recognised."""
    title: str
    link: Literal["opening", "up", "down"]
    reason: str = ""
    """Why the link is down, and what to do; empty while it is up."""
    retry_in: float = 0.0
    """Seconds until the link is tried again."""
    status: str = ""
    """The indicator's own word, such as `battery low`."""


class StopView(msgspec.Struct, frozen=True):
    """A station of a walk, with what was captured there."""

    station: str
    """Its key, `blade/height/across`."""
    zone: str
    target: Decimal
    tolerance: Decimal
    hundredths: Decimal | None = None
    verdict: Verdict | None = None
    in_pass: int = 0
    """The pass of its newest capture, 0 when there is none."""
    queued: bool = True
    """Belongs to the present pass."""
    skipped: bool = False


class ZoneView(msgspec.Struct, frozen=True):
    """A zone of a walk: all its stations in one verdict, null while some are unmeasured."""

    name: str
    title: str
    verdict: Verdict | None


class WalkEvent(Message, frozen=True, tag="walk"):
    """A walk, whole, sent whenever it changes."""

    bench: str
    gauge: str
    reed: str
    style: str
    stage: str
    title: str
    """The stage's title."""
    note: str
    """What the maker does at this stage."""
    trigger: Trigger
    stops: list[StopView]
    zones: list[ZoneView]
    at_stop: int | None
    """Index in `stops` of the station to measure now; null when the pass is done."""
    next_stop: int | None
    in_pass: int
    paused: bool
    done: int
    """Stations captured or skipped in this pass."""
    of: int
    """Stations in this pass."""
    to_go: int
    """Hundredths still to be taken off, over all stations measured."""
    complete: bool
    """Every station is measured and none has anything left to take."""
    dwell: float
    """Seconds of standing still that make a capture by dwell."""
    still_for: float = 0.0
    """Seconds of standing still after which a reading counts as settled."""
    length: float | None = None
    """The reed's length at this stage, in millimetres from the bottom of the tube, if the style
    says it."""
    tip_line: float | None = None
    """Where the line of the tip is scratched, likewise."""
    after: str = ""
    """The name of the stage that follows, empty after the last."""
    after_title: str = ""
    overnight: bool = False
    """The stage that follows belongs to another day: the reed rests first."""


class Captured(Message, frozen=True, tag="captured"):
    """A capture that is on disk."""

    capture: int
    """Its number in the store."""
    bench: str
    gauge: str
    reed: str
    stage: str
    station: str
    zone: str
    hundredths: Decimal
    resolution: Decimal
    target: Decimal
    tolerance: Decimal
    verdict: Verdict
    in_pass: int
    supersedes: int | None
    """The capture that this one takes the place of, in the same pass."""
    taken_at: str
    """UTC, ISO 8601."""
    at: float


class Refused(Message, frozen=True, tag="refused"):
    """A press that captured nothing, and why."""

    bench: str
    why: Why
    text: str


class ZoneAlert(Message, frozen=True, tag="zone"):
    """A zone has just come on target: every station of it is measured and is to be left."""

    bench: str
    reed: str
    zone: str
    title: str


class ReedRecord(Message, frozen=True, tag="reed"):
    """A reed on the rack."""

    name: str
    style: str
    batch: str
    state: str
    stage: str
    """The stage it stands at, by name; empty before the first."""
    added_at: str
    changed_at: str
    captures: int
    note: str = ""


class CaptureRecord(Message, frozen=True, tag="capture"):
    """A capture as the store keeps it."""

    capture: int
    reed: str
    style: str
    stage: str
    walk: int
    in_pass: int
    station: str
    zone: str
    hundredths: Decimal
    resolution: Decimal
    target: Decimal
    tolerance: Decimal
    verdict: Verdict
    gauge: str
    taken_at: str
    at: float
    superseded_by: int | None


class History(Message, frozen=True, tag="reed-history"):
    """A reed with all its captures, oldest first."""

    reed: ReedRecord
    captures: list[CaptureRecord]


class StyleSummary(Message, frozen=True, tag="style-summary"):
    """A style in short."""

    name: str
    title: str
    scrape: str
    stages: list[str]
    note: str = ""


class GaugeCounts(msgspec.Struct, frozen=True):
    """How well a gauge is heard."""

    name: str
    port: str
    description: str
    link: str
    readings: int
    per_second: float
    last_heard: float | None
    """Seconds ago."""
    refused: dict[str, int]
    """Frames that became no reading, by reason."""
    last_refused: str
    """The newest of them, its bytes written out."""
    reopened: int
    """How often the link was opened anew."""


class Diagnosis(Message, frozen=True, tag="diagnosis"):
    """What `gaugelink diagnose` shows."""

    version: str
    protocol: int
    up_for: float
    """Seconds."""
    store: str
    schema: int
    captures: int
    followers: int
    missed: int
    """Readings not delivered to followers that were too slow."""
    gauges: list[GaugeCounts]


class Error(Message, frozen=True, tag="error"):
    """A request that was not done: one line that says what is wrong and what to do."""

    text: str
    id: int | None = None
    """Null when the line could not be understood; the connection is then closed."""


Event = ReadingEvent | GaugeEvent | WalkEvent | Captured | Refused | ZoneAlert
Answer = (
    GaugeEvent
    | WalkEvent
    | Captured
    | Refused
    | ReedRecord
    | CaptureRecord
    | History
    | StyleSummary
    | Diagnosis
)


class Reply(Message, frozen=True, tag="reply"):
    """The answer to the request of that number."""

    id: int
    result: Answer | list[Answer] | None = None


AnyMessage = (
    Greeting
    | ReadingEvent
    | GaugeEvent
    | WalkEvent
    | Captured
    | Refused
    | ZoneAlert
    | ReedRecord
    | CaptureRecord
    | History
    | StyleSummary
    | Diagnosis
    | Reply
    | Error
)

# A number in JSON, not a text: other programs do sums with it. The digits are exact all the same.
encoder = msgspec.json.Encoder(decimal_format="number")
request_decoder: msgspec.json.Decoder[AnyRequest] = msgspec.json.Decoder(AnyRequest)
message_decoder: msgspec.json.Decoder[AnyMessage] = msgspec.json.Decoder(AnyMessage)
event_types: tuple[type, ...] = (
    ReadingEvent,
    GaugeEvent,
    WalkEvent,
    Captured,
    Refused,
    ZoneAlert,
)
