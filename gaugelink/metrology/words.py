"""What an analysis found, in words that a maker at the bench would use.

Every function gives short sentences, without capital and full stop, as a screen or a command shows
them one to a line. Lengths are hundredths of a millimetre and said as bare numbers. The terms and
figures of statistics come only when they are asked for, in a last sentence.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist

import msgspec

from gaugelink.metrology.capability import Capability, Index
from gaugelink.metrology.charts import Chart, IndividualsChart
from gaugelink.metrology.correlation import Correlation
from gaugelink.metrology.normality import Normality
from gaugelink.metrology.outliers import Grubbs, Outlier, Several
from gaugelink.metrology.run_rules import MEANING, Flag, Rule
from gaugelink.metrology.tolerance import Interval
from gaugelink.metrology.trend import Order

Sentences = tuple[str, ...]

TO_ONE_SIDE: tuple[Rule, ...] = ("one side", "two of three", "four of five")
"""Rules that one shift breaks together; of those with the same stretch the first is said."""

FEW = 8
"""Pieces, or fewer, that seldom show whether they are of one kind; common practice, no source."""

HOPELESS = 1000
"""More reeds than these are not made to settle one question."""


class Things(msgspec.Struct, frozen=True):
    """What was measured, and how one differs from another."""

    one: str = "blank"
    many: str = "blanks"
    more: str = "thicker"
    less: str = "thinner"
    names: tuple[str, ...] = ()
    """What each is called, in their order; otherwise they are numbered from 1."""

    def name(self, index: int) -> str:
        """The name of the one at that place, counted from 0."""
        return self.names[index] if index < len(self.names) else f"{self.one} {index + 1}"

    def differs(self, by: float) -> str:
        """`thicker` or `thinner`, by the sign."""
        return self.more if by > 0 else self.less


BLANKS = Things()


def say_chart(found: IndividualsChart, things: Things = BLANKS, figures: bool = False) -> Sentences:
    """What stands out on the charts: single ones, runs of them, and steps between neighbours.

    A run to one side that lies within another is not said, for it has the same cause.
    """
    chart, runs = found.individuals, _runs(found.individuals)
    said = _say_beyond(chart, things)
    said += [
        f"{things.name(run.first)} to {things.name(run.index)}: {MEANING[run.rule]}"
        for run in runs
        if not any(_within(run, other) for other in runs)
    ]
    for flag in found.ranges.flags:
        first, last = things.name(flag.first), things.name(flag.index)
        step = amount(found.ranges.values[flag.index - found.ranges.first])
        said.append(f"from {first} to {last} is a step of {step}: more than the others differ by")
    if not said:
        said = [f"nothing stands out: these {things.many} differ as neighbours do"]
    if figures:
        said.append(
            f"individuals chart: centre {chart.centre:.4g}, limits {chart.lower:.4g} and "
            f"{chart.upper:.4g}, mean moving range {found.ranges.centre:.3g}"
        )
    return tuple(said)


def _say_beyond(chart: Chart, things: Things) -> list[str]:
    indices = [flag.index for flag in chart.flags if flag.rule == "beyond"]
    places = []
    for index in indices:
        away = chart.values[index - chart.first] - chart.centre
        places.append(f"{things.name(index)} ({things.differs(away)} {_by(away)})")
    return [f"{', '.join(places)}: {MEANING['beyond']}"] if places else []


def _runs(chart: Chart) -> list[Flag]:
    """The flags of rules on several values; those that overlap are joined, if they lean alike."""
    joined: list[Flag] = []
    leaning: tuple[Rule, int] | None = None
    several = [(flag.rule, _lean(chart, flag), flag) for flag in chart.flags]
    for rule, lean, flag in sorted(several, key=lambda each: (each[0], each[1], each[2].index)):
        if rule == "beyond":
            continue
        if leaning == (rule, lean) and flag.first <= joined[-1].index:
            joined[-1] = Flag(joined[-1].first, flag.index, rule)
        else:
            joined.append(flag)
        leaning = rule, lean
    return sorted(joined, key=lambda each: (each.first, each.index))


def _lean(chart: Chart, flag: Flag) -> int:
    """Which way a run that has a side lies, or goes: up 1, down -1; 0 for runs that have none."""
    last = chart.values[flag.index - chart.first]
    if flag.rule in TO_ONE_SIDE:
        return 1 if last > chart.centre else -1
    if flag.rule == "trend":
        return 1 if last > chart.values[flag.index - chart.first - 1] else -1
    return 0


def _within(run: Flag, other: Flag) -> bool:
    """Whether a run to one side is a part of another, or the same and better said by it."""
    if run.rule not in TO_ONE_SIDE or other.rule not in TO_ONE_SIDE:
        return False
    if not (other.first <= run.first and run.index <= other.index):
        return False
    longer = other.index - other.first > run.index - run.first
    return longer or TO_ONE_SIDE.index(other.rule) < TO_ONE_SIDE.index(run.rule)


def say_capability(found: Capability, things: Things = BLANKS, figures: bool = False) -> Sentences:
    """How many are to be expected outside the limits, and what would help."""
    said = [f"{_share(found.outside)} {things.many} like these will be outside the limits"]
    worst = NormalDist().cdf(-3 * found.ppk.lower)
    if worst > 2 * found.outside and worst > 0.001:
        said.append(f"going by {found.n} alone it may be {_share(worst, 'as many as')}")
    if found.cp is not None and found.off is not None and found.cpk.value < 0.75 * found.cp.value:
        how = f"{things.differs(found.off)} than the middle of the limits {_by(found.off)}"
        said.append(f"on the whole they are {how}")
    if found.within < 0.75 * found.overall:
        said.append("neighbours differ less than the batch: find what drifts, and more will pass")
    if figures:
        pairs = (("Cp", found.cp), ("Cpk", found.cpk), ("Pp", found.pp), ("Ppk", found.ppk))
        said.append(", ".join(_index(name, each) for name, each in pairs if each is not None))
    return tuple(said)


def _index(name: str, each: Index) -> str:
    return f"{name} {each.value:.2f} ({each.lower:.2f} to {each.upper:.2f})"


def say_normality(found: Normality, things: Things = BLANKS, figures: bool = False) -> Sentences:
    """Whether the pieces scatter as chance does."""
    if not found.plausible:
        said = [
            f"these {things.many} do not scatter as chance does: two kinds are mixed, or some "
            "stand out"
        ]
    elif found.n <= FEW:
        said = [f"nothing odd shows in these {things.many}, but {found.n} are few to show it"]
    else:
        said = [f"these {things.many} scatter as chance does"]
    if figures:
        said.append(f"Shapiro-Wilk W {found.statistic:.3f}, p {found.p:.2g}")
    return tuple(said)


def say_grubbs(found: Grubbs, things: Things = BLANKS, figures: bool = False) -> Sentences:
    """Whether one stands out, and by how much."""
    said = _say_outliers([found.furthest] if found.stands_out else [], things)
    if figures:
        said.append(f"Grubbs G {found.statistic:.3f}, limit {found.critical:.3f}, p {found.p:.2g}")
    return tuple(said)


def say_several(found: Several, things: Things = BLANKS, figures: bool = False) -> Sentences:
    """Which stand out, and by how much."""
    said = _say_outliers(found.outliers, things)
    if figures:
        steps = ", ".join(f"{each.statistic:.3f} ({each.critical:.3f})" for each in found.steps)
        said.append(f"generalised ESD, each step and its limit: {steps}")
    return tuple(said)


def _say_outliers(outliers: Sequence[Outlier], things: Things) -> list[str]:
    if not outliers:
        return [f"no {things.one} stands out"]
    return [
        f"{things.name(each.index)} stands out: {things.differs(each.away)} than the rest "
        f"{_by(each.away)}"
        for each in outliers
    ]


def say_interval(found: Interval, things: Things = BLANKS, figures: bool = False) -> Sentences:
    """Between which limits most lie; they are rounded outwards to a tenth."""
    low = None if found.lower is None else f"{math.floor(found.lower * 10 + 1e-6) / 10:g}"
    high = None if found.upper is None else f"{math.ceil(found.upper * 10 - 1e-6) / 10:g}"
    if low is not None and high is not None:
        where = f"between {low} and {high}"
    else:
        where = f"above {low}" if high is None else f"below {high}"
    said = [
        f"at least {_out_of(found.coverage)} {things.many} like these are {where}",
        f"that is right {_out_of(found.confidence, ' times')}",
    ]
    if figures:
        said.append(
            f"tolerance interval of {found.n} values: coverage {found.coverage:.4g}, "
            f"confidence {found.confidence:.4g}"
        )
    return tuple(said)


def say_correlation(
    found: Correlation, one: str, two: str, things: Things = BLANKS, figures: bool = False
) -> Sentences:
    """Whether `one` and `two`, named as in "the gouge", go together."""
    if found.told:
        how = "closely" if abs(found.rho) >= 0.7 else "loosely"
        where = f"in these {found.n} {things.many}"
        if found.rho > 0:
            said = [f"{where} {one} and {two} rise together, {how}"]
        else:
            said = [f"{where} {two} falls as {one} rises, {how}"]
    else:
        said = [f"{found.n} {things.many} do not show that {one} and {two} go together"]
        if found.needed is None or found.needed > HOPELESS:
            said.append("if they do, it is too little to matter")
        else:
            more = _round(found.more or 1)
            said.append(f"if they do as much as it looks, about {more} more would show it")
    if figures:
        said.append(
            f"Spearman {found.rho:.2f} ({found.lower:.2f} to {found.upper:.2f}), p {found.p:.2g}"
        )
    return tuple(said)


def say_order(found: Order, things: Things = BLANKS, figures: bool = False) -> Sentences:
    """Whether they go one way in the order of making, or changed at one of them."""
    drift, change = found.drift, found.change
    if found.likely == "drift":
        how = f"{things.differs(drift.statistic)} from first to last"
        total = drift.slope * (drift.n - 1)
        said = [f"they get {how}, {_by(total)} in all: look for a gouge or a knife that moves"]
    elif found.likely == "change":
        by = change.after - change.before
        how = f"{things.differs(by)} {_by(by)}" if by else "not as before"
        said = [f"from {things.name(change.index)} on they are {how}: what was changed there?"]
    else:
        said = [f"these {things.many} neither drift nor change as they go on"]
    if figures:
        said.append(
            f"Mann-Kendall S {drift.statistic}, p {drift.p:.2g}; Theil-Sen slope {drift.slope:.3g} "
            f"({drift.lower:.3g} to {drift.upper:.3g}); Pettitt K {change.statistic}, "
            f"p {change.p:.2g}"
        )
    return tuple(said)


def amount(hundredths: float) -> str:
    """A size without its sign: whole from ten on, else to a tenth."""
    size = abs(hundredths)
    text = f"{size:.0f}" if size >= 10 else f"{size:.1f}".removesuffix(".0")
    return "less than 0.1" if text == "0" else text


def _by(hundredths: float) -> str:
    return f"by {amount(hundredths)}"


def _round(number: float) -> str:
    """To two digits, as one says a number that is not known better."""
    return f"{float(f'{number:.2g}'):.0f}"


def _share(share: float, more: str = "about") -> str:
    """`about 1 in 12`, `about 7 in 10`, `hardly any`, `nearly all`."""
    if share < 0.001:
        return "hardly any"
    if share > 0.94:
        return "nearly all"
    return f"{more} 1 in {_round(1 / share)}" if share < 0.15 else f"{more} {share * 10:.0f} in 10"


def _out_of(share: float, times: str = "") -> str:
    """`9 in 10`, `19 in 20`; what is no such share is rounded down to one in a hundred."""
    if share < 0.01:
        return f"less than 1{times} in 100"
    for parts in (2, 4, 10, 20, 100, 1000):
        if abs(share * parts - round(share * parts)) < 1e-9:
            return f"{round(share * parts)}{times} in {parts}"
    return _out_of(math.floor(share * 100) / 100, times)
