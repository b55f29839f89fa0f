"""How far the verdicts on a reed can be trusted, by what is known of its gauges."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gaugelink.daemon.client import Client
    from gaugelink.daemon.messages import CaptureRecord, Trusted

BY = {
    "proof and study": "by its proof and your study",
    "proof": "by its proof; a study would add your hand: gaugelink study plan",
    "study": "by your study; a proof would add the gauge's own errors: gaugelink prove",
}
"""What it is known from, and what would say more."""


async def known(client: Client, captures: Sequence[CaptureRecord]) -> list[Trusted]:
    """What is known of each gauge that measured, by the coarsest digit that it showed."""
    from gaugelink.daemon import messages as m

    gauges = dict.fromkeys(each.gauge for each in captures)
    return [
        await client.ask(
            m.AskTrust(
                gauge=gauge,
                resolution=max(each.resolution for each in captures if each.gauge == gauge),
            )
        )
        for gauge in gauges
    ]


def sureness(
    capture: CaptureRecord, captures: Sequence[CaptureRecord], trusted: Sequence[Trusted]
) -> str:
    """How far the verdict on a place can be trusted, in a few words.

    Empty when nothing is known of its gauge. Readings of the same pass, retaken ones too, are of
    the same thickness, for nothing is scraped between them.
    """
    from gaugelink.metrology.trust import Trust, judge_place, say_judged

    by = next((each for each in trusted if each.gauge == capture.gauge), None)
    if by is None or by.source == "last digit":
        return ""
    place = (capture.walk, capture.in_pass, capture.station, capture.gauge)
    readings = [
        each.hundredths
        for each in captures
        if (each.walk, each.in_pass, each.station, each.gauge) == place
    ]
    judged = judge_place(
        readings,
        capture.target,
        capture.tolerance,
        capture.resolution,
        Trust(by.repeatability, by.systematic, by.source),
    )
    return say_judged(judged, capture.verdict.word)


def sentence(trusted: Trusted) -> str:
    """How good one value of a gauge is, and by what that is known."""
    if trusted.source == "last digit":
        return f"how sure that is cannot be said: {trusted.gauge} was never proved: gaugelink prove"
    old = "; it was proved too long ago: prove it again" if trusted.old else ""
    good = f"one value of {trusted.gauge} is good to ±{2 * trusted.standard:.1f}"
    return f"{good}, {BY[trusted.source]}{old}"
