"""How fast the coolant of one ride rises by load and falls by speed, and what it follows: against simulated rides."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from ridelog import closer_rates
from ridelog.analysis import matched


@pytest.fixture(scope="module")
def study(demo_library: Any) -> Any:
    from dashboard.provider import LibraryProvider

    return LibraryProvider(demo_library.folder).view_of(demo_library.built.rides["06-more-mud"]).study


def test_rates_rise_with_load_and_fall_with_speed(study: Any) -> None:
    found = closer_rates.rates(study)
    assert found is not None
    by_load = [row.mean_kps for row in found.by_load]
    assert by_load[0] < 0.0 < by_load[-1]
    by_speed = [row.mean_kps for row in found.by_speed]
    assert by_speed[0] > by_speed[-1]
    for row in (*found.by_load, *found.by_speed):
        assert row.seconds >= closer_rates.LEAST_WINDOWS * matched.WINDOW_S
        assert row.band is None or row.band.low < row.mean_kps < row.band.high
    assert sum(row.seconds for row in found.by_load) <= found.seconds
    assert 0.0 < found.share <= 1.0


def test_rates_are_means_of_the_trace(study: Any) -> None:
    """All windows of all loads together rise by what the coolant rose over them."""
    found = closer_rates.rates(study)
    assert found is not None
    drawn = study.found.balance.drawn
    theta = drawn.thetas[0]
    read = matched.read(drawn.plant, drawn.ride, theta, np.zeros(theta.size), 0.0)
    at = np.searchsorted(drawn.ride.t_s, read.start_s)
    rise = drawn.ride.coolant_c[at + matched.WINDOW_STEPS] - drawn.ride.coolant_c[at]
    told = sum(row.mean_kps * row.seconds for row in found.by_load)
    few = [n for n in np.bincount(np.digitize(read.load, matched.LOAD_EDGES[1:-1])) if 0 < n < 2]
    assert not few
    assert told == pytest.approx(float(rise.sum()), abs=1e-6)


def test_what_it_follows_comes_with_bands(study: Any) -> None:
    found = closer_rates.follows(study)
    assert found is not None
    for band in (found.load_k, found.air_k):
        assert 0.0 < band.low <= band.value <= band.high
    assert found.minutes >= closer_rates.LEAST_MINUTES
    if found.answer == "load":
        assert found.load_k.value >= closer_rates.CLEARLY * found.air_k.value


def test_the_figures_of_one_ride_are_those_of_a_side_of_a_comparison(study: Any) -> None:
    from ridelog.compare import Asked, compare

    alone = closer_rates.alone(study)
    found = compare([study], [study], Asked("rides", "one", "the same"))
    assert found.cool_down is not None
    assert found.fan is not None
    assert found.cells is not None
    assert (alone.cool_down, alone.fan) == (found.cool_down[0], found.fan[0])
    assert alone.gears == tuple(one.first for one in found.gears)
    assert alone.cells is not None
    assert np.allclose(alone.cells, found.cells.first_s)
