"""What a gauge sends, shown byte by byte."""

from __future__ import annotations

import pytest

from gaugelink.daemon.client import HubGone
from gaugelink.daemon.messages import (
    Follow,
)
from tests.tui.bench import bench
from tests.tui.gauges import (
    OTHER,
    follows,
    gauges_page,
    hub,
    open_page,
    raw,
)
from tui import scene
from tui.widgets.raw_view import RawView


async def test_bytes_are_followed_only_while_they_are_shown() -> None:
    async with gauges_page() as on:
        await on.at.press("b")
        assert follows(on) == [([], False), ([scene.GAUGE], True)]
        assert all(each.readings for each in on.at.client.asked(Follow))
        await on.at.press("b")
        assert follows(on)[2:] == [([], False)]
        await on.at.press("b", "escape")
        assert follows(on)[3:] == [([scene.GAUGE], True), ([], False)]


async def test_the_benchs_own_readings_go_on_while_another_gauge_is_looked_at() -> None:
    async with gauges_page() as on:
        await on.at.press("b", "down")
        assert follows(on)[-1] == ([scene.GAUGE, OTHER], True)
        await on.at.hear(raw(b"own\r"), raw(b"theirs\r", gauge=OTHER))
        assert "theirs" in on.shows("#raw-rows")
        assert "own" not in on.shows("#raw-rows")


async def test_bytes_are_followed_again_when_the_hub_came_back() -> None:
    first, second = hub(), hub()
    async with bench(clients=[first, second], look_every=0) as at:
        await at.until(lambda: at.app.state is not None and at.app.state.walk is not None)
        at.client = first
        await open_page(at)
        await at.press("b")
        first.leave(HubGone("it was ended."))
        await at.until(lambda: bool(second.asked(Follow)))
        await at.until(lambda: second.asked(Follow)[-1].raw)
        assert len(second.asked(Follow)) == 1


async def test_bytes_are_shown_with_time_text_and_hexadecimal() -> None:
    async with gauges_page() as on:
        await on.at.press("b")
        assert on.shows("#raw-head") == "what dial sends · nothing came yet"
        await on.at.hear(raw(b"+00.43 mm\r", 100.0), raw(b"\x02\xa3\x03\r\n", 101.25))
        first, second = on.shows("#raw-rows").splitlines()
        assert first.split() == [
            *["0.000", "+00.43", "mm␍"],
            *["2B", "30", "30", "2E", "34", "33", "20", "6D", "6D", "0D"],
        ]
        assert second.split() == ["1.250", "␂\\xA3␃␍␊", *["02", "A3", "03", "0D", "0A"]]
        assert on.shows("#raw-head") == "what dial sends · 15 bytes"


async def test_what_a_slow_follower_missed_is_said() -> None:
    async with gauges_page() as on:
        await on.at.press("b")
        await on.at.hear(raw(b"1.00\r"), raw(b"2.00\r", missed=300))
        assert on.shows("#raw-head") == "what dial sends · 310 bytes · 300 not shown"


async def test_a_flood_is_painted_once_a_frame_and_what_was_not_shown_is_counted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    painted = 0
    paint = RawView._paint

    def counted(view: RawView) -> None:
        nonlocal painted
        painted += 1
        paint(view)

    monkeypatch.setattr(RawView, "_paint", counted)
    async with gauges_page(frame=0.5) as on:
        await on.at.press("b")
        painted = 0
        flood = [raw(b"%015d\r" % number, 100 + number / 1e4) for number in range(5000)]
        on.at.client.say(*flood[:-1])
        await on.at.press("down", "up")
        assert on.selected == [scene.GAUGE], "the keys go on being heard"
        await on.at.press("b", "b")
        painted = 0
        on.at.client.say(*flood)
        await on.at.client.heard()
        await on.at.until(lambda: "000000000004999" in on.shows("#raw-rows"))
        assert painted <= 20
        raw_view = on.page.query_one(RawView)
        assert len(list(raw_view._lines)) <= 400
        lines = len(on.shows("#raw-rows").splitlines())
        hidden = raw_view._shown.skipped
        assert 16 * (5000 - painted * lines) <= hidden <= 16 * (5000 - lines)
        assert on.shows("#raw-head").endswith(f"{hidden} not shown")


async def test_bytes_can_be_paused_and_looked_back_at() -> None:
    async with gauges_page() as on:
        await on.at.press("b")
        await on.at.hear(*(raw(b"%03d\r" % number) for number in range(100)))
        await on.at.press("p")
        stood = on.shows("#raw-rows")
        assert "099␍" in stood
        await on.at.hear(raw(b"100\r"))
        assert on.shows("#raw-rows") == stood
        assert on.shows("#raw-head").startswith("what dial sends · PAUSED · 4 bytes came since")
        await on.at.press("pageup")
        assert "099␍" not in on.shows("#raw-rows")
        assert stood.splitlines()[0] in on.shows("#raw-rows")
        await on.at.press(*["pageup"] * 20)
        assert on.shows("#raw-rows").splitlines()[0].split()[1] == "000␍"
        await on.at.press(*["pagedown"] * 20)
        assert on.shows("#raw-rows") == stood
        await on.at.press("space")
        assert "100␍" in on.shows("#raw-rows")
        assert "PAUSED" not in on.shows("#raw-head")


async def test_looking_back_pauses() -> None:
    async with gauges_page() as on:
        await on.at.press("b")
        await on.at.hear(*(raw(b"%03d\r" % number) for number in range(100)))
        await on.at.press("pageup")
        assert "PAUSED" in on.shows("#raw-head")
        assert "099␍" not in on.shows("#raw-rows")


async def test_another_gauges_bytes_begin_with_an_empty_sheet() -> None:
    async with gauges_page() as on:
        await on.at.press("b")
        await on.at.hear(raw(b"+1.00\r"))
        await on.at.press("down")
        assert on.shows("#raw-head") == "what window sends · nothing came yet"
        assert "+1.00" not in on.shows("#raw-rows")
        assert on.shows("#raw-rows").startswith("Bytes come while the link is up")
