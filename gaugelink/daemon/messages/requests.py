"""What a client asks of the hub."""

from __future__ import annotations

from typing import Literal

import msgspec

from gaugelink.capture.walk import Gesture, Trigger
from gaugelink.craft.reed import Blade

Where = Literal["in", "out", "dry"]
"""Into the water, out of it, or measured dry."""


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
    raw: bool = False
    """Also the bytes of these gauges as they come."""


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


class RenameGauge(Request, frozen=True, kw_only=True, tag="rename-gauge"):
    """Call a gauge by another name from now on; answered with its `gauge`."""

    name: str
    to: str


class Teach(Request, frozen=True, kw_only=True, tag="teach"):
    """Work out what a gauge sends: it gives no readings meanwhile.

    Answered as soon as it has begun. What is to be done comes as `teaching` events, and in the end
    a `taught`; then the gauge goes on as before, until `learn` gives it the new description.
    """

    gauge: str
    seconds: float = 20.0
    """How long it is listened to at most once its speed is found."""


class StopTeaching(Request, frozen=True, kw_only=True, tag="stop-teaching"):
    """Leave off; the gauge goes on as before."""

    gauge: str


class Learn(Request, frozen=True, kw_only=True, tag="learn"):
    """Keep a description among the user's own and read the gauge by it; answered with its `gauge`.

    One of that name is never replaced.
    """

    gauge: str
    name: str
    toml: str


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


class Soak(Request, frozen=True, kw_only=True, tag="soak"):
    """Say where the reed in hand at a bench goes; answered with its `walk`.

    From when it comes out of the water, `soak-reminder` tells when to dip it again, and each
    capture keeps whether the reed counted as wet.
    """

    where: Where
    bench: str = "bench"


class WatchZone(Request, frozen=True, kw_only=True, tag="watch-zone"):
    """Watch a zone of the stage while it is scraped; answered with a `zone-watched`.

    Every time that the spindle is set down anew is a value of the zone, told as `zone-watched`. The
    walk waits meanwhile: nothing is captured, and any press ends the watch and does nothing else.
    Then the walk stands where it stood, and the spindle has to be placed anew.
    """

    zone: str
    blade: Blade | None = None
    """Null: either."""
    bench: str = "bench"


class StopWatching(Request, frozen=True, kw_only=True, tag="stop-watching"):
    """Go back to the walk; answered with its `walk`, also when no zone was watched."""

    bench: str = "bench"


AnyRequest = (
    Open
    | Follow
    | AddGauge
    | RemoveGauge
    | RenameGauge
    | Teach
    | StopTeaching
    | Learn
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
    | Soak
    | WatchZone
    | StopWatching
)
