"""Tracks made by hand: loops, roads, ways there and back, ridden fast and slow with a receiver's errors."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from pyproj import Geod

from ridelog.analysis.passes_way import Way, way

Array = npt.NDArray[np.float64]
Plan = tuple[Array, Array]
"""East and north of a path, m, a point every metre."""

AT = (43.2, -31.6)
"""Open ocean: the tracks belong to nobody's land."""


def loop(length_m: float = 3000.0, seed: int = 0, bends: int = 5) -> Plan:
    """A closed path of about this length that does not cross itself: a circle with a few waves."""
    draw = np.random.default_rng(seed)
    turn = np.linspace(0.0, 2.0 * np.pi, round(length_m) + 1)
    radius = np.ones(turn.size)
    for k in range(2, 2 + bends):
        radius += 0.25 / k * draw.uniform(0.3, 1.0) * np.cos(k * turn + draw.uniform(0.0, 6.0))
    return measured((radius * np.cos(turn), radius * np.sin(turn)), length_m)


def measured(path: Plan, length_m: float) -> Plan:
    """The same shape at this length, with a point every metre."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(path[0]), np.diff(path[1])))])
    scale = length_m / along[-1]
    marks = np.arange(0.0, length_m + 0.5)
    return tuple(np.interp(marks, along * scale, values * scale) for values in path)  # type: ignore[return-value]


def line(length_m: float, heading_deg: float = 0.0, start: tuple[float, float] = (0.0, 0.0)) -> Plan:
    """A gently waving road."""
    marks = np.arange(0.0, length_m + 0.5)
    aside = 40.0 * np.sin(marks / 150.0)
    c, s = math.cos(math.radians(heading_deg)), math.sin(math.radians(heading_deg))
    return start[0] + marks * c - aside * s, start[1] + marks * s + aside * c


def joined(*paths: Plan) -> Plan:
    """Paths one after the other, with straight lines between their ends."""
    east, north = [paths[0][0]], [paths[0][1]]
    for x, y in paths[1:]:
        gap = math.hypot(x[0] - east[-1][-1], y[0] - north[-1][-1])
        share = np.linspace(0.0, 1.0, max(2, round(gap)))[1:-1]
        east += [east[-1][-1] + share * (x[0] - east[-1][-1]), x]
        north += [north[-1][-1] + share * (y[0] - north[-1][-1]), y]
    return np.concatenate(east), np.concatenate(north)


def back(path: Plan) -> Plan:
    """The same path the other way."""
    return path[0][::-1], path[1][::-1]


def part(path: Plan, first_m: float, last_m: float) -> Plan:
    """A piece of a path."""
    piece = slice(round(first_m), round(last_m) + 1)
    return path[0][piece], path[1][piece]


def timed(
    path: Plan, *, speed_mps: float = 9.0, seed: int = 0, stops: tuple[tuple[float, float], ...] = ()
) -> tuple[Array, Array]:
    """Way along a path at each of its points, m, and when it is passed, s."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(path[0]), np.diff(path[1])))])
    pace = speed_mps * (1.0 + 0.45 * np.sin(along / 190.0 + seed) * np.cos(along / 57.0))
    took = np.concatenate([[0.0], np.cumsum(np.diff(along) / pace[1:])])
    for where_m, long_s in stops:
        took[along > where_m] += long_s
    return along, took


def ridden(
    path: Plan,
    *,
    speed_mps: float = 9.0,
    rate_hz: float = 5.0,
    noise_m: float = 0.0,
    wander_m: float = 0.0,
    seed: int = 0,
    stops: tuple[tuple[float, float], ...] = (),
    holes_s: tuple[tuple[float, float], ...] = (),
    speed_logged: bool = True,
    at: tuple[float, float] = AT,
) -> Way:
    """Ride a path: speed that comes and goes, stops (where m, how long s), a receiver with white noise and a slow
    wander, holes in the log."""
    draw = np.random.default_rng([seed, 77])
    east, north = path
    along, took = timed(path, speed_mps=speed_mps, seed=seed, stops=stops)
    t_s = np.arange(0.0, took[-1], 1.0 / rate_hz)
    s = np.interp(t_s, took, along)
    x, y = np.interp(s, along, east), np.interp(s, along, north)
    speed = np.gradient(s, t_s)
    if noise_m or wander_m:
        knots = np.arange(0.0, t_s[-1] + 60.0, 30.0)
        strays = [
            noise_m * draw.standard_normal(t_s.size)
            + wander_m * np.interp(t_s, knots, draw.standard_normal(knots.size))
            for _ in range(2)
        ]
        x, y = x + strays[0], y + strays[1]
    keep = np.ones(t_s.size, dtype=np.bool_)
    for start, end in holes_s:
        keep &= (t_s < start) | (t_s > end)
    t_s, x, y, speed = t_s[keep], x[keep], y[keep], speed[keep]
    lat, lon = on_earth(x, y, at)
    lines = np.diff(t_s) < max(1.0, 5.0 / rate_hz)
    return way(t_s, lat, lon, lines, speed if speed_logged else None)


def on_earth(east: Array, north: Array, at: tuple[float, float] = AT) -> tuple[Array, Array]:
    """Plane metres around a place as latitude and longitude, by the geodesic of an outside library."""
    far = np.hypot(east, north)
    lon, lat, _ = Geod(ellps="WGS84").fwd(
        np.full(east.size, at[1]), np.full(east.size, at[0]), np.degrees(np.arctan2(east, north)), far
    )
    return np.asarray(lat), np.asarray(lon)
