"""Distances between neighbouring positions on the WGS 84 ellipsoid."""

from __future__ import annotations

import numpy as np

from ridelog.results import FloatArray

SEMI_MAJOR_M = 6_378_137.0
"""WGS 84, by definition."""

FLATTENING = 1 / 298.257223563
"""WGS 84, by definition."""

_ECCENTRICITY_SQUARED = FLATTENING * (2.0 - FLATTENING)


def short_steps_m(lat_deg: FloatArray, lon_deg: FloatArray) -> FloatArray:
    """Length of each step between neighbouring positions, m; one value fewer than positions.

    Plane triangle with the two radii of curvature at the middle latitude. Against Karney's geodesic: within 1 mm on
    steps up to 1 km, within 1 in 10,000 up to 100 km away from the poles. Steps over the 180th meridian take the short
    way.
    """
    lat = np.radians(lat_deg)
    north = np.diff(lat)
    east = np.radians((np.diff(lon_deg) + 180.0) % 360.0 - 180.0)
    middle = 0.5 * (lat[1:] + lat[:-1])
    width = 1.0 - _ECCENTRICITY_SQUARED * np.sin(middle) ** 2
    meridian_m = SEMI_MAJOR_M * (1.0 - _ECCENTRICITY_SQUARED) / width**1.5
    parallel_m = SEMI_MAJOR_M / np.sqrt(width) * np.cos(middle)
    return np.hypot(meridian_m * north, parallel_m * east)
