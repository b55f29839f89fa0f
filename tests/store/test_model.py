"""The store against a model in plain Python, reopened and cut off at any point."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path
from typing import get_args

import hypothesis.strategies as st
import msgspec
from hypothesis import settings
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
)

from gaugelink.craft.soaking import Wetness
from gaugelink.reading import from_nanometres
from gaugelink.store.records import STATES, CaptureRecord
from tests.store.sample import begin_walk, capture, open_store

REEDS = st.sampled_from(["amber 1", "amber 2", 'the "odd", one'])
STAGES = st.sampled_from(["windows", "tip"])
STATIONS = st.sampled_from(["crossed/53/+0", "crossed/66/-0.5", "uncrossed/53/+0"])


class StoreAgainstModel(RuleBasedStateMachine):
    """Everything that was acknowledged is there, once, in its order and in its chain."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        self.path = self.folder / "s.db"
        self.store = open_store(self.path)
        self.runs = 1
        self.reeds: dict[str, list[str]] = {}
        self.walks: dict[int, tuple[str, str]] = {}
        self.states: dict[int, bytes] = {}
        self.unfinished: dict[tuple[str, str], int] = {}
        self.captures: dict[int, CaptureRecord] = {}
        self.count = 0

    def teardown(self) -> None:
        self.store.close()
        shutil.rmtree(self.folder)

    @initialize(reed=REEDS, stage=STAGES)
    def first_walk(self, reed: str, stage: str) -> None:
        self.start_walk(reed, stage)

    @rule(reed=REEDS, stage=STAGES)
    def start_walk(self, reed: str, stage: str) -> None:
        walk = begin_walk(self.store, reed, stage=stage, state=b"[]")
        assert walk not in self.walks
        self.reeds.setdefault(reed, [""])
        self.walks[walk] = reed, stage
        self.states[walk] = b"[]"
        self.unfinished[reed, stage] = walk

    @rule(data=st.data(), ended=st.booleans(), size=st.integers(0, 9000))
    def save_walk(self, data: st.DataObject, ended: bool, size: int) -> None:
        walk = data.draw(st.sampled_from(sorted(self.unfinished.values() or self.walks)))
        self.states[walk] = b'"' + b"x" * size + b'"'
        self.store.save_walk(walk, self.states[walk], ended=ended)
        if ended:
            self.unfinished.pop(self.walks[walk], None)
        elif self.unfinished.get(self.walks[walk], 0) < walk:
            self.unfinished[self.walks[walk]] = walk

    @rule(reed=REEDS, state=st.sampled_from(STATES))
    def update_reed(self, reed: str, state: str) -> None:
        if reed in self.reeds:
            self.store.update_reed(reed, state=state)
            assert self.store.reed(reed).state == state

    @rule(
        data=st.data(),
        station=STATIONS,
        in_pass=st.integers(1, 2),
        nanometres=st.integers(-(10**12), 10**12),
        wet=st.sampled_from(get_args(Wetness)),
    )
    def capture(
        self, data: st.DataObject, station: str, in_pass: int, nanometres: int, wet: Wetness
    ) -> None:
        walk = data.draw(st.sampled_from(sorted(self.walks)))
        self.count += 1
        new = capture(
            walk,
            station=station,
            in_pass=in_pass,
            hundredths=from_nanometres(nanometres),
            contact=self.count,
            wet=wet,
        )
        self.states[walk] = b"[%d]" % self.count
        record = self.store.add_capture(new, self.states[walk])
        for field, value in msgspec.structs.asdict(new).items():
            assert getattr(record, field) == value
        self._keep(record)

    def _keep(self, record: CaptureRecord) -> None:
        """The model's own way to the capture that the new one supersedes."""
        same = [
            each
            for each in self.captures.values()
            if (each.walk, each.station, each.in_pass)
            == (record.walk, record.station, record.in_pass)
            and each.superseded_by is None
        ]
        assert len(same) <= 1
        assert record.supersedes == (same[0].capture if same else None)
        for each in same:
            self.captures[each.capture] = msgspec.structs.replace(
                each, superseded_by=record.capture
            )
        assert record.capture not in self.captures
        self.captures[record.capture] = record
        reed, stage = self.walks[record.walk]
        assert (record.reed, record.stage) == (reed, stage)
        if self.reeds[reed][-1] != stage:
            self.reeds[reed].append(stage)

    @rule()
    def close_and_open(self) -> None:
        self.store.close()
        self.store = open_store(self.path)
        self.runs += 1

    @rule()
    def power_cut(self) -> None:
        """Only what has reached the files is there: a copy of them, taken while all is open."""
        cut = self.folder / f"cut-{self.runs}.db"
        for suffix in ("", "-wal"):
            if (source := self.path.with_name(self.path.name + suffix)).exists():
                shutil.copy(source, cut.with_name(cut.name + suffix))
        self.store.close()
        self.path = cut
        self.store = open_store(self.path)
        self.runs += 1

    @invariant()
    def captures_are_all_there_once(self) -> None:
        expected = [self.captures[number] for number in sorted(self.captures)]
        assert self.store.captures() == expected
        current = [each for each in expected if each.superseded_by is None]
        assert self.store.captures(current_only=True) == current
        assert self.store.counts().captures == len(expected)

    @invariant()
    def walks_stand_where_they_were_left(self) -> None:
        for reed in self.reeds:
            for stage in ("windows", "tip"):
                found = self.store.unfinished_walk(reed, "long", stage)
                expected = self.unfinished.get((reed, stage))
                assert (found and found.walk) == expected
                if found is not None:
                    assert found.state == self.states[found.walk]

    @precondition(lambda self: self.reeds)
    @invariant()
    def reeds_know_their_stages(self) -> None:
        for reed, stages in self.reeds.items():
            assert self.store.reed(reed).stage == stages[-1]
            seen = [change.stage for change in self.store.changes(reed)]
            moved = [
                stage for before, stage in zip([None, *seen], seen, strict=False) if stage != before
            ]
            assert moved == stages
            own = [each for each in self.captures.values() if each.reed == reed]
            assert self.store.reed(reed).captures == len(own)


TestStoreAgainstModel = StoreAgainstModel.TestCase
TestStoreAgainstModel.settings = settings(max_examples=25, stateful_step_count=30, deadline=None)
