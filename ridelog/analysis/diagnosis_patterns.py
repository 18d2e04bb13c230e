"""What the coolant's trace shows beside what the healthy bike would have made of the same ride.

Four readings a person can follow on the trace: how much warmer the coolant is after a minute, apart for hard and easy
work and for slow and fast riding; the fan's saw-tooth, or a straight climb past its switch point; coolant that falls
while it should rise; and the warm-up up to the thermostat. They make the sentences; the balance's figures weigh.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridelog.analysis import thermal, thermal_fit
from ridelog.analysis.airflow import fan_state
from ridelog.analysis.diagnosis_shift import Direction
from ridelog.analysis.thermal import Conditions, Plant, Windows
from ridelog.analysis.thermal_fit import Prior
from ridelog.intervals import runs
from ridelog.results import BoolArray, FloatArray

DRAWS, SEED = 24, 5
"""Healthy days drawn, to see how far two of them lie apart."""

LEAST_WINDOWS = 6
LOADED_SHARE, EASY_SHARE = 0.30, 0.12
SLOW_MPS, FAST_MPS = 3.0, 9.0
"""A minute counts as hard or easy work by mean power over peak power, as slow or fast by mean speed."""

RISE_C, FALL_C, FALL_STEPS = 2.0, 2.0, 8
"""Coolant falls while it should rise: by 2 C and more in half a minute in which the healthy bike's rises as much."""

STANDING_MPS = 1.5
CLIMB_C, CLIMB_S = 3.0, 60.0
"""A straight climb: past the fan's switch point by 3 C, for a minute on end, at less than walking pace."""

PACE_OFF = 0.1
"""A warm-up is foretold to a tenth. Assumed."""

LONGEST_STEPS = 900
COLD_BELOW_C, AFTER_OPENING_S = 15.0, 180.0
"""A warm-up starts so far below the thermostat's opening point; three minutes after it, the thermostat has shown. The
first hour is looked at."""


@dataclass(frozen=True)
class Warmer:
    """How much warmer than the healthy bike's the coolant is after a minute, mean, and the spread of that between two
    healthy days, C."""

    mean_c: float
    sd_c: float
    windows: int


@dataclass(frozen=True)
class FanSeen:
    """`turns`: times the coolant passed the fan's switch point and came down again at walking pace or less; `climb_c`,
    `climb_s`: the longest climb past it without turning."""

    turns: int
    climb_c: float
    climb_s: float


@dataclass(frozen=True)
class WarmUp:
    """From a cold start to the thermostat's opening point: seconds taken, those of the healthy bike with their band
    (None: it would not have got there), and the coolant three minutes later beside the healthy bike's."""

    from_c: float
    taken_s: float | None
    healthy_s: tuple[float, float] | None
    later_c: float | None
    healthy_later_c: tuple[float, float] | None


@dataclass(frozen=True)
class Patterns:
    """All readings. `warmer` by "loaded", "easy", "slow", "fast", those with enough minutes; `falls`: times it fell
    while it should have risen."""

    warmer: dict[str, Warmer]
    fan: FanSeen | None
    falls: int
    minutes: float
    warm_up: WarmUp | None


def patterns(plant: Plant, ride: Conditions, known: Prior, day: Direction, conservative_share: float) -> Patterns:
    """From a ride and the healthy bike `known` with what differs from day to day."""
    thetas = healthy_draws(known, day, conservative_share)
    starts = thermal_fit.thinned(thermal_fit.window_starts(ride))
    warmer: dict[str, Warmer] = {}
    falls = 0
    if starts.size >= LEAST_WINDOWS:
        fan = thermal.observed_fan(plant, ride)
        windows = Windows(starts, thermal_fit.WINDOW_STEPS, ride.coolant_c[starts], fan)
        path = thermal.march(plant, thetas, ride, windows)
        warmer = _warmer(plant, ride, windows, path[-1])
        rise = path[FALL_STEPS, 0] - path[0, 0]
        fell = ride.coolant_c[starts + FALL_STEPS] - ride.coolant_c[starts] <= -FALL_C
        falls = len(list(runs(fell & (rise >= RISE_C))))
    minutes = float((ride.running & np.isfinite(ride.coolant_c)).sum() * thermal.STEP_S / 60.0)
    return Patterns(warmer, _fan(plant, ride), falls, minutes, _warm_up(plant, ride, thetas))


def healthy_draws(known: Prior, day: Direction, conservative_share: float) -> FloatArray:
    """The healthy bike on DRAWS days, the usual one first, (DRAWS + 1, n)."""
    mean = known.mean + day.mean
    mean[thermal.HEAT] += conservative_share * known.mean[thermal.KAPPA]
    sizes, axes = np.linalg.eigh(known.covariance + day.covariance)
    root = axes * np.sqrt(np.maximum(sizes, 0.0))
    drawn = mean + np.random.default_rng(SEED).normal(size=(DRAWS, mean.size)) @ root.T
    fixed = np.diag(known.covariance) <= 0.0
    drawn[:, fixed] = mean[fixed]
    return np.concatenate([mean[None], drawn])


def _warmer(plant: Plant, ride: Conditions, windows: Windows, ends_c: FloatArray) -> dict[str, Warmer]:
    steps = windows.starts[:, None] + np.arange(windows.steps)
    power = np.nan_to_num(ride.power_kw)[steps].mean(axis=1) / plant.peak_kw
    speed = np.nan_to_num(ride.speed_mps)[steps].mean(axis=1)
    above = ride.coolant_c[windows.starts + windows.steps] - ends_c
    groups = {
        "loaded": power >= LOADED_SHARE,
        "easy": power <= EASY_SHARE,
        "slow": speed <= SLOW_MPS,
        "fast": speed >= FAST_MPS,
    }
    return {
        name: Warmer(float(above[0, here].mean()), float(above[1:, here].mean(axis=1).std()), int(here.sum()))
        for name, here in groups.items()
        if here.sum() >= LEAST_WINDOWS
    }


def _fan(plant: Plant, ride: Conditions) -> FanSeen | None:
    if plant.fan_on_c is None or plant.fan_off_c is None:
        return None
    coolant = ride.coolant_c
    slow = ride.running & (np.nan_to_num(ride.speed_mps, nan=99.0) <= STANDING_MPS)
    turns = 0
    called = fan_state(coolant, plant.fan_on_c, plant.fan_off_c)
    for first, past in runs(called):
        ended = past < coolant.size and np.isfinite(coolant[past]) and coolant[past] <= plant.fan_off_c
        turns += bool(ended and slow[first:past].mean() >= 0.8)
    climb_c = climb_s = 0.0
    past_point = slow & (np.nan_to_num(coolant, nan=-273.0) >= plant.fan_on_c)
    for first, past in runs(past_point & _not_falling(coolant)):
        rise, seconds = float(coolant[past - 1] - plant.fan_on_c), (past - first) * thermal.STEP_S
        if rise >= CLIMB_C and seconds >= CLIMB_S and rise > climb_c:
            climb_c, climb_s = rise, seconds
    return FanSeen(turns, climb_c, climb_s)


def _not_falling(coolant: FloatArray) -> BoolArray:
    """Where the coolant is no lower than three steps before, unknown ones aside."""
    before = np.concatenate([np.full(3, -np.inf), coolant[:-3]])
    return np.asarray(~(coolant < before), dtype=np.bool_)


def _warm_up(plant: Plant, ride: Conditions, thetas: FloatArray) -> WarmUp | None:
    if plant.opens_c is None:
        return None
    known = ride.known & np.isfinite(ride.coolant_c) & ride.running
    if not known.any():
        return None
    first = int(np.argmax(known))
    from_c = float(ride.coolant_c[first])
    if from_c > plant.opens_c - COLD_BELOW_C or not ride.known[first : first + LONGEST_STEPS].all():
        return None
    rest = ride.coolant_c[first : first + LONGEST_STEPS]
    path = thermal.march(plant, thetas, ride, Windows(np.array([first]), rest.size - 1, np.array([from_c]), None))[
        :, :, 0
    ]
    opened = np.nan_to_num(rest, nan=-273.0) >= plant.opens_c
    reached = path >= plant.opens_c
    when = np.where(reached.any(axis=0), reached.argmax(axis=0) * thermal.STEP_S, np.inf)
    low, high = (float(np.quantile(when, q, method="nearest")) for q in (0.05, 0.95))
    healthy_s = ((1.0 - PACE_OFF) * low, (1.0 + PACE_OFF) * high) if np.isfinite(high) else None
    taken = int(np.argmax(opened)) if opened.any() else None
    if taken is None:
        return WarmUp(from_c, None, healthy_s, None, None)
    later = taken + round(AFTER_OPENING_S / thermal.STEP_S)
    if later >= rest.size or not np.isfinite(rest[later]):
        return WarmUp(from_c, taken * thermal.STEP_S, healthy_s, None, None)
    band = np.quantile(path[later], [0.05, 0.95])
    return WarmUp(from_c, taken * thermal.STEP_S, healthy_s, float(rest[later]), (float(band[0]), float(band[1])))
