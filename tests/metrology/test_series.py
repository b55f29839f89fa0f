"""What no analysis takes: too few values, values that are no lengths, values all the same."""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Callable
from decimal import Decimal

import pytest

from gaugelink.metrology.capability import capability
from gaugelink.metrology.charts import individuals
from gaugelink.metrology.conformity import Limits
from gaugelink.metrology.correlation import spearman
from gaugelink.metrology.normality import normality
from gaugelink.metrology.outliers import grubbs, several
from gaugelink.metrology.samples import MetrologyError, Value
from gaugelink.metrology.series import LARGEST, proportion, series, varied
from gaugelink.metrology.tolerance import distribution_free_interval, normal_interval
from gaugelink.metrology.trend import change, drift, order

ANALYSES: dict[str, Callable[[list[Value]], object]] = {
    "individuals": individuals,
    "capability": lambda values: capability(values, Limits(1, 2)),
    "normality": normality,
    "grubbs": grubbs,
    "several": several,
    "normal interval": normal_interval,
    "distribution-free interval": distribution_free_interval,
    "spearman": lambda values: spearman(values, values),
    "drift": drift,
    "change": change,
    "order": order,
}


@pytest.mark.parametrize("name", ANALYSES)
@pytest.mark.parametrize("count", [0, 1])
def test_too_few_values_are_refused_with_what_to_do(name: str, count: int) -> None:
    with pytest.raises(MetrologyError, match=r"needs \d+ values or more, \d came; measure more"):
        ANALYSES[name]([59.0] * count)


@pytest.mark.parametrize("name", ANALYSES)
@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, 2 * LARGEST, Decimal("NaN")])
def test_a_value_that_is_no_length_is_refused_by_its_place(name: str, bad: Value) -> None:
    values: list[Value] = [float(each) for each in range(50)]
    values[6] = bad
    with pytest.raises(MetrologyError, match=r"^value 7 is .*; leave it out of "):
        ANALYSES[name](values)


@pytest.mark.parametrize("name", ["capability", "normality", "grubbs", "several", "spearman"])
def test_values_all_the_same_are_refused_where_scatter_is_needed(name: str) -> None:
    with pytest.raises(MetrologyError, match="all values are the same"):
        ANALYSES[name]([59.0] * 20)


def test_decimals_are_taken_as_they_are() -> None:
    assert series([Decimal("59.1"), 60], 2, "a test") == (59.1, 60.0)
    assert varied([Decimal("59.1"), 60], 2, "a test") == (59.1, 60.0)


@pytest.mark.parametrize("value", [0.0, 1.0, -0.1, 1.1, math.nan])
def test_a_probability_lies_between_nothing_and_certainty(value: float) -> None:
    assert proportion(0.5, "alpha") == 0.5
    with pytest.raises(MetrologyError, match=r"alpha is .*; choose it between 0 and 1"):
        proportion(value, "alpha")


def test_the_room_is_imported_without_scipy_and_charts_are_drawn_without_it() -> None:
    program = (
        "import sys; from gaugelink.metrology import words, charts, trend; "
        "words.say_chart(charts.individuals([1, 2, 3, 2, 1])); "
        "words.say_order(trend.order([1, 2, 3, 2, 1])); "
        "print(sorted({'scipy', 'numpy'} & set(sys.modules)))"
    )
    ran = subprocess.run([sys.executable, "-c", program], capture_output=True, check=True)
    assert ran.stdout.split() == [b"[]"]
