"""Serves simulated Bluetooth indicators on a bus of their own until it is ended."""

from __future__ import annotations

import asyncio
from decimal import Decimal
from pathlib import Path

import msgspec
from dbus_fast.aio import MessageBus

from gaugelink.craft.style import Style
from gaugelink.devices.bluetooth.assigned import INDUSTRIAL_MEASUREMENT
from gaugelink.devices.bluetooth.offers import over_bluetooth
from gaugelink.devices.bluetooth.presentation import Presentation
from gaugelink.devices.description import ByPacket, Decoding, Description
from simulators.bluetooth.adapter import PATH, Adapter
from simulators.bluetooth.commands import (
    Battery,
    Drop,
    HalfOpen,
    Hang,
    RadioCommand,
    SendSpecial,
    Slow,
    SwitchAdapter,
    Vanish,
    parse,
)
from simulators.bluetooth.daemon import private_bus
from simulators.bluetooth.gatt import (
    PRESENTED_VALUE,
    UART_OUT,
    DescriptorKind,
    battery,
    presenting,
    uart,
)
from simulators.bluetooth.peer import Identity, Peer
from simulators.bluetooth.tree import Tree
from simulators.commands import CommandError, Done, Failed, Said, read_script
from simulators.encoding import Encoder, EncodingError
from simulators.indicator import Indicator, check
from simulators.presented import special
from simulators.scene import Scene
from simulators.serving import Hushed, attend, say, until_told

SERVICE = "org.bluez"

ADDRESSES = "C4:5A:1E:00:00:{:02X}"
"""Random static addresses, as small devices have them; the first indicator's ends in 01."""

TRIAL = Decimal(43)
"""Hundredths that every indicator can say; one that cannot is not served."""

NEAR = -58
"""dBm of the first indicator; each further one is a little weaker."""

DIAL_INDICATOR = 0x1483

BYSTANDERS = (
    Identity("C4:5A:1E:00:00:F1", "Lamp over the bench", -41),
    Identity("C4:5A:1E:00:00:F2", "", -83),
)
"""Other people's devices, which are no indicators and cannot be connected."""


class Setup(msgspec.Struct, frozen=True):
    """What to serve."""

    style: Style
    stage: str
    seed: int
    rate: float
    """Samples per second."""
    name: str
    presented: Presentation
    descriptor: DescriptorKind = "right"
    texts: tuple[Description, ...] = ()
    """Text formats: the first indicator speaks the first, each further one is an indicator more."""
    presents: bool = True
    """Whether the first indicator presents its value instead of sending text."""
    battery: int | None = 87
    """Percent; None for indicators that tell of no battery."""
    script: Path | None = None
    until_eof: bool = False
    """End with standard input, so that whoever holds its other end cannot leave it behind."""


def described(presented: Presentation) -> Description:
    """The description of an indicator that presents its value."""
    return Description(
        name="presented",
        title="Presented by the device itself",
        framing=ByPacket(),
        decoding=Decoding(presentation=presented),
    )


class Bench:
    """All indicators near the adapter, on one scene: what is served."""

    def __init__(self, setup: Setup, tree: Tree) -> None:
        self._setup = setup
        self._adapter = Adapter(tree, setup.seed)
        self._scene = Scene(setup.style, setup.stage, setup.seed, setup.rate)
        first = [described(setup.presented)] if setup.presents else []
        spoken = [*first, *map(over_bluetooth, setup.texts)]
        self._peers: list[Peer] = []
        self._indicators: list[Indicator] = []
        script = (
            read_script(setup.script, lambda command: check(command, self._scene, spoken[0]))
            if setup.script
            else []
        )
        for number, description in enumerate(spoken):
            peer = self._peer(tree, number, description)
            encoder = Encoder(description)
            encoder.encode(TRIAL)
            indicator = Indicator(
                description,
                encoder,
                self._scene,
                peer,
                seed=setup.seed,
                rate=setup.rate,
                script=script if number == 0 else (),
            )
            peer.received = indicator.heard
            self._peers.append(peer)
            self._indicators.append(indicator)
        strangers = [Peer(tree, PATH, identity, ()) for identity in BYSTANDERS]
        self._adapter.peers = [*self._peers, *strangers]

    def _peer(self, tree: Tree, number: int, description: Description) -> Peer:
        setup = self._setup
        text = description.decoding.presentation is None
        service = uart() if text else presenting(setup.presented, setup.descriptor)
        services = (service,) if setup.battery is None else (service, battery())
        identity = Identity(
            ADDRESSES.format(number + 1),
            setup.name if number == 0 else f"{setup.name} {number + 1}",
            NEAR - 6 * number,
            DIAL_INDICATOR if number == 0 else None,
            () if text else (INDUSTRIAL_MEASUREMENT,),
        )
        peer = Peer(
            tree,
            PATH,
            identity,
            services,
            value=UART_OUT if text else PRESENTED_VALUE,
            powered=lambda: self._adapter.powered,
            in_pieces=text,
        )
        if setup.battery is not None:
            peer.battery = setup.battery
        return peer

    @property
    def ended(self) -> bool:
        """Whether it has been told to quit."""
        return self._indicators[0].ended

    def appear(self) -> None:
        """Put the adapter into the tree, and let the devices announce themselves to it."""
        self._adapter.appear()

    def tick(self) -> list[Said]:
        """One sample: the first indicator moves the scene on, the others show it too."""
        said = self._indicators[0].tick()
        for other in self._indicators[1:]:
            other.show()
        return said

    def obey(self, line: bytes) -> Said:
        """Do the command in a line and answer it."""
        try:
            command = parse(line)
            if not isinstance(command, RadioCommand):
                return self._indicators[0].do(command)
            self._do(command)
        except (CommandError, EncodingError) as error:
            return Failed(str(error))
        return Done(str(command.__struct_config__.tag))

    def _do(self, command: RadioCommand) -> None:
        match command:
            case SwitchAdapter(on):
                self._adapter.switch(on)
            case SendSpecial(means):
                if not self._setup.presents:
                    raise CommandError("only a float can say that it is no number")
                self._peers[0].send(special(self._setup.presented, means))
            case Drop(which):
                self._which(which).lose()
            case Vanish(which):
                self._which(which).vanish()
            case Hang(on, which):
                self._which(which).hung = on
            case Slow(seconds, which):
                self._which(which).discovery = seconds
            case HalfOpen(on, which):
                self._which(which).half_open = on
            case Battery(percent, which):
                self._which(which).set_battery(percent)

    def _which(self, number: int) -> Peer:
        if number >= len(self._peers):
            raise CommandError(f"there is no peer {number}; the first is 0")
        return self._peers[number]


async def serve(setup: Setup) -> None:
    """Serve until a signal, `quit`, or no one listening to the answers any more.

    Raises GaugelinkError, before anything is printed, for a setup that cannot be served.
    """
    try:
        async with private_bus() as address:
            bus = await MessageBus(bus_address=address).connect()
            try:
                tree = Tree(bus)
                bench = Bench(setup, tree)
                async with asyncio.TaskGroup() as tasks:
                    await tree.open(SERVICE, tasks)
                    await _attend(bench, tree, address, setup)
            finally:
                bus.disconnect()
    except* Hushed:
        # Nothing that it could answer would be read: that is an end, not a failure.
        pass


async def _attend(bench: Bench, tree: Tree, address: str, setup: Setup) -> None:
    bench.appear()
    try:
        with until_told() as ended:
            say(address)
            await attend(bench, setup.rate, ended, until_eof=setup.until_eof)
    finally:
        tree.close()
