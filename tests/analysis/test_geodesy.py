"""Length of short steps on the ellipsoid."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod

from ridelog.analysis.geodesy import short_steps_m


def test_against_karney(reference: Callable[[str], list[dict[str, float]]]) -> None:
    for row in reference("geodesic.csv"):
        lat = np.array([row["lat1_deg"], row["lat2_deg"]])
        lon = np.array([row["lon1_deg"], row["lon2_deg"]])
        tolerance = 1e-3 if row["distance_m"] < 1000.0 else 1e-4 * row["distance_m"]
        assert short_steps_m(lat, lon)[0] == pytest.approx(row["distance_m"], abs=tolerance)


@given(st.floats(-70.0, 70.0), st.floats(-179.9, 179.9), st.floats(-0.005, 0.005), st.floats(-0.005, 0.005))
def test_steps_of_a_ride_against_pyproj(lat: float, lon: float, north: float, east: float) -> None:
    own = short_steps_m(np.array([lat, lat + north]), np.array([lon, lon + east]))[0]
    _, _, karney = Geod(ellps="WGS84").inv(lon, lat, lon + east, lat + north)
    assert own == pytest.approx(karney, abs=1e-3)
