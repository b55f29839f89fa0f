"""A style drafted from the reeds that played well."""

from __future__ import annotations

import contextlib
import math
import re
from collections.abc import Sequence
from decimal import ROUND_CEILING, Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from gaugelink.craft import style as styles
from gaugelink.craft.style import Style, Target
from gaugelink.craft.style_file import written
from gaugelink.daemon import messages as m
from gaugelink.reading import GaugelinkError

if TYPE_CHECKING:
    from gaugelink.daemon.batches import Graded

FEWEST = 3
"""Good reeds measured at all stations of a zone without which its target is left as it was."""

FINEST = Decimal("0.5")
"""Hundredths: tolerances are rounded up to this."""

WIDEST = Decimal(50)
"""Hundredths: the widest tolerance that a style may have."""

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")


def draft(
    style: Style, good: Sequence[Graded], request: m.DraftStyle, own: Path | None
) -> m.Drafted:
    """Write the draft into the user's folder of styles.

    Raises GaugelinkError for a name that cannot be or is taken, when no zone was measured on
    enough good reeds, and when the file cannot be written.
    """
    if own is None:
        raise GaugelinkError("there is no folder for your own styles: name one with --home")
    if not _NAME.fullmatch(request.name):
        raise GaugelinkError(
            f"{request.name!r} cannot be a style's name; it takes letters, digits, dots and "
            "hyphens, and begins with a letter or a digit"
        )
    if request.name in styles.usable(own)[0]:
        raise GaugelinkError(f"there is a style {request.name!r} already: choose another name")
    drafted, lines = _drafted(style, good, request)
    text = written(drafted, _comments(style, good, request, lines))
    path = own / f"{request.name}.toml"
    # What it says must be what the program reads from it.
    if styles.parse(text, str(path)) != drafted:
        raise GaugelinkError(f"{path}: the draft does not read back as it was meant; report it")
    _write(path, text)
    return m.Drafted(request.name, str(path), text, lines)


def _drafted(
    style: Style, good: Sequence[Graded], request: m.DraftStyle
) -> tuple[Style, list[str]]:
    """The style with the targets that the good reeds have, and what became of each."""
    lines, stages, any_new = [], [], False
    for stage in style.stages:
        targets = []
        for target in stage.targets:
            new, n = _target(style, stage.name, target, good, request)
            targets.append(new)
            any_new = any_new or n >= FEWEST
            lines.append(
                f"{stage.name}, {target.zone}: {new.target:f} ± {new.tolerance:f} from {n} reeds"
                if n >= FEWEST
                else f"{stage.name}, {target.zone}: left at {target.target:f} ± "
                f"{target.tolerance:f}, measured whole on {n} good reeds of {FEWEST} needed"
            )
        stages.append(msgspec.structs.replace(stage, targets=targets))
    if not any_new:
        raise GaugelinkError(
            f"{len(good)} good reeds, and no zone measured whole on {FEWEST} of them: "
            "measure and grade more, or ask for less with --at-least"
        )
    note = (
        f"A draft of {request.day} from {len(good)} reeds graded {request.at_least:f} or better, "
        f"after {style.name}. Look at every number before you work by it: your ear decides."
    )
    return (
        msgspec.structs.replace(
            style,
            name=request.name,
            title=f"{request.name} (draft after {style.name})",
            note=note,
            stages=stages,
        ),
        lines,
    )


def _target(
    style: Style, stage: str, target: Target, good: Sequence[Graded], request: m.DraftStyle
) -> tuple[Target, int]:
    """The target that a zone had on the good reeds, and on how many it was measured whole.

    The mean of the reeds' own means, and half of the tolerance interval of single stations about
    it: the widest of theirs.
    """
    from gaugelink.metrology.tolerance import normal_interval

    keys = [station.key for station in style.zone(target.zone).stations()]
    rows = [
        [float(each.taken[stage, key].hundredths) for key in keys]
        for each in good
        if all((stage, key) in each.taken for key in keys)
    ]
    if len(rows) < FEWEST:
        return target, len(rows)
    middle = math.fsum(map(math.fsum, rows)) / (len(rows) * len(keys))
    half = 0.0
    for values in zip(*rows, strict=True):
        found = normal_interval(values, request.coverage, request.confidence)
        assert found.lower is not None
        assert found.upper is not None
        half = max(half, (found.upper - found.lower) / 2)
    steps = (Decimal(str(half)) / FINEST).to_integral_value(ROUND_CEILING)
    tolerance = min(WIDEST, max(FINEST, steps * FINEST))
    return Target(target.zone, round(Decimal(str(middle)), 1), tolerance), len(rows)


def _comments(
    style: Style, good: Sequence[Graded], request: m.DraftStyle, lines: Sequence[str]
) -> list[str]:
    return [
        f"DRAFTED by gaugelink on {request.day}, no one's style yet: look at every number.",
        f"After {style.name}, from the reeds that were graded {request.at_least:f} or better: "
        f"{', '.join(each.name for each in good)}.",
        f"Each target is their mean. Each tolerance holds {100 * request.coverage:g} % of such",
        f"reeds at every station of the zone, {100 * request.confidence:g} % sure if thickness "
        "scatters normally:",
        "it is wide while the reeds are few.",
        "",
        *lines,
    ]


def _write(path: Path, text: str) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8") as file:
            try:
                file.write(text)
                file.flush()
            except OSError:
                # Half a style would be in the way of every later one.
                with contextlib.suppress(OSError):
                    path.unlink()
                raise
    except FileExistsError as error:
        raise GaugelinkError(f"{path}: is there already; choose another name") from error
    except OSError as error:
        raise GaugelinkError(
            f"{path}: cannot be written ({error.strerror}); change that"
        ) from error
