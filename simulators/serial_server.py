"""Serves one simulated indicator on a pseudo-terminal until it is ended."""

from __future__ import annotations

import asyncio
from decimal import Decimal
from pathlib import Path

import msgspec

from gaugelink.craft.lessons import Start
from gaugelink.craft.style import Style
from gaugelink.devices.description import Description
from simulators.commands import read_script
from simulators.encoding import Encoder
from simulators.indicator import Indicator, check
from simulators.maker import EXACT, Placing
from simulators.scene import Scene
from simulators.serial_pty import PseudoTerminal
from simulators.serving import Hushed, attend, say, until_told

TRIAL = Decimal(43)
"""Hundredths that every indicator can say; one that cannot is not served."""


class Setup(msgspec.Struct, frozen=True):
    """What to serve."""

    description: Description
    style: Style
    stage: str
    seed: int
    rate: float
    """Samples per second."""
    start: Start | None = None
    """The state of a lesson."""
    placing: Placing = EXACT
    """How exactly the maker finds a station."""
    script: Path | None = None
    link: Path | None = None
    until_eof: bool = False
    """End with standard input, so that whoever holds its other end cannot leave it behind."""


async def serve(setup: Setup) -> None:
    """Serve until a signal, `quit`, or no one listening to the answers any more.

    Raises GaugelinkError, before anything is printed, for a setup that cannot be served.
    """
    loop = asyncio.get_running_loop()

    def opened(master: int) -> None:
        loop.add_reader(master, lambda: indicator.heard(port.received()))

    def closing(master: int) -> None:
        loop.remove_reader(master)

    port = PseudoTerminal(setup.description.link, setup.link, opened, closing)
    scene = Scene(
        setup.style,
        setup.stage,
        setup.seed,
        setup.rate,
        start=setup.start,
        placing=setup.placing,
    )
    script = (
        read_script(setup.script, lambda command: check(command, scene, setup.description))
        if setup.script
        else []
    )
    encoder = Encoder(setup.description)
    encoder.encode(TRIAL)
    indicator = Indicator(
        setup.description,
        encoder,
        scene,
        port,
        seed=setup.seed,
        rate=setup.rate,
        script=script,
    )
    try:
        with until_told() as ended:
            say(port.plug())
            await attend(indicator, setup.rate, ended, until_eof=setup.until_eof)
    except* Hushed:
        # Nothing that it could answer would be read: that is an end, not a failure.
        pass
    finally:
        port.unplug()
