"""What an indicator does when told, with a list for a port and no clock."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from gaugelink.craft.style import find as find_style
from gaugelink.devices.catalog import catalog
from gaugelink.devices.pipeline import Pipeline
from simulators.commands import (
    Clipped,
    Command,
    CommandError,
    Done,
    Failed,
    IsThick,
    Plugged,
    Press,
    Said,
    Scraped,
    Timed,
    line_of,
    parse,
    read_script,
)
from simulators.commands import Crowed as HasCrowed
from simulators.encoding import Encoder
from simulators.indicator import Indicator, check
from simulators.scene import Scene

RATE = 20
LONG = find_style("millrace-long")
PLACE = "crossed/53/-0.5"


class ListPort:
    """Keeps what was sent."""

    def __init__(self) -> None:
        self.plugged = True
        self.sent: list[bytes] = []
        self.count = 0

    def plug(self) -> str:
        self.plugged = True
        self.count += 1
        return f"port {self.count}"

    def unplug(self) -> None:
        self.plugged = False

    def send(self, data: bytes) -> None:
        if self.plugged:
            self.sent.append(data)


class Rig:
    """An indicator, its port, and short ways to use both."""

    def __init__(self, name: str = "signed-decimal-unit-cr", script: str = "") -> None:
        self.description = catalog()[name]
        self.port = ListPort()
        self.scene = Scene(LONG, "windows", 1, RATE)
        timed = [
            Timed(fields.pop("at"), 0, parse(json.dumps(fields)))
            for fields in map(json.loads, script.splitlines())
        ]
        self.indicator = Indicator(
            self.description,
            Encoder(self.description),
            self.scene,
            self.port,
            seed=1,
            rate=RATE,
            script=timed,
        )

    def do(self, **fields: object) -> Said:
        return self.indicator.do(parse(json.dumps(fields)))

    def tick(self, count: int) -> list[Said]:
        return [said for _ in range(count) for said in self.indicator.tick()]

    def values(self) -> list[float]:
        """What all that was sent so far reads as, in hundredths; the list begins anew."""
        pipeline = Pipeline(self.description, "test")
        found = []
        for number, piece in enumerate(self.port.sent, start=1):
            found += pipeline.feed(piece, number) + pipeline.quiet(number + 0.5)
        self.port.sent.clear()
        return [float(reading.hundredths) for reading in found]


def test_it_streams_one_value_a_sample() -> None:
    rig = Rig()
    rig.tick(50)
    assert len(rig.values()) == 50


def test_a_command_ends_the_walk_by_itself() -> None:
    rig = Rig()
    rig.tick(30)
    assert isinstance(rig.do(do="thickness", station=PLACE), IsThick)
    rig.tick(10 * RATE)
    shown = rig.values()[-9 * RATE :]
    assert max(shown) < 60  # it stands where it stood, in contact


def test_placing_shows_the_thickness_anywhere_on_the_cane() -> None:
    rig = Rig()
    truth = rig.do(do="thickness", station="uncrossed/61.3/+0.22")
    assert isinstance(truth, IsThick)
    assert rig.do(do="place", station="uncrossed/61.3/+0.22") == Done("place")
    rig.tick(2 * RATE)
    assert rig.values()[-1] == pytest.approx(truth.hundredths, abs=1)
    assert rig.do(do="lift") == Done("lift")
    rig.tick(RATE)
    assert rig.values()[-1] > 500


def test_scraping_shows_when_the_spindle_comes_back() -> None:
    rig = Rig()
    before = rig.do(do="thickness", station=PLACE)
    scraped = rig.do(do="scrape", station=PLACE, zone="windows", strokes=5)
    after = rig.do(do="thickness", station=PLACE)
    assert isinstance(before, IsThick)
    assert isinstance(after, IsThick)
    assert isinstance(scraped, Scraped)
    assert scraped.removed == pytest.approx(before.hundredths - after.hundredths, abs=0.001)
    assert 2 <= scraped.removed <= 4
    rig.do(do="place", station=PLACE)
    rig.tick(2 * RATE)
    assert rig.values()[-1] == pytest.approx(after.hundredths, abs=1)


def test_a_visit_ends_in_a_press_and_can_press_again() -> None:
    rig = Rig()
    assert isinstance(rig.do(do="press-again"), Failed)
    assert rig.do(do="visit", station=PLACE) == Done("visit")
    assert isinstance(rig.do(do="press-again"), Failed)  # the hand has not come down yet
    assert rig.tick(4 * RATE)[0] == Press(PLACE)
    assert rig.do(do="press-again") == Done("press-again")
    assert rig.tick(2 * RATE) == [Press(PLACE)]
    rig.do(do="visit", station=PLACE)
    rig.do(do="lift")
    assert rig.tick(4 * RATE) == []


def test_presses_repeat_by_their_seed() -> None:
    def run() -> list[tuple[int, Said]]:
        rig = Rig()
        found: list[tuple[int, Said]] = []
        for number in range(400):
            if number % 80 == 0:
                rig.do(do="visit", station=f"crossed/{53 + number / 80:g}/0.5")
            found += [(number, said) for said in rig.indicator.tick()]
        return found

    assert run() == run()
    assert len(run()) >= 5


def test_a_button_sends_one_value_and_nothing_else_does() -> None:
    rig = Rig("button-hundredths-crlf")
    rig.tick(100)
    assert rig.port.sent == []
    rig.do(do="place", station=PLACE)
    rig.tick(2 * RATE)
    assert rig.do(do="button") == Done("button")
    (value,) = rig.values()
    truth = rig.scene.reed.thickness(rig.scene.reed.place(PLACE))
    assert value == pytest.approx(truth, abs=1.5)


def test_other_indicators_have_no_button() -> None:
    assert Rig().do(do="button") == Failed("signed-decimal-unit-cr has no button to send with")


def test_a_request_in_any_pieces_is_answered_once() -> None:
    rig = Rig("asked-query-scientific")
    rig.tick(10)
    assert rig.port.sent == []
    for piece in (b"xxRE", b"AD?", b"\n", b"READ?\nREAD?\nREA"):
        rig.indicator.heard(piece)
    assert len(rig.values()) == 3
    rig.indicator.heard(b"D?\n")
    assert len(rig.values()) == 1


def test_a_stream_does_not_mind_what_it_hears() -> None:
    rig = Rig()
    rig.indicator.heard(b"?\r" * 100)
    assert rig.port.sent == []


def test_unplugging_and_plugging_in_anew() -> None:
    rig = Rig()
    assert rig.do(do="unplug") == Done("unplug")
    rig.tick(20)
    assert rig.port.sent == []
    assert rig.do(do="unplug") == Failed("the indicator is unplugged already")
    assert rig.do(do="cut") == Failed("the indicator is unplugged already")
    assert rig.do(do="replug") == Plugged("port 1")
    assert rig.do(do="replug") == Failed("the indicator is plugged in already")
    rig.tick(3)
    assert len(rig.values()) == 3


def test_a_cut_sends_half_a_frame() -> None:
    rig = Rig()
    assert rig.do(do="cut") == Done("cut")
    (half,) = rig.port.sent
    assert half.startswith(b"+")
    assert len(half) == len(rig.description.example) // 2
    assert not rig.port.plugged


def test_noise_sleep_and_a_stuck_spindle() -> None:
    rig = Rig()
    rig.do(do="noise", count=20)
    assert len(rig.port.sent.pop()) == 20
    rig.do(do="sleep", seconds=1)
    rig.tick(RATE - 1)
    assert rig.port.sent == []
    rig.tick(2)
    assert len(rig.values()) == 2
    rig.do(do="stuck", seconds=1)
    rig.tick(RATE + 5)
    shown = rig.values()
    assert len(set(shown[:RATE])) == 1
    assert len(set(shown[RATE:])) > 1


def test_what_an_indicator_cannot_say_it_leaves_out() -> None:
    rig = Rig("fixed-ten-digits")
    rig.scene.value = 1e9
    rig.do(do="cut")
    assert b"".join(rig.port.sent) == b""


def test_quitting() -> None:
    rig = Rig()
    assert not rig.indicator.ended
    assert rig.do(do="quit") == Done("quit")
    assert rig.indicator.ended


def test_a_script_is_done_at_its_samples() -> None:
    script = '{"at": 0, "do": "place", "station": "crossed/53/0"}\n{"at": 0.5, "do": "unplug"}'
    rig = Rig(script=script)
    said = [(number, each) for number in range(20) for each in rig.indicator.tick()]
    assert said == [(0, Done("place")), (10, Done("unplug"))]
    assert len(rig.values()) == 10


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('{"do": "dance"}', "Invalid value 'dance'"),
        ('{"do": "place"}', "missing required field `station`"),
        ('{"do": "lift", "station": "x"}', "unknown field `station`"),
        ('{"do": "scrape", "station": "x", "zone": "y", "strokes": 0}', "Expected `int` >= 1"),
        ('{"do": "sleep", "seconds": -1}', "Expected `float` >= 0"),
        ("lift", "malformed"),
        ("[]", "Expected `object`"),
        ("\udcff", "not a command"),
    ],
)
def test_a_wrong_command_is_refused_with_the_reason(line: str, said: str) -> None:
    with pytest.raises(CommandError, match=said):
        parse(line.encode(errors="surrogateescape"))


def test_lines_say_what_they_are() -> None:
    assert line_of(Press(PLACE)) == f'{{"is":"press","station":"{PLACE}"}}'
    assert line_of(Failed("no")) == '{"is":"error","text":"no"}'


def checked(command: Command) -> None:
    check(command, Scene(LONG, "windows", 1, RATE), catalog()["signed-decimal-unit-cr"])


def test_a_good_script(tmp_path: Path) -> None:
    file = tmp_path / "script.jsonl"
    file.write_text('{"at": 1, "do": "lift"}\n\n{"do": "quit", "at": 2.5}\n')
    script = read_script(file, checked)
    assert [(each.at, each.line) for each in script] == [(1, 1), (2.5, 3)]


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('{"do": "lift"}', "line 2: `at` must be seconds from the start"),
        ('{"at": "x", "do": "lift"}', "line 2: `at` must be seconds from the start"),
        ('{"at": 0.5, "do": "lift"}', "line 2: `at` is earlier"),
        ('{"at": 2, "do": "jump"}', "line 2: not a command: Invalid value 'jump'"),
        ('{"at": 2, "do": "button"}', "line 2: signed-decimal-unit-cr has no button"),
        ('{"at": 2, "do": "place", "station": "front/1/2"}', "line 2: 'front/1/2' is not a place"),
        (
            '{"at": 2, "do": "scrape", "station": "crossed/53/0", "zone": "belly"}',
            "line 2: style millrace-long has no zone 'belly'",
        ),
        ("[]", "line 2: not a command"),
        ("{", "line 2: not a command"),
    ],
)
def test_a_wrong_script_names_the_line(tmp_path: Path, line: str, said: str) -> None:
    file = tmp_path / "script.jsonl"
    file.write_text(f'{{"at": 1, "do": "lift"}}\n{line}\n')
    with pytest.raises(CommandError) as caught:
        read_script(file, checked)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_script_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="cannot be read"):
        read_script(tmp_path / "none", checked)


def test_water_nights_and_sharpening() -> None:
    rig = Rig()
    truth = rig.scene.reed.place(PLACE)
    wet = rig.scene.reed.thickness(truth)
    assert rig.do(do="dry", seconds=3600) == Done("dry")
    assert rig.scene.reed.thickness(truth) < wet
    assert rig.do(do="soak", seconds=3600) == Done("soak")
    assert rig.do(do="rest") == Done("rest")
    assert rig.scene.reed.water.moisture == 0
    rig.do(do="scrape", station=PLACE, strokes=200, pressure=0.5)
    assert rig.scene.reed.knife.sharpness < 1
    assert rig.do(do="sharpen") == Done("sharpen")
    assert rig.scene.reed.knife.sharpness == 1


def test_a_heavy_spindle_shows_less_than_a_light_one() -> None:
    shown = []
    for force in (0.4, 1.0):
        rig = Rig()
        rig.do(do="place", station=PLACE, force=force)
        rig.tick(2 * RATE)
        shown.append(rig.values()[-1])
    assert 0.5 < shown[0] - shown[1] < 2


def test_crowing_and_clipping() -> None:
    rig = Rig()
    first = rig.do(do="crow")
    assert isinstance(first, HasCrowed)
    assert first.length == 73
    assert rig.do(do="clip", mm=2) == Clipped(71.0)
    second = rig.do(do="crow")
    assert isinstance(second, HasCrowed)
    assert second.length == 71
    assert rig.do(do="place", station="crossed/72/0") == Failed(
        "crossed/72/0 is not on the cane: heights go from 47 to 71 mm, places across from -1 to 1"
    )
    rig.do(do="clip", mm=4.9)
    assert isinstance(rig.do(do="clip", mm=3), Failed)
