"""A slow follower's mailbox: every event, the newest readings, and a true count of the rest."""

from __future__ import annotations

from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from gaugelink.daemon.followers import Mailbox
from gaugelink.daemon.messages import ReadingEvent, Refused

GAUGES = st.sampled_from(["a", "b", "c"])
STEPS = st.lists(st.one_of(GAUGES, st.just("event"), st.just("take")))


def reading(gauge: str, seq: int) -> ReadingEvent:
    return ReadingEvent(
        gauge, seq, float(seq), Decimal(seq), Decimal(1), "mm", str(seq), "moving", None, 0.0
    )


@given(STEPS)
def test_events_are_never_dropped_and_missed_readings_are_counted(steps: list[str]) -> None:
    mailbox = Mailbox()
    put: list[str] = []
    got: list[str] = []
    sent = dict.fromkeys("abc", 0)
    seen = dict.fromkeys("abc", 0)
    newest = dict.fromkeys("abc", 0)
    for number, step in enumerate([*steps, "take"]):
        if step == "take":
            for event in mailbox.take():
                if isinstance(event, ReadingEvent):
                    assert event.seq == newest[event.gauge]
                    seen[event.gauge] += 1 + event.missed
                else:
                    assert isinstance(event, Refused)
                    got.append(event.text)
            assert not mailbox
        elif step == "event":
            mailbox.put(Refused("bench", "moving", str(number)))
            put.append(str(number))
        else:
            sent[step] += 1
            newest[step] = sent[step]
            mailbox.put(reading(step, sent[step]))
    assert got == put
    assert seen == sent
    assert mailbox.missed <= sum(sent.values())
