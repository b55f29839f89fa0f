"""Outputs side by side: cut, failed, slow and cancelled; these ones keep a diary and no sound."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import pytest

from gaugelink.cues.cue import EXAMPLES, KINDS, Cue, CueError
from gaugelink.cues.output import Bell
from gaugelink.cues.settings import CueSettings
from gaugelink.cues.speaker import Lane, Speaker, speaking

TAKE, LEAVE, OVER, LOST, NEXT = (
    EXAMPLES["take"], EXAMPLES["leave"], EXAMPLES["over"], EXAMPLES["lost"], EXAMPLES["next"]
)  # fmt: skip


class Diary:
    """An output that says a cue until it is told that it is over."""

    def __init__(self) -> None:
        self.wrote: list[str] = []
        self.over = asyncio.Event()
        self.cannot_open = ""
        self.cannot_say = ""
        self.letting_go: asyncio.Event | None = None
        """What it waits for when it is cut, as a process that is ended has to be waited for."""

    async def open(self) -> None:
        if self.cannot_open:
            raise CueError(self.cannot_open)
        self.wrote.append("open")

    async def say(self, cue: Cue) -> None:
        self.wrote.append(cue.kind)
        if self.cannot_say:
            raise CueError(self.cannot_say)
        try:
            await self.over.wait()
        except asyncio.CancelledError:
            if self.letting_go is not None:
                await self.letting_go.wait()
            self.wrote.append("cut")
            raise
        self.over.clear()
        self.wrote.append("over")

    async def close(self) -> None:
        self.wrote.append("close")


async def rounds(count: int = 20) -> None:
    """Let every task go as far as it can."""
    for _ in range(count):
        await asyncio.sleep(0)


class Bench:
    """A lane that runs, and its diary."""

    def __init__(self, kinds: tuple[str, ...] = KINDS) -> None:
        self.diary = Diary()
        self.troubles: list[str] = []
        self.now = 0.0
        self.lane = Lane(self.diary, kinds, self.troubles.append, lambda: self.now)

    async def __aenter__(self) -> Bench:
        self.task = asyncio.create_task(self.lane.run())
        await rounds()
        return self

    async def __aexit__(self, *_: object) -> None:
        self.task.cancel()
        await asyncio.gather(self.task, return_exceptions=True)


async def test_what_sounds_is_let_finish_and_only_the_newest_follows() -> None:
    async with Bench() as bench:
        bench.lane.offer(TAKE)
        await rounds()
        bench.lane.offer(EXAMPLES["refused"])
        bench.lane.offer(LEAVE)
        await rounds()
        assert bench.diary.wrote == ["open", "take"]
        bench.diary.over.set()
        await rounds()
        assert bench.diary.wrote == ["open", "take", "over", "leave"]
        bench.diary.over.set()
        await bench.lane.quiet()
    assert bench.diary.wrote[-2:] == ["over", "close"]
    assert bench.troubles == []


async def test_what_is_urgent_cuts_and_is_not_cut() -> None:
    async with Bench() as bench:
        bench.lane.offer(TAKE)
        await rounds()
        bench.lane.offer(LOST)
        await rounds()
        assert bench.diary.wrote == ["open", "take", "cut", "lost"]
        bench.lane.offer(OVER)
        bench.lane.offer(NEXT)
        await rounds()
        assert bench.diary.wrote[-1] == "lost"
        bench.diary.over.set()
        await rounds()
        assert bench.diary.wrote[-2:] == ["over", "over"]
        assert not bench.task.done()


async def test_what_is_being_cut_is_let_go_of_whatever_else_comes() -> None:
    async with Bench() as bench:
        bench.diary.letting_go = asyncio.Event()
        bench.lane.offer(TAKE)
        await rounds()
        bench.lane.offer(LOST)
        await rounds()
        bench.lane.offer(OVER)
        await rounds()
        assert bench.diary.wrote == ["open", "take"], "it is still letting go"
        bench.diary.letting_go.set()
        await rounds()
        assert bench.diary.wrote == ["open", "take", "cut", "lost"]


async def test_what_is_too_late_is_not_said() -> None:
    async with Bench() as bench:
        bench.lane.offer(TAKE)
        await rounds()
        bench.lane.offer(LEAVE)
        bench.now = 3.1
        bench.diary.over.set()
        await bench.lane.quiet()
    assert bench.diary.wrote == ["open", "take", "over", "close"]


async def test_leaving_cuts_off_and_closes() -> None:
    async with Bench() as bench:
        bench.lane.offer(TAKE)
        bench.lane.offer(NEXT)
        await rounds()
    assert bench.diary.wrote == ["open", "take", "cut", "close"]
    await bench.lane.quiet()


async def test_an_output_that_cannot_be_opened_says_so_once_and_nothing_else() -> None:
    bench = Bench()
    bench.diary.cannot_open = "tones: there is no sound card"
    async with bench:
        for _ in range(3):
            bench.lane.offer(TAKE)
            await bench.lane.opened()
            await bench.lane.quiet()
        assert bench.lane.failed
        assert bench.task.done()
    assert bench.troubles == ["tones: there is no sound card"]
    assert bench.diary.wrote == ["close"]


async def test_what_was_not_heard_is_told_once_until_something_is() -> None:
    async with Bench() as bench:
        bench.diary.cannot_say = "voice: could not be played"
        for cue in (TAKE, LEAVE, TAKE):
            bench.lane.offer(cue)
            await bench.lane.quiet()
        assert bench.troubles == ["voice: could not be played"]
        bench.diary.cannot_say = ""
        bench.diary.over.set()
        bench.lane.offer(TAKE)
        await bench.lane.quiet()
        bench.diary.cannot_say = "voice: could not be played"
        bench.lane.offer(LEAVE)
        await bench.lane.quiet()
        assert bench.troubles == ["voice: could not be played"] * 2
        assert not bench.lane.failed


async def test_an_output_that_never_ends_is_cut_off(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gaugelink.cues.speaker.LONGEST", 0.01)
    async with Bench() as bench:
        bench.lane.offer(TAKE)
        await bench.lane.quiet()
    assert bench.diary.wrote == ["open", "take", "cut", "close"]
    assert bench.troubles == ["a cue still sounded after 0.01 s and was cut off"]


async def test_one_output_waits_for_no_other_and_none_says_what_is_turned_off() -> None:
    async with Bench() as slow, Bench(("take", "leave")) as quick:
        speaker = Speaker([slow.lane, quick.lane], ("take", "leave", "next"))
        speaker.offer(TAKE)
        await rounds()
        quick.diary.over.set()
        await quick.lane.quiet()
        for cue in (OVER, NEXT, LEAVE):
            speaker.offer(cue)
        await rounds()
        assert slow.diary.wrote == ["open", "take"]
        assert quick.diary.wrote == ["open", "take", "over", "leave"]


async def test_a_lane_leaves_the_time_that_others_need() -> None:
    asked: list[str] = []

    def lead(cue: Cue) -> float:
        asked.append(cue.kind)
        return 60.0

    diary = Diary()
    lane = Lane(diary, KINDS, print, lead=lead)
    task = asyncio.create_task(lane.run())
    lane.offer(TAKE)
    await rounds()
    assert (asked, diary.wrote) == (["take"], ["open"])
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    assert diary.wrote == ["open", "close"]


async def heard_bells(settings: CueSettings) -> list[str]:
    rung: list[str] = []
    now: Callable[[], float] = lambda: 0.0  # noqa: E731
    async with speaking(settings, rung.append, lambda: rung.append("ding"), now) as speaker:
        await speaker.opened()
        for kind, cue in EXAMPLES.items():
            rung.append(kind)
            speaker.offer(cue)
            await speaker.quiet()
    return rung


async def test_the_bell_rings_for_what_must_be_looked_at() -> None:
    assert await heard_bells(CueSettings()) == [
        "take", "leave", "over", "ding", "refused", "ding", "zone", "ding", "next",
        "lost", "ding", "back", "soak",
    ]  # fmt: skip
    chosen = CueSettings(which=("take", "zone"), rings=("take", "over"))
    assert "".join(await heard_bells(chosen)).count("ding") == 1
    assert "ding" not in await heard_bells(CueSettings(bell=False))


async def test_without_a_terminal_the_bell_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    troubles: list[str] = []
    async with speaking(CueSettings(), troubles.append) as speaker:
        speaker.offer(OVER)
        await speaker.quiet()
    assert troubles == ["bell: there is no terminal to ring; start it in one, or turn bell off"]
    assert capsys.readouterr().err == ""


async def test_the_bell_is_the_terminals_own(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    bell = Bell()
    await bell.open()
    await bell.say(OVER)
    await bell.close()
    assert capsys.readouterr().err == "\a"


async def test_a_fault_of_ours_is_not_hidden() -> None:
    def broken() -> None:
        raise ZeroDivisionError

    async def whole() -> None:
        async with speaking(CueSettings(), print, broken) as speaker:
            for _ in range(2):
                speaker.offer(OVER)
                await speaker.quiet()  # nobody waits for a lane that is no more

    with pytest.raises(ZeroDivisionError):
        await whole()


async def test_what_the_block_raises_comes_through_as_it_is() -> None:
    with pytest.raises(KeyError, match="mine"):
        async with speaking(CueSettings(), print, lambda: None):
            raise KeyError("mine")
