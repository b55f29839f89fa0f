"""The maker's own choice of what is heard: any fault is named with its path and what is wanted."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from gaugelink.cues.cue import EXAMPLES, KINDS, CueError
from gaugelink.cues.phrases import Words, fields, phrase
from gaugelink.cues.settings import FASTEST, SLOWEST, CueSettings, load, parse

MINE = """
bell = false
tones = true
voice = true
volume = 1
speech_rate = 120
which = ["take", "over", "lost"]
rings = []
[words]
take = "{verdict}. {{so}}"
"""


def test_ones_own_settings() -> None:
    found = parse(tomllib.loads(MINE), "cues.toml")
    assert found == CueSettings(
        bell=False,
        tones=True,
        voice=True,
        volume=1.0,
        speech_rate=120,
        which=("take", "over", "lost"),
        rings=(),
        words=Words(take="{verdict}. {{so}}"),
    )
    assert phrase(EXAMPLES["take"], found.words) == "take three. {so}"


def test_without_any_the_bell_rings_for_what_must_be_looked_at() -> None:
    found = parse({}, "cues.toml")
    assert found == CueSettings()
    assert (found.bell, found.tones, found.voice) == (True, False, False)
    assert set(found.rings) == {"over", "refused", "zone", "lost"}
    assert found.which == KINDS


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("volume = 1.1", "cues.toml: volume: 1.1 must lie from 0 to 1"),
        ("volume = -0.1", "cues.toml: volume: -0.1 must lie from 0 to 1"),
        ("volume = nan", "cues.toml: volume: nan must lie from 0 to 1"),
        ("volume = 'loud'", "Expected `float`, got `str` - at `$.volume`"),
        ("bell = 1", "Expected `bool`, got `int` - at `$.bell`"),
        (f"speech_rate = {SLOWEST - 1}", "speech_rate: 79 must lie from 80 to 450 words per"),
        (f"speech_rate = {FASTEST + 1}", "speech_rate: 451 must lie from 80 to 450 words per"),
        ("which = ['take', 'captured']", "which[1]: no cue is called 'captured'; known are: take"),
        ("rings = ['zones']", "rings[0]: no cue is called 'zones'; known are: take, leave, over"),
        ("tune = 3", "Object contains unknown field `tune`"),
        ("words.took = 'x'", "Object contains unknown field `took` - at `$.words`"),
        ("words.take = 3", "Expected `str`, got `int` - at `$.words.take`"),
        (
            "words.zone = '{zon}'",
            "cues.toml: words.zone: no field is called 'zon'; known are: {zone}",
        ),
        ("words.lost = '{zone}'", "words.lost: no field is called 'zone'; known are: {gauge}"),
        ("words.over = '{}'", "words.over: no field is called ''; known are: {blade}, {side}, {z"),
        ("words.over = '{0}'", "words.over: no field is called '0'; known are: {blade}"),
        ("words.over = '{value.real}'", "words.over: no field is called 'value.real'; known"),
        ("words.over = '{value[0]}'", "words.over: no field is called 'value[0]'; known are"),
        ("words.take = '{value:>9}'", "words.take: write {value} alone, without a format"),
        ("words.take = '{value!r}'", "words.take: write {value} alone, without a format"),
        ("words.take = '{value'", "words.take: expected '}' before end of string; write a field"),
        ("words.take = 'so }'", "words.take: Single '}' encountered in format string; write a fi"),
        ("words.soak = ' '", "words.soak: says nothing; to keep it silent leave 'soak' out of wh"),
    ],
)
def test_a_fault_is_one_line_with_the_path_and_what_is_wanted(text: str, said: str) -> None:
    with pytest.raises(CueError) as caught:
        parse(tomllib.loads(text), "cues.toml")
    assert str(caught.value).startswith("cues.toml: ")
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_every_wording_may_use_each_field_of_its_kind() -> None:
    for kind in KINDS:
        wording = " ".join(f"{{{name}}}" for name in fields(EXAMPLES[kind]))
        found = parse({"words": {kind: wording}}, "cues.toml")
        said = phrase(EXAMPLES[kind], found.words)
        assert all(text in said for text in fields(EXAMPLES[kind]).values())


def test_a_file_of_them(tmp_path: Path) -> None:
    file = tmp_path / "cues.toml"
    assert load(file) == CueSettings()
    file.write_text("volume = 0.25", encoding="utf-8-sig")
    assert load(file).volume == 0.25
    file.write_text("volume = 2")
    with pytest.raises(CueError, match=r"cues\.toml: volume: 2\.0 must lie"):
        load(file)
    for broken in ("volume =", "volume = " + "9" * 5000, "x = " + "[" * 9999):
        file.write_text(broken)
        with pytest.raises(CueError, match=r"cues\.toml: not valid TOML: "):
            load(file)
    file.write_bytes(b'words.zone = "\xe4"')
    with pytest.raises(CueError, match=r"cues\.toml: cannot be read: "):
        load(file)
    with pytest.raises(CueError, match="cannot be read: "):
        load(tmp_path)
