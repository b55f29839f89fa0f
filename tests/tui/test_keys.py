"""Keys, as the maker configures them."""

from __future__ import annotations

import pytest

from tui.keys import ACTIONS, KeysError, bindings, effective, shown


def test_pedals_and_keyboard_foot_switches_capture_by_default() -> None:
    assert effective()["capture"] == ("space", "enter", "pagedown", "right")
    assert effective()["back"] == ("pageup", "left")


def test_own_keys_take_the_place_of_the_default_ones() -> None:
    found = effective({"capture": ["f5", "ctrl+k"], "help": ["h"]})
    assert found["capture"] == ("f5", "ctrl+k")
    assert found["help"] == ("h",)
    assert found["skip"] == ("k",)


def test_two_actions_may_swap_their_keys() -> None:
    found = effective({"skip": ["r"], "retake": ["k"]})
    assert (found["skip"], found["retake"]) == (("r",), ("k",))


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"cpature": ["space"]}, "no action is called 'cpature'; there are: advice, again, back"),
        ({"capture": ["spacebar"]}, "keys.capture: no key is called 'spacebar'"),
        ({"capture": ["ctrl+"]}, "keys.capture: no key is called 'ctrl+'"),
        ({"capture": ["hold+x"]}, "keys.capture: no key is called 'hold+x'"),
        ({"capture": []}, "keys.capture: expected a list with at least one key"),
        ({"capture": "space"}, "keys.capture: expected a list with at least one key"),
        ({"capture": ["k"]}, "keys.skip: 'k' already means 'capture'"),
    ],
)
def test_wrong_keys_are_named(keys: dict[str, list[str]], said: str) -> None:
    with pytest.raises(KeysError) as caught:
        bindings(keys)
    assert said in str(caught.value)


def test_every_action_is_bound_once() -> None:
    assert [binding.id for binding in bindings()] == [action.id for action in ACTIONS]
    on_bench = {binding.id for binding in bindings(everywhere=False)}
    on_all = {binding.id for binding in bindings(everywhere=True)}
    assert not on_bench & on_all
    assert on_bench | on_all == {action.id for action in ACTIONS}


@pytest.mark.parametrize(
    ("key", "name"),
    [
        ("pagedown", "PgDn"),
        ("right", "→"),
        ("space", "Space"),
        ("?", "?"),
        ("S", "S"),
        ("f1", "F1"),
        ("ctrl+p", "Ctrl+p"),
    ],
)
def test_keys_are_shown_as_they_stand_on_the_keyboard(key: str, name: str) -> None:
    assert shown(key) == name
