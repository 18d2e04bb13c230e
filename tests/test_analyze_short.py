"""Rides of a moment: nothing can be told of them, and nothing fails."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import polars as pl
import pytest
from plant import bike_of, simulate

from ridelog.advice import default_advice
from ridelog.analyze import analyze
from ridelog.ride import Ride


@cache
def whole() -> Ride:
    return simulate(5, "heron-300", duration_s=300.0).ride


@pytest.mark.parametrize("length_s", [0.01, 0.1, 0.3, 0.5, 0.9, 1.3, 2.1, 3.7, 5.5, 9.0, 31.0])
@pytest.mark.parametrize("from_s", [0.0, 120.0])
def test_a_ride_of_a_moment_is_analyzed(length_s: float, from_s: float) -> None:
    """Shorter than any filter, lag or window of the analysis."""
    rows = whole().samples.filter(pl.col("t_s").is_between(from_s, from_s + length_s))
    short = replace(whole(), samples=rows.with_columns(pl.col("t_s") - pl.col("t_s").min()))
    found, _ = analyze(short, bike_of("heron-300"), default_advice(), ambient_c=20.0)
    assert not found.heat.fitted
    assert found.heat.reason
    assert found.segments == ()
