"""Means, deviations, analysis of variance and the line against NIST's certified values.

The criterion is the number of digits agreed with the certified value, the log relative error of
NIST's Statistical Reference Datasets. Certified values have 15 digits.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from decimal import Decimal
from importlib import resources
from typing import Any

import pytest

from gaugelink.metrology.anova import OneWay, one_way
from gaugelink.metrology.fitting import fit_line
from gaugelink.metrology.samples import (
    Value,
    lag1_autocorrelation,
    mean,
    standard_deviation,
)
from tests.published.columns import columns
from tests.published.tables import table

CERTIFIED = 14.0
"""Digits asked for: of fifteen certified ones the last is rounded."""

UNIVARIATE = [
    "michelso", "mavro", "lew", "lottery", "numacc1", "numacc2", "numacc3", "numacc4", "pidigits",
]  # fmt: skip


def digits_agreed(found: float, certified: float) -> float:
    """How many leading digits are right, 15 at most."""
    if found == certified:
        return 15.0
    away = abs(found - certified) / (abs(certified) or 1.0)
    return min(15.0, -math.log10(away))


def pi_digits(count: int) -> str:
    """The first digits of pi by Machin's formula."""
    unit: int = 10 ** (count + 20)

    def arctan(inverse: int) -> int:
        power = total = unit // inverse
        odd, sign = 3, -1
        while power:
            power //= inverse * inverse
            total += sign * (power // odd)
            odd, sign = odd + 2, -sign
        return total

    # In two halves: Python refuses to write out a whole number of more than 4300 digits.
    head, tail = divmod(4 * (4 * arctan(5) - arctan(239)), 10 ** (count // 2 + 20))
    return f"{head}{tail:0{count // 2 + 20}d}"[:count]


def series(name: str) -> list[Decimal]:
    """The data of a univariate set, from its file or by its rule."""
    certified = table("strd.toml", name)
    if "data_file" in certified:
        (found,) = columns(certified["data_file"], "y")
    elif name == "pidigits":
        found = [Decimal(each) for each in pi_digits(certified["n"])]
        found[956] = Decimal(3)
    else:
        first = Decimal(str(certified["mean"]))
        tenth = Decimal("0.1")
        found = [first, *[first - tenth, first + tenth] * 500]
    assert len(found) == certified["n"]
    return found


@pytest.mark.parametrize("name", UNIVARIATE)
def test_univariate_to_the_certified_digits(name: str) -> None:
    certified, data = table("strd.toml", name), series(name)
    assert digits_agreed(mean(data), certified["mean"]) >= CERTIFIED
    assert digits_agreed(standard_deviation(data), certified["sd"]) >= CERTIFIED
    found = lag1_autocorrelation(data)
    assert digits_agreed(found, certified["lag1_autocorrelation"]) >= CERTIFIED


@pytest.mark.parametrize(
    ("name", "digits"),
    # Seven digits before the point leave a float nine for the deviation.
    [(name, {"numacc3": 9.0, "numacc4": 8.0}.get(name, 13.0)) for name in UNIVARIATE],
)
def test_floats_lose_only_what_they_could_not_hold(name: str, digits: float) -> None:
    certified, data = table("strd.toml", name), [float(each) for each in series(name)]
    assert digits_agreed(mean(data), certified["mean"]) >= CERTIFIED
    assert digits_agreed(standard_deviation(data), certified["sd"]) >= digits


def test_the_certified_digits_of_pi_hold_one_wrong_digit() -> None:
    certified = table("strd.toml", "pidigits")
    true = [Decimal(each) for each in pi_digits(certified["n"])]
    assert true[956] == 8
    assert mean(true) == 4.5358
    assert digits_agreed(mean(true), certified["mean"]) < 4


def check_anova(found: OneWay, certified: dict[str, Any]) -> None:
    assert found.between.degrees_of_freedom == certified["df_between"]
    assert found.within.degrees_of_freedom == certified["df_within"]
    assert found.between.f is not None
    assert found.r_squared is not None
    for value, name in (
        (found.between.sum_of_squares, "ss_between"),
        (found.between.mean_square, "ms_between"),
        (found.within.sum_of_squares, "ss_within"),
        (found.within.mean_square, "ms_within"),
        (found.between.f, "f_statistic"),
        (found.r_squared, "r_squared"),
        (found.residual_deviation, "residual_sd"),
    ):
        assert digits_agreed(value, certified[name]) >= CERTIFIED, name


def grouped(groups: list[Decimal], values: list[Decimal]) -> list[list[Decimal]]:
    found: dict[Decimal, list[Decimal]] = {}
    for group, value in zip(groups, values, strict=True):
        found.setdefault(group, []).append(value)
    return list(found.values())


@pytest.mark.parametrize("name", ["anova_sirstv", "anova_atmwtag", "anova_smls01"])
def test_one_way_anova_to_the_certified_digits(name: str) -> None:
    certified = table("strd.toml", name)
    groups = grouped(*columns(certified["data_file"], "group", "y"))
    assert len(groups) == certified["groups"]
    assert {len(group) for group in groups} == {certified["replicates"]}
    check_anova(one_way(groups), certified)


def scipys_copy(folder: str, name: str) -> list[list[str]]:
    """The lines of a file of NIST's, split, as the scipy wheel carries them for its own tests."""
    file = resources.files("scipy.stats") / "tests" / "data" / folder / f"{name}.dat"
    return [line.split() for line in file.read_text("ascii").splitlines()]


def certified_anova(lines: list[list[str]]) -> dict[str, Any]:
    """What the header of a file certifies."""

    def after(word: str, place: int) -> list[str]:
        return next(line[place:] for line in lines if line[:place] and line[place - 1] == word)

    between = next(line[2:] for line in lines if line[:1] == ["Between"])
    within = next(line[2:] for line in lines if line[:1] == ["Within"])
    return {
        "df_between": int(between[0]),
        "ss_between": float(between[1]),
        "ms_between": float(between[2]),
        "f_statistic": float(between[3]),
        "df_within": int(within[0]),
        "ss_within": float(within[1]),
        "ms_within": float(within[2]),
        "r_squared": float(after("R-Squared", 2)[0]),
        "residual_sd": float(after("Deviation", 2)[0]),
    }


def data_of(lines: list[list[str]]) -> Iterator[list[Value]]:
    # The header describes the data under the same word.
    start = max(index for index, line in enumerate(lines) if line[:1] == ["Data:"])
    for line in lines[start + 1 :]:
        yield [Decimal(each) for each in line]


@pytest.mark.parametrize(
    "name", ["SiRstv", "AtmWtAg", *(f"SmLs0{number}" for number in range(1, 10))]
)
def test_every_anova_set_of_nist_up_to_thirteen_constant_leading_digits(name: str) -> None:
    lines = scipys_copy("nist_anova", name)
    groups: dict[Value, list[Value]] = {}
    for group, value in data_of(lines):
        groups.setdefault(group, []).append(value)
    check_anova(one_way(list(groups.values())), certified_anova(lines))


def test_the_copies_of_the_data_are_those_of_scipy() -> None:
    for name, copy in (
        ("SiRstv", "sirstv"),
        ("AtmWtAg", "atmwtag"),
        ("SmLs01", "smls01"),
    ):
        groups, values = columns(f"data/strd_{copy}.csv", "group", "y")
        assert list(map(list, zip(groups, values, strict=True))) == list(
            data_of(scipys_copy("nist_anova", name))
        )


def test_norris_line_to_the_certified_digits() -> None:
    certified = table("strd.toml", "regression_norris")
    y, x = columns(certified["data_file"], "y", "x")
    assert len(x) == certified["n"]
    found = fit_line(x, y)
    assert found.degrees_of_freedom == certified["df_residual"]
    for value, name in (
        (found.intercept, "intercept"),
        (found.slope, "slope"),
        (found.intercept_deviation, "intercept_sd"),
        (found.slope_deviation, "slope_sd"),
        (found.residual_deviation, "residual_sd"),
        (found.r_squared, "r_squared"),
        (found.ss_regression, "ss_regression"),
        (found.ss_residual, "ss_residual"),
        (found.ss_residual / found.degrees_of_freedom, "ms_residual"),
    ):
        assert value is not None
        assert digits_agreed(value, certified[name]) >= CERTIFIED, name
