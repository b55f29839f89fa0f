"""Simulated walks with a maker's slips: values at a wrong station, missed captures, and the time.

A thousand walks of 24 stations. The maker looks where the walk stands, brings the spindle down
there, and presses, or waits for the dwell. Some presses come too early or twice, some are
forgotten, some come as the spindle is lifted. The hand fumbles, drifts, slips off for an instant,
lingers. Now and then the maker wants to go back: just having come down, while the spindle stands
or is lifted, or with it set down on the station before already. How often is assumed.

A value is at a wrong station when the spindle stood at another when it was read, and from the air
when it stood at none; a hand that hovers as still as one that stands cannot be told from it. A
capture is missed when the spindle is lifted from where it was to be captured and nothing has been
taken, forgotten presses included. The bare walk takes the newest reading at every press and goes
on; by dwell, the third of three alike, anew after a change of six hundredths.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Generator
from decimal import Decimal
from typing import NamedTuple, Protocol

import msgspec

from gaugelink.capture import walk
from gaugelink.capture.gestures import Gestures, Meant
from gaugelink.capture.pedals.asking import asked
from gaugelink.capture.pedals.event import PedalEvent
from gaugelink.capture.pedals.mapping import ONE_PEDAL, TWO_PEDALS, AtWalk, Mapping
from gaugelink.capture.settling import Settled, Settler
from gaugelink.capture.walk import Step, Trigger, WalkState
from gaugelink.craft.style import Stage, Style, Target, find
from gaugelink.reading import Reading
from simulators.approach import CALM, FUMBLING
from simulators.maker import Maker
from simulators.pedals import Edge, Foot
from simulators.reed import Reed
from simulators.spindle import Spindle
from tests.benchmarks.table import Row

WALKS = 1000
RATE = 20.0
"""Readings per second."""
STEP = Decimal(1)
"""Hundredths: the last digit of an indicator of 0.01 mm."""
PATIENCE = 3.5
"""Seconds of standing still after which the maker sets the spindle down anew; assumed."""

FUMBLES, DRIFTS, SLIPS, LINGERS = 0.1, 0.05, 0.05, 0.08
FORGETS, LIFTS_EARLY, GOES_BACK = 0.02, 0.03, 0.03
"""The share of stations at which it happens; assumed."""

ZONES = {"windows": 45, "spine": 55, "heart": 48}


def common_stage() -> Style:
    """A style with one stage of 24 stations."""
    targets = [Target(zone, Decimal(target)) for zone, target in ZONES.items()]
    style = find("millrace-long")
    return msgspec.structs.replace(style, stages=[Stage("common", "common", targets)])


class Took(NamedTuple):
    """A value was taken."""

    stop: int
    read_at: float
    """Seconds at which it was read."""


class Software(Protocol):
    """What the maker works with."""

    answer: str
    """What it last said: "taken", why it was refused, or nothing."""

    @property
    def wanted(self) -> int | None:
        """The stop that it asks for, None when all are done."""
        ...

    def read(self, reading: Reading) -> Took | None:
        """A reading came; what it takes by itself."""
        ...

    def do(self, meant: Meant) -> Took | None:
        """A pedal was pressed; what it takes."""
        ...


class Ours:
    """Settling and the walk, as the hub puts them together."""

    def __init__(self, style: Style, trigger: Trigger) -> None:
        self._settler = Settler(style.settling)
        self._state: WalkState = walk.begin(style, "common", "R", trigger)
        self._live: Settled | None = None
        self.answer = ""

    @property
    def wanted(self) -> int | None:
        state = self._state
        return None if state.place is None else state.queue[state.place]

    def read(self, reading: Reading) -> Took | None:
        self._live = self._settler.feed(reading)
        step = walk.dwell(self._state, reading.at, self._live)
        return None if step is None else self._follow(step, self._live)

    def do(self, meant: Meant) -> Took | None:
        wish, live = asked(meant.action, self._state), self._live
        if wish is None or live is None or self.wanted is None:
            return None
        step = walk.press(self._state, wish.gesture, meant.at, live, station=wish.station)
        return self._follow(step, live)

    def _follow(self, step: Step, live: Settled) -> Took | None:
        self._state = step.state
        if step.said is not None:
            self.answer = step.said.why
        if step.take is None:
            return None
        self.answer = "taken"
        self._state = walk.captured(step.state, step.take)
        return Took(step.state.stops.index(step.take.stop), live.since)


class Bare:
    """A walk that guards against nothing."""

    def __init__(self, style: Style, trigger: Trigger) -> None:
        self._by_dwell = trigger == "dwell"
        self._count = len(style.stops("common"))
        self._place = 0
        self._last: list[Decimal] = []
        self._taken: Decimal | None = None
        self._at = 0.0
        self.answer = ""

    @property
    def wanted(self) -> int | None:
        return self._place if self._place < self._count else None

    def read(self, reading: Reading) -> Took | None:
        self._last = [*self._last[-2:], reading.hundredths]
        self._at = reading.at
        anew = self._taken is None or abs(reading.hundredths - self._taken) >= 6
        if not (self._by_dwell and anew and len(self._last) == 3 and len(set(self._last)) == 1):
            return None
        self._taken = reading.hundredths
        return self._take()

    def do(self, meant: Meant) -> Took | None:
        if meant.action == "capture":
            return self._take()
        if meant.action == "back":
            self._place = max(0, self._place - 1)
        return None

    def _take(self) -> Took | None:
        if self.wanted is None:
            return None
        self.answer = "taken"
        self._place += 1
        return Took(self._place - 1, self._at)


class Table:
    """One walk: the reed, the spindle in the maker's hand, the pedals, and the time."""

    def __init__(self, style: Style, software: Software, mapping: Mapping, seed: int) -> None:
        self.rng = random.Random(f"{seed}/table")
        self.software = software
        self.now = 0.0
        self.at: int | None = None
        """The stop that the spindle stands at, None when it is lifted."""
        self.wrong = self.airy = self.missed = self.visits = 0
        self.is_taken = False
        """Whether anything has been taken since the spindle was set down."""
        self._seed = seed
        reed = Reed(style, "common", seed)
        self.count = len(style.stops("common"))
        self._truth = [reed.thickness(stop.station) for stop in style.stops("common")]
        self._spindle = Spindle(seed, RATE)
        self._hands = [Spindle(seed, RATE, CALM), Spindle(seed, RATE, FUMBLING)]
        self._foot = Foot(seed)
        self._edges: list[tuple[str, Edge]] = []
        self._gestures = Gestures(mapping)
        self._samples = 0
        self._touches = 0.0
        self._stood: list[tuple[int, float, float]] = []
        """Each stop at which the spindle has stood, and from when until when."""
        self._drift = 0.0
        self._slip = (0.0, 0.0, 0.0)
        """Seconds at which it begins and ends, and hundredths that it comes back off by."""

    def run(self, maker: Generator[float, None, None]) -> None:
        """Let the maker work to the end; they yield the seconds that they do nothing for."""
        for seconds in maker:
            for _ in range(max(1, round(seconds * RATE))):
                self._sample()

    def _sample(self) -> None:
        self._samples += 1
        self.now = self._samples / RATE
        while self._edges and self._edges[0][1].at <= self.now:
            code, edge = self._edges.pop(0)
            self._do(self._gestures.feed(PedalEvent("foot", code, edge.is_down, edge.at)))
        self._do(self._gestures.due(self.now))
        shown = Decimal(round(self._spindle.tick() + self._moved()))
        reading = Reading("g", self._samples, self.now, shown, STEP, "mm", str(shown))
        self._check(self.software.read(reading))

    def _do(self, found: list[Meant]) -> None:
        for meant in found:
            # What is meant now is done now, with the newest reading.
            self._check(self.software.do(msgspec.structs.replace(meant, at=self.now)))

    def _check(self, took: Took | None) -> None:
        if took is None:
            return
        self.is_taken = True
        stood = [stop for stop, touched, left in self._stood[-3:] if touched <= took.read_at < left]
        self.wrong += bool(stood) and took.stop not in stood
        self.airy += not stood

    def _moved(self) -> float:
        """Hundredths by which the hand has drifted and slipped."""
        if self.at is None:
            return 0.0
        begins, ends, off = self._slip
        moved = self._drift * max(0.0, self.now - self._touches)
        if begins <= self.now < ends:
            return moved + 90.0
        return moved + (off if self.now >= ends > 0 else 0.0)

    def set_down(self, stop: int) -> None:
        """Bring the spindle down there."""
        self.visits += 1
        self.is_taken = False
        self.at = stop
        fumbles = self.rng.random() < FUMBLES
        self._spindle = self._hands[fumbles]
        self._spindle.place(self._truth[stop])
        self._touches = self.now + (self._spindle.touches or 0) / RATE
        self._stood.append((stop, self._touches, float("inf")))
        self._drift = self.rng.uniform(-2.5, 2.5) if self.rng.random() < DRIFTS else 0.0
        self._slip = (0.0, 0.0, 0.0)

    @property
    def touches_in(self) -> float:
        """Seconds until the spindle touches."""
        return max(0.0, self._touches - self.now)

    def slip(self) -> None:
        """Let the spindle slip off for an instant and back at nearly the same place."""
        ends = self.now + self.rng.uniform(0.1, 0.3)
        self._slip = (self.now, ends, self.rng.uniform(-2, 2))

    def lift(self) -> None:
        """Lift the spindle."""
        if self.at is not None:
            stop, touched, _ = self._stood.pop()
            self._stood.append((stop, touched, self.now))
        self._spindle.lift()
        self.at = None

    def press(self, code: str, after: float = 0.0, held: float | None = None) -> None:
        """Let the foot press, some seconds from now."""
        edges = [(code, edge) for edge in self._foot.press(self.now + after, held)]
        self._edges = sorted([*self._edges, *edges], key=lambda each: each[1].at)


Work = Generator[float, None, None]
GoBack = tuple[str, float | None]
"""The pedal that goes back, and for how long it is held."""


def work(table: Table, trigger: Trigger, back: GoBack, seed: int, *, looks: bool = True) -> Work:
    """The maker: each station, until all are done. With `looks` off they go by their own count."""
    rng, maker = table.rng, Maker(seed)
    believed = 0
    while True:
        timing = maker.visit(table.visits)
        yield timing.think
        wanted = table.software.wanted
        if wanted is None:
            return
        stop = wanted if looks or believed >= table.count else believed
        table.set_down(stop)
        yield table.touches_in
        if rng.random() < GOES_BACK:
            yield from _goes_back(table, trigger, back)
            continue
        if trigger == "dwell":
            yield from _waits(table)
        elif rng.random() < FORGETS:
            yield rng.uniform(1.0, 2.0)
        else:
            yield from _presses(table, timing.press, timing.again)
        table.missed += not table.is_taken
        if rng.random() < LINGERS:
            if rng.random() < 0.5:
                table.slip()
            yield rng.uniform(1.0, 3.0)
        table.lift()
        believed = stop + 1


def _goes_back(table: Table, trigger: Trigger, back: GoBack) -> Work:
    """Change one's mind, and press; then go on as the walk says."""
    rng = table.rng
    code, held = back
    wanted = table.software.wanted or 0
    when = rng.choice(["landing", "standing", "lifted", "there already"])
    if when == "landing":
        yield rng.uniform(0.05, 0.3)
    elif when == "standing":
        yield rng.uniform(0.3, 0.7)
    else:
        table.lift()
        yield rng.uniform(0.4, 0.8)
    if when == "there already" and wanted > 0:
        table.set_down(wanted - 1)
        # Who walks by dwell knows that it would be taken, and is quicker.
        yield table.touches_in + (0.8 if trigger == "press" else 0.1)
    table.press(code, held=held)
    yield 0.4 + (held or 0.0)
    # Looks at the screen, the spindle where it is; or presses without looking.
    yield rng.uniform(0.2, 1.5)
    if trigger == "press" and rng.random() < 0.3:
        table.press("right")
        yield 0.5
    table.lift()


def _presses(table: Table, wait: float, again: float | None) -> Work:
    """Press when it seems to stand still, and once more when refused, until it is given up."""
    rng, software = table.rng, table.software
    if rng.random() < SLIPS:
        yield wait / 2
        table.slip()
        yield 0.4
    lifts_early = rng.random() < LIFTS_EARLY
    software.answer = ""
    table.press("right", wait)
    if again is not None:
        table.press("right", wait + again)
    if lifts_early:
        yield max(0.0, wait - rng.uniform(0.0, 0.3))
        table.lift()
        yield 0.6
        return
    yield wait + (again or 0.0)
    for _ in range(3):
        heard = yield from _hears(table)
        if heard != "moving":
            return
        yield rng.uniform(0.4, 0.8)
        software.answer = ""
        table.press("right")


def _hears(table: Table) -> Generator[float, None, str]:
    """Wait for the answer to a press, and take it in."""
    waited = 0.0
    while not table.software.answer and waited < 1.0:
        yield 1 / RATE
        waited += 1 / RATE
    yield table.rng.uniform(0.2, 0.4)
    return table.software.answer


def _waits(table: Table) -> Work:
    """Stand still until it is taken, or patience ends."""
    rng, software = table.rng, table.software
    before, waited = software.wanted, 0.0
    slips = rng.uniform(0.2, 1.0) if rng.random() < SLIPS else PATIENCE
    patience = rng.uniform(0.3, 1.2) if rng.random() < LIFTS_EARLY else PATIENCE
    while software.wanted == before and waited < patience:
        if waited <= slips < waited + 1 / RATE:
            table.slip()
        yield 1 / RATE
        waited += 1 / RATE
    yield rng.uniform(0.25, 0.5)


class Tally:
    """What came of many walks."""

    def __init__(self) -> None:
        self.wrong = self.airy = self.missed = self.stations = 0
        self.seconds = 0.0

    def add(self, table: Table) -> None:
        self.wrong += table.wrong
        self.airy += table.airy
        self.missed += table.missed
        self.stations += table.count
        self.seconds += table.now

    def said(self) -> str:
        """In short: at a wrong station, from the air, missed, and seconds a station."""
        counts = f"{self.wrong} / {self.airy} / {self.missed}"
        return f"{counts} / {self.seconds / self.stations:.2f} s"


def walked(
    software: Callable[[Style, Trigger], Software],
    trigger: Trigger,
    mapping: Mapping = TWO_PEDALS,
    back: GoBack = ("left", None),
    *,
    looks: bool = True,
) -> Tally:
    """Many walks with one software and one set of pedals."""
    style, tally = common_stage(), Tally()
    for seed in range(WALKS):
        table = Table(style, software(style, trigger), mapping, seed)
        table.run(work(table, trigger, back, seed, looks=looks))
        tally.add(table)
    return tally


def _at_once() -> Mapping:
    """One pedal whose short press counts on the way down, although a hold goes back."""
    pedal = ONE_PEDAL.pedal[0]
    eager = AtWalk(short="capture", long="back", at_once=True)
    return msgspec.structs.replace(ONE_PEDAL, pedal=(msgspec.structs.replace(pedal, walk=eager),))


def measure() -> list[Row]:
    hold = ("right", 1.2)
    rows = []
    for claim, bare, ours, aimed in (
        ("by press", walked(Bare, "press"), walked(Ours, "press"), True),
        ("by dwell", walked(Bare, "dwell"), walked(Ours, "dwell"), True),
        (
            "one pedal, bare: a hold captures too",
            walked(Ours, "press", _at_once(), hold),
            walked(Ours, "press", ONE_PEDAL, hold),
            True,
        ),
        (
            "by press, a maker who never looks",
            walked(Bare, "press", looks=False),
            walked(Ours, "press", looks=False),
            False,
        ),
    ):
        rows.append(
            Row(
                f"{ours.stations} stations {claim}: wrong / from the air / missed / time each",
                bare.said(),
                ours.said(),
                ours.wrong / bare.wrong if bare.wrong else None,
                "none wrong" if aimed else "-",
                not aimed or ours.wrong == 0,
            )
        )
    return rows
