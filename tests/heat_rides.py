"""Rides for tests of the heat balance, made by hand or by the balance itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from ridelog.analysis import thermal, thermal_prior
from ridelog.analysis.thermal import NAMES, STEP_S, Conditions, Plant
from ridelog.analysis.thermal_fit import Prior

Array = npt.NDArray[np.float64]

PLAIN = Plant(36.0, 8200.0, None, None)
FANNED = Plant(36.0, 8200.0, 95.0, None)
STATTED = Plant(36.0, 8200.0, None, 65.0)
BOTH = Plant(36.0, 8200.0, 95.0, 65.0)
PLANTS = {"plain": PLAIN, "fan": FANNED, "thermostat": STATTED, "fan and thermostat": BOTH}


def prior(plant: Plant, ambient_sd_c: float = 1.0, *, map_seen: bool = False) -> Prior:
    """The default prior."""
    return thermal_prior.default_prior(plant, ratio=None, map_seen=map_seen, ambient_sd_c=ambient_sd_c)


def theta(plant: Plant, **changed: float) -> Array:
    """The default prior's mean, with parameters changed (logarithms where `thermal.NAMES` says so)."""
    values = prior(plant).mean.copy()
    for name, value in changed.items():
        values[NAMES.index(name)] = value
    return values


def held(steps: int, *, power_kw: float, turning: float, speed_mps: float, ambient_c: float = 20.0) -> Conditions:
    """A ride on which nothing changes; its coolant is not known."""
    return Conditions(
        t_s=np.arange(steps) * STEP_S,
        coolant_c=np.full(steps, np.nan),
        power_kw=np.full(steps, power_kw),
        turning=np.full(steps, turning),
        speed_mps=np.full(steps, speed_mps),
        ambient_c=np.full(steps, ambient_c),
        running=np.ones(steps, dtype=np.bool_),
        fan_logged=None,
        conservative=np.zeros(steps),
    )


def mixed(seed: int, minutes: float = 45.0, ambient_c: float = 20.0) -> Conditions:
    """Stretches of 20 to 120 s, each with its own speed and load: crawls, climbs, fast roads, standstills."""
    draw = np.random.default_rng(seed)
    steps = round(60.0 * minutes / STEP_S)
    ride = held(steps, power_kw=0.0, turning=0.2, speed_mps=0.0, ambient_c=ambient_c)
    speed, power, turning = ride.speed_mps.copy(), ride.power_kw.copy(), ride.turning.copy()
    at = 0
    while at < steps:
        past = at + int(draw.integers(5, 31))
        speed[at:past] = draw.choice([0.0, draw.uniform(1.0, 6.0), draw.uniform(6.0, 25.0)], p=[0.15, 0.35, 0.5])
        standing = speed[at] == 0.0
        power[at:past] = 0.0 if standing else draw.uniform(1.0, 14.0)
        turning[at:past] = 0.2 if standing else draw.uniform(0.4, 0.9)
        at = past
    return replace(ride, speed_mps=speed, power_kw=power, turning=turning)


def heated(plant: Plant, values: Array, ride: Conditions, start_c: float = 60.0) -> Conditions:
    """The ride with the coolant that the balance itself gives, step by step from its start."""
    windows = thermal.Windows(np.array([0]), ride.t_s.size - 1, np.array([start_c]))
    path = thermal.march(plant, values[None], ride, windows)[:, 0, 0]
    return replace(ride, coolant_c=path)


def whole_degrees(ride: Conditions, step_c: float = 1.0) -> Conditions:
    """The same as a sensor of that step shows it."""
    return replace(ride, coolant_c=np.round(ride.coolant_c / step_c) * step_c)
