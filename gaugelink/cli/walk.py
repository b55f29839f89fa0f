"""`gaugelink walk`: a stage's walk without a screen."""

from __future__ import annotations

import asyncio
import contextlib
import sys
import threading
from collections import Counter
from collections.abc import AsyncIterator
from typing import TYPE_CHECKING, Any

import click
import msgspec

from gaugelink.cli import common

if TYPE_CHECKING:
    from gaugelink.cues.settings import CueSettings
    from gaugelink.cues.speaker import Speaker
    from gaugelink.daemon.client import Client
    from gaugelink.daemon.messages import Advice, Event, StartWalk, WalkEvent
    from gaugelink.folders import Folders

WORDS = ("capture", "retake", "skip", "back", "pause", "resume", "again")
"""Gestures that a line may name; an empty line is a capture."""

WATER = ("in", "out", "dry")
"""Where a line may say that the reed goes: into the water, out of it, or measured dry."""

BENCH = "walk"


@click.command("walk")
@click.option("--port", required=True, help="The indicator's port.")
@click.option("--description", default="", help="What it sends; recognised when not given.")
@click.option("--style", required=True, help="The style's name.")
@click.option("--stage", required=True, help="The stage to measure.")
@click.option("--reed", required=True, help="The reed; put on the rack if it is new.")
@click.option(
    "--trigger",
    type=click.Choice(["dwell", "lines"]),
    default="dwell",
    show_default=True,
    help="Capture by standing still, or on each line read from standard input.",
)
@click.option(
    "--bench",
    default=BENCH,
    show_default=True,
    help="The bench's name, when a running hub has several.",
)
@click.option("--anew", is_flag=True, help="Begin again instead of resuming an unfinished walk.")
@common.json_option
@click.pass_context
def command(
    ctx: click.Context,
    port: str,
    description: str,
    style: str,
    stage: str,
    reed: str,
    trigger: str,
    bench: str,
    anew: bool,
    as_json: bool,
) -> None:
    """Walk a stage's stations once, without a screen.

    With --trigger lines, an empty line captures; retake, skip, back, pause, resume and again do
    what they say; in and out say that the reed goes into the water or comes out of it, dry that it
    is measured dry. The end of the input leaves the walk, which resumes where it stood.

    Once the pass is done, it says what to take where, worst first, and how the reed is balanced.

    It is heard as `gaugelink cues` tells: tones and voice where they are turned on, the bell at a
    terminal only.

    \b
    Example: gaugelink walk --port /dev/ttyUSB0 --style millrace-long --stage windows
             --reed R14 --trigger dwell --json
    """
    from gaugelink.daemon.messages import StartWalk

    wanted = StartWalk(
        reed=reed,
        style=style,
        stage=stage,
        gauge="",
        trigger="dwell" if trigger == "dwell" else "press",
        bench=bench,
        anew=anew,
    )
    common.run(_walk(common.folders_of(ctx), port, description, wanted, as_json))


async def _walk(
    folders: Folders, port: str, description: str, wanted: StartWalk, as_json: bool
) -> None:
    from msgspec.structs import replace

    from gaugelink.daemon import messages as m

    settings = _heard_here(folders)
    async with common.reach(folders) as client:
        gauge = await client.ask(m.AddGauge(port=port, description=description))
        wanted = replace(wanted, gauge=gauge.name)
        await client.ask(m.Follow(readings=False))
        report = Report(await client.ask(wanted), as_json)
        async with _speaking(settings) as speaker:
            try:
                works = [_follow(client, report, Ears(wanted.bench, gauge.name, speaker))]
                if wanted.trigger == "press":
                    works.append(_press_lines(client, wanted.bench))
                await common.first(*works)
                await _advise(client, report)
            finally:
                # However it ends: in a hub that goes on, it would go on capturing with nobody
                # there.
                if report.ours:
                    await _leave(client, wanted.bench)
            report.summary()
            # What the last capture led to is heard to its end.
            await speaker.quiet()


def _heard_here(folders: Folders) -> CueSettings:
    """What the user wants to hear; the bell only where there is a terminal to ring."""
    from msgspec.structs import replace

    from gaugelink.cues.settings import load

    settings = load(folders.cues)
    return replace(settings, bell=settings.bell and sys.stdout is not None and sys.stdout.isatty())


@contextlib.asynccontextmanager
async def _speaking(settings: CueSettings) -> AsyncIterator[Speaker]:
    from gaugelink.cues.speaker import speaking

    def trouble(text: str) -> None:
        common.say(f"gaugelink: {text}", err=True)

    def ring() -> None:
        click.echo("\a", nl=False)

    async with speaking(settings, trouble, ring) as speaker:
        yield speaker


class Ears:
    """Lets be heard what the hub says of this walk."""

    def __init__(self, bench: str, gauge: str, speaker: Speaker) -> None:
        from gaugelink.daemon.cueing import Hearing

        self._hearing = Hearing(bench, gauge)
        self._speaker = speaker

    def event(self, event: Event) -> None:
        """Offer what is to be heard of it."""
        from gaugelink.daemon.cueing import hear

        self._hearing, cues = hear(self._hearing, event)
        for cue in cues:
            self._speaker.offer(cue)


async def _advise(client: Client, report: Report) -> None:
    """Print what remains, once the pass is done.

    It is asked for while the walk is still at the bench: what the hub tells by itself comes a
    moment after the pass, perhaps too late.
    """
    from gaugelink.daemon import messages as m
    from gaugelink.daemon.client import HubError

    if not (report.done and any(stop.verdict for stop in report.walk.stops)):
        return
    try:
        report.advised(await client.ask(m.Advise(bench=report.walk.bench)))
    except HubError as error:
        # The captures are on disk, and the summary of them is still due.
        common.say(f"gaugelink: no advice: {error}", err=True)


async def _leave(client: Client, bench: str) -> None:
    from gaugelink.daemon import messages as m
    from gaugelink.daemon.client import HubGone

    # A hub that is gone walks no more.
    with contextlib.suppress(HubGone):
        await client.ask(m.StopWalk(bench=bench))


async def _press_lines(client: Client, bench: str) -> None:
    """Carry out a gesture for each line of standard input, until its end."""
    from gaugelink.daemon import messages as m

    lines = lines_of_stdin()
    while (line := await lines.get()) is not None:
        word = line.strip() or "capture"
        if word in WATER:
            await client.ask(m.Soak(where=word, bench=bench))  # type: ignore[arg-type]
            continue
        if word not in WORDS:
            # A slip of the hand does not end a walk.
            said = f"{word!r} is no gesture: use an empty line or {', '.join(WORDS + WATER)}"
            common.say(f"gaugelink: {said}", err=True)
            continue
        await client.ask(m.Press(gesture=word, bench=bench))  # type: ignore[arg-type]
    # Once this is answered, all that followed from the presses has been told.
    await client.ask(m.Walk(bench=bench))


def lines_of_stdin() -> asyncio.Queue[str | None]:
    """The lines of standard input as they come, None at its end.

    Read in a thread that is not waited for: a read from a terminal cannot be called off.
    """
    queue: asyncio.Queue[str | None] = asyncio.Queue()
    loop = asyncio.get_running_loop()

    def read() -> None:
        # When the loop has ended, so has the walk that wanted the line.
        with contextlib.suppress(RuntimeError):
            # A standard input that was closed from the start is at its end.
            for line in sys.stdin.buffer if sys.stdin is not None else ():
                word = line.decode(errors="replace")
                loop.call_soon_threadsafe(queue.put_nowait, word)
            loop.call_soon_threadsafe(queue.put_nowait, None)

    threading.Thread(target=read, name="lines of standard input", daemon=True).start()
    return queue


async def _follow(client: Client, report: Report, ears: Ears) -> None:
    from gaugelink.reading import GaugelinkError

    async for event in client.events():
        report.event(event)
        ears.event(event)
        if not report.ours:
            raise GaugelinkError("another walk has begun at this bench: this one can be resumed")
        if report.done:
            return
    raise GaugelinkError("the hub ended; start again: every capture that was printed is on disk")


def _same(one: WalkEvent, other: WalkEvent) -> bool:
    return (one.reed, one.style, one.stage, one.gauge) == (
        other.reed,
        other.style,
        other.stage,
        other.gauge,
    )


class Report:
    """Prints what happens on a walk, and at the end what came of it."""

    def __init__(self, walk: WalkEvent, as_json: bool) -> None:
        self._walk = walk
        self._json = as_json
        self._bench = walk.bench
        self._captured = 0
        self._retaken = 0
        self._refused: Counter[str] = Counter()
        self._down = ""
        self._ours = True
        if not as_json:
            common.say(f"{walk.reed}: {walk.title}. {walk.note}")
        self._next()

    @property
    def done(self) -> bool:
        """Whether the pass is over."""
        return self._walk.at_stop is None

    @property
    def ours(self) -> bool:
        """Whether the bench still has the walk that it had."""
        return self._ours

    @property
    def walk(self) -> WalkEvent:
        """The walk as it was last told."""
        return self._walk

    def event(self, event: Event) -> None:
        """Print what concerns this walk."""
        from gaugelink.daemon import messages as m

        if isinstance(event, m.GaugeEvent):
            if event.name == self._walk.gauge:
                self._link(event.link, event.reason)
            return
        if isinstance(event, m.GaugeGone) and event.renamed and event.name == self._walk.gauge:
            self._walk = msgspec.structs.replace(self._walk, gauge=event.renamed)
        if not isinstance(event, m.AtBench) or event.bench != self._bench:
            return
        match event:
            case m.Captured():
                self._captured += 1
                self._retaken += event.supersedes is not None
                self._print(
                    event, f"  {event.station:<20} {event.hundredths:>6.1f}  {event.verdict}"
                )
            case m.Refused():
                self._refused[event.why] += 1
                self._print(event, f"  not taken: {event.text}")
            case m.ZoneAlert():
                over = event.verdict.word == "over"
                self._print(event, f"  {event.title}: {event.verdict if over else 'on target'}")
            case m.ZoneWatched():
                if event.estimate is None:
                    self._print(event, f"  watching {event.title}: nothing is captured")
                else:
                    self._print(
                        event, f"  watching {event.title}: {event.estimate:f}  {event.verdict}"
                    )
            case m.SoakReminder():
                said = f"{event.minutes} min out of the water; dip it before you measure on"
                self._print(event, f"  {event.reed}: {said}")
            case m.WalkEvent():
                self._ours = _same(event, self._walk)
                if self._ours:
                    moved = event.at_stop != self._walk.at_stop
                    self._walk = event
                    if moved:
                        self._next()

    def advised(self, advice: Advice) -> None:
        """Print an advice: what to take, how the reed is balanced, whose judgement decides."""
        from gaugelink.daemon.advising import words

        self._print(advice, "\n".join(words(advice)))

    def _link(self, state: str, reason: str) -> None:
        if state == "down" and reason != self._down:
            common.say(f"gaugelink: {reason}", err=True)
        self._down = reason if state == "down" else self._down if state == "opening" else ""

    def _next(self) -> None:
        if not self._json and self._walk.at_stop is not None:
            stop = self._walk.stops[self._walk.at_stop]
            common.say(f"next: {stop.station} ({stop.zone}, target {stop.target})")

    def _print(self, message: Any, plain: str) -> None:
        common.say(common.json_line(message) if self._json else plain)

    def summary(self, more: dict[str, Any] | None = None) -> None:
        """Print the last line; `more` goes into its JSON."""
        walk = self._walk
        verdicts = Counter(
            stop.verdict.word if stop.verdict else "unmeasured" for stop in walk.stops
        )
        if not self._json:
            words = ", ".join(f"{count} {word}" for word, count in verdicts.items())
            common.say(f"{self._captured} captured: {words}; {walk.to_go} hundredths to go")
            return
        common.say(
            common.json_line(
                {
                    "is": "summary",
                    "reed": walk.reed,
                    "style": walk.style,
                    "stage": walk.stage,
                    "stations": len(walk.stops),
                    "captured": self._captured,
                    "retaken": self._retaken,
                    "skipped": sum(stop.skipped for stop in walk.stops),
                    "refused": dict(self._refused),
                    "verdicts": dict(verdicts),
                    "zones": {
                        zone.name: str(zone.verdict) if zone.verdict else None
                        for zone in walk.zones
                    },
                    "to_go": walk.to_go,
                    "done": self.done,
                    "complete": walk.complete,
                    **(more or {}),
                }
            )
        )
