"""A change of level against the most studied one: the Nile at Aswan."""

from __future__ import annotations

import pytest

from gaugelink.metrology.trend import change, order
from tests.published.tables import table

NILE = table("trend.toml", "nile")


def test_the_nile_falls_after_1898() -> None:
    from statsmodels.datasets import nile  # type: ignore[import-untyped]

    data = nile.load_pandas().data
    years, flow = data["year"].tolist(), data["volume"].tolist()
    found = change(flow)
    assert years[found.index] == NILE["first_year_of_the_new_level"]
    assert found.statistic == NILE["K"]
    assert found.p == pytest.approx(NILE["p_value"], rel=5e-4)
    assert order(flow).likely == "change"
