"""The spindle, the approaches and the maker, measured with the real settling and the real walk."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from decimal import Decimal
from itertools import islice, pairwise
from math import ceil

import pytest

from gaugelink.capture import walk
from gaugelink.capture.settling import Settled, Settler
from gaugelink.craft.style import Settling, find, styles
from gaugelink.reading import Reading
from simulators.approach import CALM, FUMBLING, TOUCHING, Hand, approaches
from simulators.maker import Maker
from simulators.scene import Scene
from simulators.spindle import Spindle

LONG = find("millrace-long")
STAGES = [(style.name, stage.name) for style in styles().values() for stage in style.stages]


def reading(seq: int, at: float, hundredths: float, resolution: str = "0.1") -> Reading:
    step = Decimal(resolution)
    value = Decimal(repr(hundredths)).quantize(step)
    return Reading("test", seq, at, value, step, "mm", str(value))


def settled_stream(values: Callable[[], float], rate: float, count: int) -> Iterator[Settled]:
    """What the settling makes of `count` samples."""
    settler = Settler(Settling())
    for seq in range(1, count + 1):
        yield settler.feed(reading(seq, seq / rate, values()))


def visits(spindle: Spindle, dawdle: int) -> list[float]:
    """Two visits, with `dawdle` samples more between them."""
    shown = []
    spindle.place(43.0)
    shown += [spindle.tick() for _ in range(40)]
    spindle.lift()
    for _ in range(20 + dawdle):
        spindle.tick()
    spindle.place(37.0)
    return shown + [spindle.tick() for _ in range(40)]


def test_values_depend_on_the_samples_since_the_last_command_only() -> None:
    one, late = visits(Spindle(4, 20), 0), visits(Spindle(4, 20), 33)
    assert one == late
    assert one != visits(Spindle(5, 20), 0)


@pytest.mark.parametrize("rate", [10, 20, 50, 200])
def test_half_a_second_after_the_touch_the_hand_is_calm(rate: int) -> None:
    for seed in range(50):
        spindle = Spindle(seed, rate)
        spindle.place(43.0)
        touches = spindle.touches
        assert touches is not None
        shown = [spindle.tick() for _ in range(touches + 2 * rate)]
        calm = shown[touches + rate // 2 :]
        # What is left is the seat, a rest of tremor, and the creep.
        assert all(42 <= value <= 43.4 for value in calm)
        steps = [after - before for before, after in pairwise(calm)]
        assert max(map(abs, steps)) < 0.4
        assert calm[-1] < calm[0] + 0.25
        assert min(shown[: touches - 1 - ceil(TOUCHING * rate)]) > 48


@pytest.mark.parametrize("rate", [10, 20, 100])
def test_a_lifted_spindle_never_settles(rate: int) -> None:
    for seed in range(20):
        spindle = Spindle(seed, rate)
        spindle.place(40)
        spindle.lift()
        for now in settled_stream(spindle.tick, rate, 10 * rate):
            assert now.standing != "settled"
        assert 500 < spindle.value < 700


def test_a_lifted_spindle_drifts_widely() -> None:
    for seed in range(20):
        spindle = Spindle(seed, 20)
        shown = [spindle.tick() for _ in range(60)]
        assert 40 < max(shown) - min(shown) < 60


def test_cane_gives_way_more_and_more_slowly() -> None:
    second = 100
    for seed in range(20):
        spindle = Spindle(seed, second)
        spindle.place(43.0)
        for _ in range((spindle.touches or 0) + second // 2):
            spindle.tick()
        seconds = [sum(spindle.tick() for _ in range(second)) / second for _ in range(4)]
        sinking = [before - after for before, after in pairwise(seconds)]
        assert 0.02 < sinking[0] < 0.45
        assert sinking[0] > sinking[1] > sinking[2] > 0


def test_lifting_twice_is_lifting_once() -> None:
    one, two = Spindle(2, 20), Spindle(2, 20)
    for spindle in (one, two):
        spindle.place(40)
        spindle.lift()
        assert spindle.lifted
    two.lift()
    assert [one.tick() for _ in range(9)] == [two.tick() for _ in range(9)]


@pytest.mark.parametrize(("name", "stage"), STAGES)
def test_by_itself_it_settles_at_each_stop_near_the_truth(name: str, stage: str) -> None:
    style = find(name)
    rate = 20
    stops = style.stops(stage)
    scene = Scene(style, stage, 7, rate)

    def tick() -> float:
        assert scene.tick() == []
        return scene.value

    stood: dict[int, Decimal] = {}
    for now in settled_stream(tick, rate, round(3.6 * len(stops) * rate)):
        if now.value is not None:
            stood.setdefault(now.contact, now.value)
    assert len(stood) >= len(stops)
    for value, stop in zip(stood.values(), stops, strict=False):
        assert abs(float(value) - scene.reed.thickness(stop.station)) < 1


def test_a_walk_by_dwell_needs_no_one() -> None:
    rate = 20
    scene = Scene(LONG, "windows", 2, rate)
    state = walk.begin(LONG, "windows", "A1", "dwell")
    settler = Settler(LONG.settling)
    for seq in range(rate * 45):
        scene.tick()
        now = seq / rate
        step = walk.dwell(state, now, settler.feed(reading(seq, now, scene.value)))
        if step is not None and step.take is not None:
            truth = scene.reed.thickness(step.take.stop.station)
            assert abs(float(step.take.hundredths) - truth) < 1
            state = walk.captured(state, step.take)
        if state.stop is None:
            break
    assert list(state.taken) == [stop.station.key for stop in LONG.stops("windows")]


@pytest.mark.parametrize("hand", [CALM, FUMBLING])
def test_approaches_tell_the_truth_about_themselves(hand: Hand) -> None:
    rate = 50
    last = -1.0
    for visit in islice(approaches(3, rate, hand), 40):
        for at, value in visit.samples:
            assert at > last
            last = at
            if visit.touched + 1.5 <= at < visit.left:
                assert abs(value - visit.thickness) < 2.5
            elif at < visit.touched - 0.1:
                assert value > visit.thickness
        assert visit.samples[0][1] > 500
        assert visit.samples[-1][1] > 100
        assert visit.samples[0][0] < visit.touched < visit.left < last


def test_approaches_repeat_by_their_seed() -> None:
    one, two, other = (list(islice(approaches(seed, 20), 5)) for seed in (1, 1, 2))
    assert one == two != other


def test_the_same_seed_is_the_same_maker() -> None:
    one, two, other = Maker(1), Maker(1), Maker(2)
    assert [one.visit(n) for n in range(9)] == [two.visit(n) for n in range(9)]
    assert [one.visit(n) for n in range(9)] != [other.visit(n) for n in range(9)]
    assert one.press_again(4) == two.press_again(4) >= 0.7


def test_a_few_presses_are_early_or_double() -> None:
    timings = [Maker(1).visit(number) for number in range(3000)]
    early = sum(timing.press < 0.5 for timing in timings)
    double = sum(timing.again is not None for timing in timings)
    assert 50 <= early <= 130
    assert 50 <= double <= 130
    assert all(0.15 <= timing.again <= 0.3 for timing in timings if timing.again is not None)


@pytest.mark.parametrize("rate", [10, 20])
def test_the_maker_presses_when_it_stands_unless_too_early(rate: int) -> None:
    scene = Scene(LONG, "balance", 11, rate)
    scene.steered()
    settler = Settler(LONG.settling)
    maker = Maker(11)
    stations = [stop.station for stop in LONG.stops("balance")] * 3
    seq = 0
    for number, station in enumerate(stations, start=1):
        timing = maker.visit(number)
        scene.visit(station)
        pressed = []
        standing = ""
        for _ in range(4 * rate):
            pressed += scene.tick()
            seq += 1
            now = settler.feed(reading(seq, seq / rate, scene.value))
            if len(pressed) == 1 and not standing:
                standing = now.standing
                if standing == "settled":
                    assert now.value is not None
                    assert abs(float(now.value) - scene.reed.thickness(station)) < 1
        assert [press.station for press in pressed] == [station.key] * (1 + bool(timing.again))
        assert (standing == "settled") == (timing.press > 0.5)
