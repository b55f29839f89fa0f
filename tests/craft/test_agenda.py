"""What comes next for a reed: by its state, its stage and its rest."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from gaugelink.craft.agenda import NIGHT, agenda
from gaugelink.craft.style import find

STYLE = find("millrace-long")
EVENING = datetime(2031, 5, 4, 20, tzinfo=UTC)


@pytest.mark.parametrize(
    ("state", "stage", "complete", "next_stage", "words"),
    [
        ("blank", "", False, "sort", "Sort the blanks"),
        ("blank", "sort", True, "windows", "Bring the windows level"),
        ("first day", "windows", False, "windows", "go on with Bring the windows level"),
        ("first day", "windows", True, "tip", "Mark and open the tip"),
        ("first day", "balance", True, "rested", "let it rest overnight, then After the night"),
        ("second day", "balance", True, "rested", "After the night"),
        ("second day", "finish", False, "finish", "go on with Finish"),
        ("second day", "finish", True, "", "crow it, clip it, play it"),
        ("finished", "finish", True, "", "play it and note how it plays"),
        ("handed over", "finish", True, "", "nothing to do"),
        ("second day", "gone", True, "", "has no stage 'gone' any more"),
    ],
)
def test_the_next_step(state: str, stage: str, complete: bool, next_stage: str, words: str) -> None:
    found = agenda(STYLE, state, stage, complete, EVENING)
    assert found.stage == next_stage
    assert words in found.text
    assert found.due is None
    assert not found.waits(EVENING)


def test_a_reed_set_aside_says_why() -> None:
    assert agenda(STYLE, "set aside", "tip", False, EVENING, "leaks").text == "set aside: leaks"
    assert "without a reason" in agenda(STYLE, "set aside", "tip", False, EVENING).text


@pytest.mark.parametrize(
    ("stage", "next_stage"), [("windows", "rested"), ("balance", "rested"), ("rested", "finish")]
)
def test_a_resting_reed_waits_for_the_night_to_be_over(stage: str, next_stage: str) -> None:
    found = agenda(STYLE, "resting", stage, False, EVENING)
    assert found.stage == next_stage
    assert found.due == EVENING + NIGHT
    assert found.waits(EVENING + NIGHT - timedelta(seconds=1))
    assert not found.waits(EVENING + NIGHT)
    assert "soak it and see what moved" in found.text


def test_a_reed_that_rests_after_its_last_stage_is_still_looked_at() -> None:
    found = agenda(STYLE, "resting", "finish", True, EVENING)
    assert (found.stage, found.text) == ("finish", "soak it and see what moved")


def test_every_stage_and_state_of_the_shipped_styles_has_a_next_step() -> None:
    from gaugelink.store.records import STATES

    for name in ("millrace-long", "quayside-short", "quayside-cane"):
        style = find(name)
        stages = ["", *(stage.name for stage in style.stages)]
        for state in STATES:
            for stage in stages:
                for complete in (False, True):
                    found = agenda(style, state, stage, complete, EVENING)
                    assert found.text
                    assert found.stage in stages
