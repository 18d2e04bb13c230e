"""Octane numbers by their definition."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.analysis.fuel import aki_band, anti_knock_index


@pytest.mark.parametrize(("ron", "mon", "aki"), [(98.0, 88.0, 93.0), (95.0, 85.0, 90.0), (92.0, 82.0, 87.0)])
def test_the_index_is_the_mean(ron: float, mon: float, aki: float) -> None:
    # EN 228 "98" from a refiner's data sheet, EU Directive 2009/30 for 95/85, a text on US regular for 92/82.
    assert anti_knock_index(ron, mon) == aki
    low, high = aki_band(ron)
    assert low <= aki <= high


def test_from_ron_alone_comes_a_band() -> None:
    assert aki_band(98.0) == (92.0, 94.0)


@given(st.floats(70.0, 125.0))
def test_the_band_is_never_one_value(ron: float) -> None:
    low, high = aki_band(ron)
    assert low < high < ron
