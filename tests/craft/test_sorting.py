"""Sorting blanks: near and even first, ties as they came, too few readings last."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft.measured import CraftError
from gaugelink.craft.sorting import sort_batch
from gaugelink.craft.style import find
from tests.craft.values import LONG, Value, around, at_target, uncertainties

SORT = LONG.stops("sort")
GOUGE = find("quayside-cane").stops("gouge")
FIRST = SORT[0].station.key
batches = st.dictionaries(st.text(min_size=1, max_size=3), around(SORT), max_size=6)


def test_a_batch_in_order_with_its_reasons() -> None:
    every = {stop.station.key: 0.0 for stop in SORT}
    left = {key: 4.0 for key in every if "/-" in key}
    batch = {
        "thin": at_target(SORT, **{FIRST: -9.0}),
        "crooked": at_target(SORT, **left),
        "off": at_target(SORT, **dict.fromkeys(every, 3.0)),
        "few": {FIRST: Value(SORT[0].target)},
        "good": at_target(SORT),
        "none": {},
        "twin": at_target(SORT),
    }
    found = sort_batch(SORT, batch, 0.5)
    assert [each.name for each in found] == [
        "good", "twin", "off", "crooked", "thin", "few", "none",
    ]  # fmt: skip
    assert [each.place for each in found] == [1, 2, 3, 4, 5, 6, 7]
    reasons = {each.name: each.reasons for each in found}
    assert reasons["good"] == ("on target", "even on all sides")
    assert reasons["off"] == ("3 from target on average", "even on all sides")
    assert reasons["crooked"] == (
        "2 from target on average",
        "uneven by 3, most at crossed, left, 54 (4)",
    )
    assert reasons["thin"][0] == "too thin at crossed, left, 54: it cannot be put back"
    assert reasons["few"] == ("only 1 of 12 places measured: measure the rest", "on target")
    assert reasons["none"] == ("only 0 of 12 places measured: measure the rest",)


@given(batches, uncertainties)
def test_every_blank_is_there_once_and_the_groups_come_in_their_order(
    batch: dict[str, dict[str, Value]], unsure: float
) -> None:
    found = sort_batch(SORT, batch, unsure)
    assert sorted(each.name for each in found) == sorted(batch)
    groups = [("sound", "thin", "too few").index(each.group) for each in found]
    assert groups == sorted(groups)
    for each in found:
        assert (each.group == "too few") == (len(batch[each.name]) < 9)
        assert each.reasons
    names = list(batch)
    for one, other in pairwise(found):
        same = (one.group, one.off, one.uneven, one.measured) == (
            other.group, other.off, other.uneven, other.measured,
        )  # fmt: skip
        if same:
            assert names.index(one.name) < names.index(other.name)


@given(around(SORT).filter(lambda taken: len(taken) >= 9), st.integers(1, 4))
def test_nearer_and_as_even_is_never_worse(taken: dict[str, Value], by: int) -> None:
    target = {stop.station.key: stop.target for stop in SORT}
    # Halfway to the target everywhere: nearer, and more even with it.
    better = {
        key: Value(target[key] + (each.hundredths - target[key]) / 2**by)
        for key, each in taken.items()
    }
    found = sort_batch(SORT, {"worse": taken, "better": better}, 0.3)
    if found[0].name == "worse":
        assert (found[0].off, found[0].uneven) == (found[1].off, found[1].uneven)


def test_thin_only_counts_as_far_as_it_can_be_told() -> None:
    taken = at_target(SORT, **{FIRST: -4.0})
    assert sort_batch(SORT, {"a": taken}, 0.4)[0].group == "thin"
    assert sort_batch(SORT, {"a": taken}, 0.6)[0].group == "sound"
    many = at_target(SORT, **{stop.station.key: -9.0 for stop in SORT})
    assert "and 9 more" in sort_batch(SORT, {"a": many}, 0.4)[0].reasons[0]


def test_gouged_cane_is_sorted_by_its_halves_and_sides() -> None:
    half = {key: 3.0 for key in at_target(GOUGE) if key.startswith("crossed")}
    batch = {"uneven halves": at_target(GOUGE, **half), "even": at_target(GOUGE)}
    found = sort_batch(GOUGE, batch, 0.3)
    assert [each.name for each in found] == ["even", "uneven halves"]
    assert found[1].uneven == 3


def test_without_stations_there_is_nothing_to_sort_by() -> None:
    assert sort_batch(SORT, {}, 0.5) == ()
    with pytest.raises(CraftError, match="choose a stage that has some"):
        sort_batch([], {"a": {}}, 0.5)
    with pytest.raises(CraftError, match="give 0 or more"):
        sort_batch(SORT, {"a": {FIRST: Value(Decimal(50))}}, -1.0)
