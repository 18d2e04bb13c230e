"""Leaps of the coolant that neither load nor cooling makes, up and down, and whether they come under load.

A coolant sensor sits in a mass of water: within four seconds it rises by what the engine puts in and no more. Gas blown
into the coolant makes it leap up under load; air that is carried past it makes it swing both ways at any time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridelog.analysis import thermal
from ridelog.analysis.thermal import Conditions, Plant
from ridelog.results import BoolArray, FloatArray

LEAST_C = 1.8
STEPS_OF_SENSOR = 1.3
USUAL_SIZES = 4.5
"""A leap is 1.8 C in four seconds beyond what the heat balance makes of them, more than one and a third of the sensor's
steps, and four and a half times the usual size of what the balance misses in four seconds."""

OWN_PACE_STEPS = 11
"""What the balance misses over and over is no leap: the median of its misses over 44 s is taken off."""

LOADED_SHARE = 0.12
"""Mean power over peak power of the last eight seconds from which on the engine counts as under load."""

SETTLED_S = 60.0
"""After the engine was off, or the coolant was unknown, the circuit mixes for a minute: leaps then say nothing."""


@dataclass(frozen=True)
class Leaps:
    """Numbers of leaps, the minutes they were looked for in, and `spread_c`, the usual size of what is missed in four
    seconds (1.4826 x the median size); `largest_c`: the largest leap up or down."""

    up_loaded: int
    up_idle: int
    down: int
    loaded_min: float
    idle_min: float
    spread_c: float
    largest_c: float

    @property
    def minutes(self) -> float:
        """All minutes looked at."""
        return self.loaded_min + self.idle_min


def leaps(plant: Plant, ride: Conditions, theta: FloatArray, resolution_c: float) -> Leaps:
    """Leaps along a ride whose best fit is `theta`."""
    beyond = _beyond(plant, ride, theta)
    known = np.isfinite(beyond)
    if not known.any():
        return Leaps(0, 0, 0, 0.0, 0.0, 0.0, 0.0)
    power = np.nan_to_num(ride.power_kw) / plant.peak_kw
    # The load that made a leap came in its own four seconds or the four before.
    loaded = (0.5 * (power[:-1] + np.concatenate([power[:1], power[:-2]])) > LOADED_SHARE) & known
    spread_c = 1.4826 * float(np.median(np.abs(beyond[known])))
    least = max(LEAST_C, STEPS_OF_SENSOR * resolution_c, USUAL_SIZES * spread_c)
    size = np.nan_to_num(beyond)
    up, down = _onsets(size >= least), _onsets(size <= -least)
    per_min = thermal.STEP_S / 60.0
    return Leaps(
        up_loaded=int((up & loaded).sum()),
        up_idle=int((up & ~loaded).sum()),
        down=int(down.sum()),
        loaded_min=float(loaded.sum() * per_min),
        idle_min=float((known & ~loaded).sum() * per_min),
        spread_c=spread_c,
        largest_c=float(np.abs(beyond[known]).max()),
    )


def _beyond(plant: Plant, ride: Conditions, theta: FloatArray) -> FloatArray:
    """Change of the coolant over each step less what the balance makes of it, (steps - 1,); NaN where not told."""
    one = theta[None]
    coolant = ride.coolant_c
    fan = thermal.observed_fan(plant, ride)
    sheds = thermal.cooling(plant, one, ride)
    q = thermal.heating_kps(plant, one, ride)
    ambient = np.nan_to_num(ride.ambient_c)[None] + theta[thermal.AMBIENT]
    heat, falls = thermal.driven_by(q, ambient)
    g, capacity = sheds.at(np.arange(coolant.size), np.nan_to_num(coolant)[None], fan[None])
    after = thermal.step(
        np.nan_to_num(coolant)[None], heat / capacity, (g + falls) / capacity, ambient, thermal.STEP_S
    )[0]
    ok = ride.known & ride.running & np.isfinite(coolant)
    wait = round(SETTLED_S / thermal.STEP_S)
    settled = np.convolve(~ok, np.ones(wait + 1))[: ok.size] < 0.5
    told = settled[:-1] & ok[1:]
    beyond = np.where(told, coolant[1:] - after[:-1], np.nan)
    return beyond - _median_around(beyond, OWN_PACE_STEPS)


def _onsets(there: BoolArray) -> BoolArray:
    return np.asarray(there & ~np.concatenate([[False], there[:-1]]), dtype=np.bool_)


def _median_around(values: FloatArray, width: int) -> FloatArray:
    """Median of the known values in a window around each; 0 where none is known."""
    half = width // 2
    view = np.lib.stride_tricks.sliding_window_view(np.pad(values, half, constant_values=np.nan), 2 * half + 1)
    result = np.zeros(values.size)
    some = np.isfinite(view).any(axis=1)
    result[some] = np.nanmedian(view[some], axis=1)
    return result
