"""Own rates of held sensors where the log has holes."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from ridelog.ingest import ImportOptions, read_rides
from ridelog.normalize.rates import rhythm


@pytest.mark.parametrize("held_rows", [4, 10, 20])
@pytest.mark.parametrize(("updates", "holes"), [(30, 0), (30, 1), (30, 5), (400, 1), (400, 5), (400, 40)])
def test_holes_do_not_hide_that_a_value_is_held(held_rows: int, holes: int, updates: int) -> None:
    """A hole swallows some rows, so the rows from change to change over it are no multiple of the held ones."""
    draw = np.random.default_rng(holes)
    t_s = np.arange(updates * held_rows) * 0.1
    y = np.repeat(np.cumsum(draw.choice([-1.0, 1.0, 2.0], updates)), held_rows)
    keep = np.ones(t_s.size, dtype=np.bool_)
    for at in draw.integers(0, t_s.size - 30, holes):
        keep[at : at + 13] = False
    found = rhythm(t_s[keep], y[keep])
    assert found.held
    assert found.rate_hz == pytest.approx(10.0 / held_rows, rel=0.02)


@pytest.mark.open_data
def test_air_of_a_car_log_with_holes(open_data: Path) -> None:
    """KIT Automotive OBD-II Dataset, CC BY 4.0: one signal changes a row, so the air is renewed 1.1 times a second."""
    (ride,) = read_rides([open_data / "obd" / "car_gap524s.csv"], ImportOptions())
    air = ride.channels["ambient_c"]
    assert air.held
    assert air.rate_hz == pytest.approx(1.11, abs=0.05)
