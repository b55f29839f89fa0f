"""What is said at the bench: the sentence for each finding, and no jargon unless asked for."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.metrology.capability import capability
from gaugelink.metrology.charts import individuals
from gaugelink.metrology.conformity import Limits
from gaugelink.metrology.correlation import spearman
from gaugelink.metrology.normality import normality
from gaugelink.metrology.outliers import grubbs, several
from gaugelink.metrology.tolerance import distribution_free_interval, normal_interval
from gaugelink.metrology.trend import order
from gaugelink.metrology.words import (
    Sentences,
    Things,
    amount,
    say_capability,
    say_chart,
    say_correlation,
    say_grubbs,
    say_interval,
    say_normality,
    say_order,
    say_several,
)
from tests.metrology.batches import batches, normal_batch

STEADY = normal_batch(30, seed=4)
ONE_THICK = [*STEADY[:13], 65.0, *STEADY[14:]]
REEDS = Things("reed", "reeds", "longer", "shorter")

SAY: dict[str, Callable[[list[float], bool], Sentences]] = {
    "chart": lambda values, figures: say_chart(individuals(values), figures=figures),
    "capability": lambda values, figures: say_capability(
        capability(values, Limits(-20, 30)), figures=figures
    ),
    "normality": lambda values, figures: say_normality(normality(values), figures=figures),
    "grubbs": lambda values, figures: say_grubbs(grubbs(values), figures=figures),
    "several": lambda values, figures: say_several(several(values), figures=figures),
    "interval": lambda values, figures: say_interval(normal_interval(values), figures=figures),
    "correlation": lambda values, figures: say_correlation(
        spearman(values, sorted(values)), "the gouge", "the crow", figures=figures
    ),
    "order": lambda values, figures: say_order(order(values), figures=figures),
}

JARGON = (
    "sigma", "standard", "deviation", "confidence", "coverage", "interval", "correlation", "median",
    "hypothesis", "significan", "normal", "Cp", "Grubbs", "Spearman", "Kendall", "Shapiro", "ESD",
    "p 0", "nan", "inf",
)  # fmt: skip


@pytest.mark.parametrize("name", SAY)
@given(values=batches(15, 30))
def test_words_are_plain_short_and_without_jargon(name: str, values: list[float]) -> None:
    said = SAY[name](values, False)
    assert said
    for sentence in said:
        assert not any(term in sentence for term in JARGON), sentence
        assert not sentence.endswith(".")
        assert "None" not in sentence
    with_figures = SAY[name](values, True)
    assert with_figures[:-1] == said, "figures come last and change nothing else"
    assert any(digit in with_figures[-1] for digit in "0123456789")


def test_one_that_stands_out() -> None:
    values = [59.0, 59.5, 58.5, 59.0, 59.5, 58.5, 59.0, 63.0]
    assert say_grubbs(grubbs(values)) == ("blank 8 stands out: thicker than the rest by 4",)
    thin = say_grubbs(grubbs([-each for each in values]), REEDS)
    assert thin == ("reed 8 stands out: shorter than the rest by 4",)
    named = Things(names=("A1", "A2", "A3", "A4", "A5", "A6", "A7", "A8"))
    assert say_grubbs(grubbs(values), named) == ("A8 stands out: thicker than the rest by 4",)
    assert say_grubbs(grubbs(values[:-1])) == ("no blank stands out",)


def test_several_that_stand_out() -> None:
    values = [59.0, 59.5, 58.5] * 6 + [66.0, 52.0]
    assert say_several(several(values)) == (
        "blank 19 stands out: thicker than the rest by 7",
        "blank 20 stands out: thinner than the rest by 7",
    )
    assert say_several(several(STEADY)) == ("no blank stands out",)


def test_the_chart_of_one_thick_blank() -> None:
    assert say_chart(individuals(ONE_THICK)) == (
        "blank 14 (thicker by 5.9): unlike the others, so measure again and look for what was "
        "different",
        "from blank 13 to blank 14 is a step of 5.8: more than the others differ by",
        "from blank 14 to blank 15 is a step of 5.5: more than the others differ by",
    )
    assert say_chart(individuals(STEADY)) == (
        "nothing stands out: these blanks differ as neighbours do",
    )


def test_a_run_is_said_once_however_many_rules_it_breaks() -> None:
    values = [59.0, 60.0] * 6 + [61.0, 62.0] * 6
    chart = individuals(values, baseline=[59.0, 60.0] * 10)
    assert {flag.rule for flag in chart.individuals.flags} == {
        "two of three",
        "four of five",
        "one side",
    }
    assert say_chart(chart) == (
        "blank 12 to blank 24: all lie on one side of the middle: a setting or the cane has "
        "changed",
    )


def test_a_run_is_said_as_the_longest_of_its_rules() -> None:
    """One in the middle breaks the run on one side, but not that of most."""
    values = [61.0, 61.0, 59.4, *[61.0] * 9]
    chart = individuals(values, baseline=[59.0, 60.0] * 10)
    assert {flag.rule for flag in chart.individuals.flags} == {"four of five", "one side"}
    assert say_chart(chart) == (
        "blank 1 to blank 12: most lie out on one side: something may have moved a little",
    )


def test_runs_to_either_side_are_not_joined() -> None:
    """They share the window of a rule, yet neither is said to be the other."""
    values = [61.0] * 8 + [58.0] * 8
    chart = individuals(values, baseline=[59.0, 60.0] * 10, rules=["one side"])
    assert [sentence.split(":")[0] for sentence in say_chart(chart)] == [
        "blank 1 to blank 8",
        "blank 9 to blank 16",
    ]
    peak = [59.0, 60.0, 61.0, 62.0, 63.0, 64.0, 63.0, 62.0, 61.0, 60.0, 59.0]
    chart = individuals(peak, rules=["trend"])
    assert [sentence.split(":")[0] for sentence in say_chart(chart)] == [
        "blank 1 to blank 6",
        "blank 6 to blank 11",
    ]


def test_capability_says_how_many_and_what_would_help() -> None:
    values = [59.0, 60.0, 59.5, 60.5, 59.0, 60.0, 61.0, 59.5, 60.0, 60.5] * 3
    assert say_capability(capability(values, Limits(40, 80))) == (
        "hardly any blanks like these will be outside the limits",
    )
    # Mean 59.9 and standard deviation 0.635: the lower limit is 1.574 of it away, which leaves
    # 0.0577 of a normal distribution.
    off = say_capability(capability(values, Limits(58.9, 63.1)))
    assert off[0] == "about 1 in 17 blanks like these will be outside the limits"
    assert off[-1] == "on the whole they are thinner than the middle of the limits by 1.1"
    drifting = [each + index / 8 for index, each in enumerate(values)]
    assert say_capability(capability(drifting, Limits(57, 67)))[-1] == (
        "neighbours differ less than the batch: find what drifts, and more will pass"
    )
    few = say_capability(capability(values[:6], Limits(57, 63)))
    assert few[1].startswith("going by 6 alone it may be as many as 1 in ")
    assert say_capability(capability(values, Limits(upper=50)))[0].startswith("nearly all blanks")
    assert say_capability(capability(values, Limits(lower=59.8)))[0].startswith("about 4 in 10 ")


def test_normality() -> None:
    assert say_normality(normality(STEADY)) == ("these blanks scatter as chance does",)
    assert say_normality(normality(STEADY[:5])) == (
        "nothing odd shows in these blanks, but 5 are few to show it",
    )
    assert say_normality(normality(ONE_THICK)) == (
        "these blanks do not scatter as chance does: two kinds are mixed, or some stand out",
    )


def test_intervals_are_rounded_outwards() -> None:
    values = [59.0 + (index * 7 % 46) / 20 for index in range(46)]
    # The 46 that nine in ten ask for are right 95.2 times in 100.
    assert say_interval(distribution_free_interval(values)) == (
        "at least 9 in 10 blanks like these are between 59 and 61.3",
        "that is right 19 times in 20",
    )
    low = normal_interval(values, coverage=0.95, confidence=0.999, side="low")
    assert low.lower is not None
    said = say_interval(low)
    assert said[0].startswith("at least 19 in 20 blanks like these are above ")
    assert low.lower - 0.1 < float(said[0].split()[-1]) <= low.lower
    assert said[1] == "that is right 999 times in 1000"
    high = normal_interval(values, coverage=0.97, side="high")
    assert high.upper is not None
    said = say_interval(high)
    assert said[0].startswith("at least 97 in 100 blanks like these are below ")
    assert high.upper <= float(said[0].split()[-1]) < high.upper + 0.1


def test_correlation() -> None:
    rising = [float(each) for each in range(12)]
    swapped = [1.0, 0.0, 3.0, 2.0, 5.0, 4.0, 7.0, 6.0, 9.0, 8.0, 11.0, 10.0]
    assert say_correlation(spearman(rising, swapped), "the gouge", "the crow", REEDS) == (
        "in these 12 reeds the gouge and the crow rise together, closely",
    )
    assert say_correlation(spearman(rising, swapped[::-1]), "the gouge", "the crow", REEDS) == (
        "in these 12 reeds the crow falls as the gouge rises, closely",
    )
    loose = spearman(rising, [4.0, 3.0, 0.0, 8.0, 2.0, 9.0, 1.0, 5.0, 6.0, 11.0, 7.0, 10.0])
    assert loose.told
    assert loose.rho < 0.7
    assert say_correlation(loose, "the gouge", "the crow")[0].endswith("rise together, loosely")
    few = spearman(rising[:5], [1.0, 0.0, 4.0, 2.0, 3.0])
    assert say_correlation(few, "the gouge", "the crow", REEDS) == (
        "5 reeds do not show that the gouge and the crow go together",
        f"if they do as much as it looks, about {few.more} more would show it",
    )
    none = spearman(rising[:5], [2.0, 4.0, 0.0, 1.0, 3.0][::-1])
    assert abs(none.rho) < 0.31
    nothing = spearman([1.0, 2.0, 3.0, 4.0, 5.0], [1.0, 2.0, 9.0, 2.0, 1.0])
    assert say_correlation(nothing, "the gouge", "the crow")[1] == (
        "if they do, it is too little to matter"
    )


def test_the_order_of_making() -> None:
    ripple = [59.0, 59.2, 58.9, 59.1]
    sinking = [each - index / 5 for index, each in enumerate(ripple * 5)]
    (said,) = say_order(order(sinking))
    assert said.startswith("they get thinner from first to last, by 3.8 in all: look for a gouge")
    stepped = [*ripple * 3, *(each + 2 for each in ripple * 3)]
    assert say_order(order(stepped)) == (
        "from blank 13 on they are thicker by 2: what was changed there?",
    )
    assert say_order(order(ripple * 5), REEDS) == (
        "these reeds neither drift nor change as they go on",
    )


@pytest.mark.parametrize(
    ("size", "text"),
    [
        (4.0, "4"), (-4.04, "4"), (3.96, "4"), (4.26, "4.3"), (0.1, "0.1"), (12.4, "12"),
        (10.0, "10"), (100.0, "100"), (0.04, "less than 0.1"), (0.0, "less than 0.1"),
    ],
)  # fmt: skip
def test_amounts(size: float, text: str) -> None:
    assert amount(size) == text


@given(st.integers(0, 1000))
def test_any_batch_of_chance_can_be_said(seed: int) -> None:
    rolls = random.Random(seed)
    values = [round(rolls.gauss(59, rolls.choice([0.1, 1, 5])), 1) for _ in range(20)]
    for say in SAY.values():
        assert all(sentence == sentence.strip() for sentence in say(values, True))
