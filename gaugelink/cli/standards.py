"""The file that names the shims or gauge blocks a gauge is proved with, and the limits it is held
to."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from pathlib import Path
from typing import Any

import msgspec

from gaugelink.metrology.proving import Permitted
from gaugelink.metrology.standards import Standard
from gaugelink.reading import GaugelinkError
from gaugelink.units import UnitError, factor

THICKEST = 10_000
"""Hundredths of a millimetre: no blade is measured against a thicker standard."""


class StandardsError(GaugelinkError):
    """A file of standards that cannot be used; the text names the file, the path and the fault."""


class Block(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A shim or a block; lengths in the file's unit."""

    nominal: Decimal
    """What it is marked with, or the value on its certificate."""
    tolerance: Decimal | None = None
    """How far from that it may be."""
    expanded: Decimal | None = None
    """The expanded uncertainty on its certificate, instead of a tolerance."""
    k: float = 2.0
    """The coverage factor of that."""


class Limits(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What the maker permits; lengths in the file's unit."""

    error: Decimal | None = None
    span: Decimal | None = None
    repeatability: Decimal | None = None
    hysteresis: Decimal | None = None
    linearity: Decimal | None = None


class File(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The file, whole."""

    standards: list[Block]
    unit: str = "mm"
    title: str = ""
    limits: Limits = Limits()


def load(path: Path) -> tuple[tuple[Standard, ...], Permitted]:
    """The standards of a file and the limits, in hundredths of a millimetre.

    StandardsError says why it cannot be read or used.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise StandardsError(f"{path}: cannot be read: {error}") from error
    return parse(text, str(path))


def parse(text: str, source: str) -> tuple[tuple[Standard, ...], Permitted]:
    """Like `load`, from TOML text; the error names `source`."""
    try:
        # As decimals: what a block is marked with is exact.
        found = msgspec.convert(tomllib.loads(text, parse_float=Decimal), File)
        scale = factor(found.unit)
    except msgspec.ValidationError as error:
        raise StandardsError(f"{source}: {error}") from error
    except UnitError as error:
        raise StandardsError(f"{source}: unit: {error}") from error
    except (ValueError, RecursionError, ArithmeticError) as error:
        raise StandardsError(f"{source}: not valid TOML: {error}") from error
    if not found.standards:
        raise StandardsError(f"{source}: standards: name one or more")
    blocks = tuple(
        _standard(block, scale, f"{source}: standards[{index}]")
        for index, block in enumerate(found.standards)
    )
    permitted = {
        name: _permitted(value, scale, f"{source}: limits.{name}")
        for name, value in msgspec.structs.asdict(found.limits).items()
    }
    return blocks, Permitted(**permitted)


def _standard(block: Block, scale: Decimal, where: str) -> Standard:
    doubt: Any = block.tolerance if block.expanded is None else block.expanded
    if (block.tolerance is None) == (block.expanded is None):
        raise StandardsError(f"{where}: give its tolerance, or its expanded uncertainty and k")
    if not (block.nominal.is_finite() and 0 < block.nominal * scale <= THICKEST):
        raise StandardsError(f"{where}.nominal: must lie above 0, up to {THICKEST / 100:g} mm")
    if not (doubt.is_finite() and 0 <= doubt < block.nominal):
        raise StandardsError(f"{where}: its doubt must lie from 0 to less than its nominal")
    if not 0 < block.k < 100:
        raise StandardsError(f"{where}.k: must lie above 0, as 2 on most certificates")
    if block.expanded is None:
        return Standard(block.nominal * scale, doubt * scale)
    return Standard(block.nominal * scale, doubt * scale, "expanded", block.k)


def _permitted(value: Decimal | None, scale: Decimal, where: str) -> float | None:
    if value is None:
        return None
    if not (value.is_finite() and value > 0):
        raise StandardsError(f"{where}: must be above 0; leave it out if it is not judged")
    return float(value * scale)
