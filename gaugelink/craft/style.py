"""A maker's way of making a reed, as data: zones, stages, targets, lengths, and how to measure.

No published table of blade thickness by zone was found: the numbers in a style are its maker's
own, a memory made exact and never a promise of tone. A style is a TOML file meant to be edited.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from decimal import Decimal
from importlib import resources
from typing import Literal

import msgspec

from gaugelink.craft.reed import BLADES, Blade, Station
from gaugelink.craft.rules import (
    Balancing,
    Cane,
    Clipping,
    Risk,
    Scraping,
    Slipping,
    Soaking,
    faults,
)
from gaugelink.reading import GaugelinkError
from gaugelink.shelf import Shelf

LONGEST = 200.0
"""Millimetres; no reed of the family is as long."""


class StyleError(GaugelinkError):
    """A style file that cannot be used; the text names the file, the path and the fault."""


class Lengths(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Lengths of the reed in millimetres from the bottom of the tube."""

    tube: float
    blank: float
    """The tied blank is at least this long."""
    tip_line: float
    """Where the line of the tip is scratched."""
    first_day: float
    """The length at which the reed rests after the first day."""
    finished: float


class Settling(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """When a reading counts as standing still."""

    still_for: float = 0.375
    """Seconds. Half-way between two readings of a slow stream, so that a late one changes nothing.
    """
    within: Decimal = Decimal(1)
    """Hundredths: the spread that a still stretch may have, once creep is taken off."""
    creep: Decimal = Decimal(1)
    """Hundredths per second that soft wet cane may give way under the spindle."""
    lift: Decimal = Decimal(6)
    """Hundredths away from the settled value at which the spindle has lifted or moved on."""


class Walking(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """How the maker is walked from station to station; seconds."""

    gesture: float = 0.5
    """A second press within this time of the one before belongs to the same gesture."""
    stale: float = 1.0
    """The oldest that the newest reading may be when it is captured."""
    dwell: float = 0.8
    """How long a settled reading must stand for a capture by dwell."""
    thinnest: Decimal = Decimal(3)
    """Hundredths; a settled reading below it is the bare tongue, not cane."""
    thickest: Decimal = Decimal(150)
    """Hundredths; a settled reading above it is a lifted spindle, not cane."""


class Zone(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A named group of stations that share a target."""

    name: str
    title: str
    heights: list[float]
    across: list[float] = msgspec.field(default_factory=lambda: [0.0])
    blades: list[Blade] = msgspec.field(default_factory=lambda: list(BLADES))

    def stations(self) -> list[Station]:
        """Its stations, blade by blade, from the tube towards the tip, left to right."""
        return [
            Station(blade, height, across)
            for blade in self.blades
            for height in self.heights
            for across in self.across
        ]


class Target(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What a zone should measure at a stage; hundredths of a millimetre."""

    zone: str
    target: Decimal
    tolerance: Decimal = Decimal(1)


class Stage(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A step of the style that is measured."""

    name: str
    title: str
    targets: list[Target]
    day: Literal[1, 2, 3] = 1
    length: float | None = None
    """The reed's length in millimetres at this stage."""
    note: str = ""
    """What the maker does at this stage, in a sentence."""


class Stop(msgspec.Struct, frozen=True):
    """One stop of a stage's walk: a station with its zone and target."""

    station: Station
    zone: str
    target: Decimal
    tolerance: Decimal


class Style(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A style, whole."""

    name: str
    title: str
    lengths: Lengths
    zones: list[Zone]
    stages: list[Stage]
    scrape: Literal["long", "short"] = "long"
    note: str = ""
    settling: Settling = Settling()
    walking: Walking = Walking()
    risk: Risk = Risk()
    scraping: Scraping = Scraping()
    balancing: Balancing = Balancing()
    clipping: Clipping = Clipping()
    soaking: Soaking = Soaking()
    slipping: Slipping = Slipping()
    cane: Cane | None = None
    """Given when it is gouged cane that is measured, not a reed."""

    @property
    def shortest(self) -> Decimal:
        """Millimetres: no clip makes the reed shorter."""
        given = self.clipping.shortest
        return Decimal(str(self.lengths.finished)) if given is None else given

    def zone(self, name: str) -> Zone:
        """The zone of that name; StyleError lists the known ones."""
        for zone in self.zones:
            if zone.name == name:
                return zone
        known = ", ".join(zone.name for zone in self.zones)
        raise StyleError(f"style {self.name} has no zone {name!r}; it has {known}")

    def stage(self, name: str) -> Stage:
        """The stage of that name; StyleError lists the known ones."""
        for stage in self.stages:
            if stage.name == name:
                return stage
        known = ", ".join(stage.name for stage in self.stages)
        raise StyleError(f"style {self.name} has no stage {name!r}; its stages are {known}")

    def stops(self, stage: str) -> list[Stop]:
        """The walk of a stage: one blade whole before the reed is turned over.

        On each blade the zones come in the order of the stage, then upwards, then left to right.
        """
        found = []
        targets = self.stage(stage).targets
        for blade in BLADES:
            for target in targets:
                found += [
                    Stop(station, target.zone, target.target, target.tolerance)
                    for station in self.zone(target.zone).stations()
                    if station.blade == blade
                ]
        return found

    def after(self, stage: str) -> Stage | None:
        """The stage that follows, or None after the last."""
        names = [each.name for each in self.stages]
        index = names.index(self.stage(stage).name) + 1
        return self.stages[index] if index < len(names) else None


Fault = Callable[[str, str], StyleError]
"""Makes the error from the path inside the file and what is wrong there."""


def check(style: Style, source: str) -> None:
    """Refuse what the types alone cannot: StyleError names the file, the path and the fault."""

    def fault(path: str, said: str) -> StyleError:
        return StyleError(f"{source}: {path}: {said}")

    if not style.zones:
        raise fault("zones", "a style needs at least one zone")
    if not style.stages:
        raise fault("stages", "a style needs at least one stage")
    names: set[str] = set()
    for index, zone in enumerate(style.zones):
        path = f"zones[{index}]"
        if zone.name in names:
            raise fault(f"{path}.name", f"{zone.name!r} stands twice")
        names.add(zone.name)
        if not (zone.heights and zone.across and zone.blades):
            raise fault(path, "heights, across and blades must not be empty")
        for place, height in enumerate(zone.heights):
            if not style.lengths.tube < height <= style.lengths.blank:
                raise fault(
                    f"{path}.heights[{place}]",
                    f"{height:g} is not on the cane, between the tube's {style.lengths.tube:g} mm "
                    f"and the blank's {style.lengths.blank:g} mm",
                )
        for place, across in enumerate(zone.across):
            if not -1 <= across <= 1:
                raise fault(f"{path}.across[{place}]", "goes from -1 (left edge) to 1 (right edge)")
    _check_stages(style, names, fault)
    _check_rules(style, fault)
    _check_advice(style, fault)


def _check_stages(style: Style, zones: set[str], fault: Fault) -> None:
    seen: set[str] = set()
    for index, stage in enumerate(style.stages):
        path = f"stages[{index}]"
        if stage.name in seen:
            raise fault(f"{path}.name", f"{stage.name!r} stands twice")
        seen.add(stage.name)
        if stage.length is not None and not style.lengths.tube < stage.length <= LONGEST:
            raise fault(f"{path}.length", f"is in mm, above the tube's, and {LONGEST:g} at most")
        if not stage.targets:
            raise fault(f"{path}.targets", "a stage needs at least one target")
        stations: dict[str, str] = {}
        for place, target in enumerate(stage.targets):
            where = f"{path}.targets[{place}]"
            if target.zone not in zones:
                raise fault(f"{where}.zone", f"no zone is called {target.zone!r}")
            if not (target.target.is_finite() and 1 <= target.target <= 500):
                raise fault(f"{where}.target", "is in hundredths of a millimetre, from 1 to 500")
            if not (target.tolerance.is_finite() and 0 <= target.tolerance <= 50):
                raise fault(f"{where}.tolerance", "is in hundredths of a millimetre, from 0 to 50")
            for station in style.zone(target.zone).stations():
                if station.key in stations:
                    raise fault(
                        f"{where}.zone",
                        f"station {station.key} already belongs to {stations[station.key]}",
                    )
                stations[station.key] = target.zone


def _check_rules(style: Style, fault: Fault) -> None:
    settling, walking, lengths = style.settling, style.walking, style.lengths
    for path, value, low, high in (
        ("settling.still_for", settling.still_for, 0.05, 10),
        ("settling.within", settling.within, 0, 20),
        ("settling.creep", settling.creep, 0, 20),
        ("settling.lift", settling.lift, 1, 500),
        ("walking.gesture", walking.gesture, 0, 5),
        ("walking.stale", walking.stale, 0.05, 60),
        ("walking.dwell", walking.dwell, 0.1, 30),
        ("walking.thinnest", walking.thinnest, -100, 100),
        ("walking.thickest", walking.thickest, 20, 1000),
    ):
        # A Decimal that is not a number cannot be compared, a float can.
        if not (math.isfinite(value) and low <= value <= high):
            raise fault(path, f"{value} must lie from {low} to {high}")
    if not settling.lift > settling.within:
        raise fault("settling.lift", f"must be above within, {settling.within}")
    if not walking.thinnest < walking.thickest:
        raise fault("walking.thickest", f"must be above thinnest, {walking.thinnest}")
    if lengths.tube <= 0 or lengths.blank > LONGEST:
        raise fault("lengths", f"are in mm, above 0, and {LONGEST:g} at most")
    if not lengths.tube < lengths.tip_line < lengths.finished <= lengths.first_day <= lengths.blank:
        raise fault("lengths", "must grow from tube over tip_line and finished to first_day, blank")


def _check_advice(style: Style, fault: Fault) -> None:
    for path, said in faults(
        style.risk,
        style.scraping,
        style.balancing,
        style.clipping,
        style.soaking,
        style.slipping,
    ):
        raise fault(path, said)
    lengths, shortest = style.lengths, style.clipping.shortest
    # A Decimal that is not a number cannot be compared.
    if shortest is not None and not (
        shortest.is_finite() and lengths.tip_line < shortest <= lengths.blank
    ):
        raise fault("clipping.shortest", "is in mm, above the tip line, and the blank's at most")
    if style.cane is not None and style.cane.length != 2 * lengths.blank:
        raise fault("cane.length", f"must be twice the blank's {lengths.blank:g} mm: it is folded")


SHELF = Shelf(
    "style", Style, StyleError, check, lambda: [resources.files("gaugelink.craft") / "styles"]
)
"""The shipped styles, and the user's."""

parse = SHELF.parse
styles = SHELF.all
usable = SHELF.usable
find = SHELF.find
locate = SHELF.locate
