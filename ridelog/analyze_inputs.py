"""What the analysis starts from: the best source of speed, and the air of the ride."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridelog.analysis import atmosphere, geodesy, motion
from ridelog.constants import ZERO_CELSIUS_K
from ridelog.grid import Grid, Samples, build, to_grid, usable
from ridelog.results import FloatArray
from ridelog.ride import Ride

GOOD_SHARE = 0.8
"""The better kind of speed source is taken unless another covers over a quarter more of the ride."""

POSITION_STEP_S = 1.0
"""Positions are differenced over a second at least: at 10 Hz their errors are larger than the way covered."""

NEAR_PEAK_S = 30.0


@dataclass(frozen=True)
class Ground:
    """Ground speed on the grid and where it comes from."""

    speed_mps: FloatArray
    source: str
    from_position: bool


def ground_speed(ride: Ride, grid: Grid) -> Ground | None:
    """The satellite receiver's own speed, else a wheel's, else from positions; None where a ride has none of them."""
    options: list[Ground] = []
    derived: list[Ground] = []
    fix = grid.get("gps_fix")
    for name in ("gps_speed_mps", "wheel_speed_mps"):
        values = grid.get(name)
        if values is None:
            continue
        if name == "gps_speed_mps" and fix is not None:
            values = np.where(fix == 0.0, np.nan, values)
        info = ride.channels.get(name)
        if info is not None and info.origin == "derived":
            derived.append(Ground(values, info.source, True))
        else:
            options.append(Ground(values, name, False))
    if not any(_share(one) >= GOOD_SHARE for one in options):
        track = None if derived else speed_from_positions(ride, grid)
        if track is not None:
            derived.append(Ground(track, "lat_deg, lon_deg", True))
        options += derived
    best = max((_share(one) for one in options), default=0.0)
    return next((one for one in options if _share(one) > 0.0 and _share(one) >= GOOD_SHARE * best), None)


def _share(ground: Ground) -> float:
    return float(np.isfinite(ground.speed_mps).mean())


def speed_from_positions(ride: Ride, grid: Grid) -> FloatArray | None:
    """Speed on the grid from the way between positions at least a second apart; None without positions."""
    lat, lon = usable(ride, "lat_deg"), usable(ride, "lon_deg")
    t_s, left, right = np.intersect1d(lat.t_s, lon.t_s, assume_unique=True, return_indices=True)
    if t_s.size < 3:
        return None
    keep = np.concatenate([[True], np.diff(np.floor(t_s / POSITION_STEP_S + 1e-6)) >= 1.0])
    excluded = [*ride.excluded("lat_deg"), *ride.excluded("lon_deg")]
    thin = build(t_s[keep], lat.y[left][keep], excluded=excluded, gaps=list(ride.gaps))
    if thin.t_s.size < 3:
        return None
    steps = geodesy.short_steps_m(thin.y, lon.y[right][keep])
    path = np.concatenate([[0.0], np.cumsum(np.where(thin.joined, steps, 0.0))])
    return motion.speed_along(to_grid(Samples(thin.t_s, path, thin.joined), grid.t_s), grid.step_s)


@dataclass(frozen=True)
class Air:
    """The air along the ride, on the grid, always finite. `known_ambient_c` is None where the temperature was
    assumed."""

    pressure: FloatArray
    density: FloatArray
    pressure_source: str
    ambient_source: str
    known_ambient_c: float | None
    step_s: float

    def pressure_at(self, t_s: FloatArray, at_s: float | None) -> float:
        """Pressure, Pa, around a moment (median of the minute around it), else over the ride."""
        if at_s is not None:
            around = self.pressure[np.abs(t_s - at_s) <= NEAR_PEAK_S]
            if around.size:
                return float(np.median(around))
        return float(np.median(self.pressure))


def _filled(values: FloatArray) -> FloatArray:
    """Holes take the median: pressure and air temperature change little within a ride."""
    known = np.isfinite(values)
    return np.where(known, values, float(np.median(values[known])))


def air(ride: Ride, grid: Grid, ambient_c: float | None, defaults: list[str]) -> Air:
    """Pressure from a barometer, else from elevation by the standard atmosphere, else sea level; temperature given by
    hand, logged, or standard for that height. What had to be assumed is added to `defaults`."""
    elevation, baro, logged = grid.get("elevation_m"), grid.get("baro_kpa"), grid.get("ambient_c")
    height = _filled(elevation) if elevation is not None else np.zeros(grid.t_s.size)
    if baro is not None:
        pressure, source = 1000.0 * _filled(baro), "barometer"
    else:
        pressure = atmosphere.standard_pressure_pa(height)
        source = "elevation, standard atmosphere" if elevation is not None else "sea level assumed"
        if elevation is None:
            defaults.append("elevation_m")
    told = ambient_c if ambient_c is not None else ride.ambient_c
    known: float | None
    if told is not None:
        temperature, known, where = np.full(grid.t_s.size, told), told, "given by hand"
    elif logged is not None:
        temperature = _filled(logged)
        known, where = float(np.median(temperature)), "logged"
    else:
        temperature = atmosphere.standard_temperature_k(height) - ZERO_CELSIUS_K
        known, where = None, "standard atmosphere assumed"
        defaults.append("ambient_c")
    density = atmosphere.air_density(pressure, temperature)
    return Air(pressure, density, source, where, known, grid.step_s)
