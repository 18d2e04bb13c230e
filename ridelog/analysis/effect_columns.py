"""One ride as the estimate of the conservative map's effect looks at it: what went in and out of the coolant, window by
window.

Over a window of a minute the coolant gains what went in less what went out, all over the lump's heat capacity:

    T(end) - T(start) = sum of heat terms - sum of cooling terms x (T - Ta)

Every term is an integral over the window of something the log shows. Heat: the time spent around each point of engine
speed x throttle, on either map (a free surface, straight between its points, after the metal's delay and in step with
gas less wall as in the heat balance). Cooling: the time at each airspeed (free between its points), the running fan,
and what the pump adds with engine speed. Both once more for each kind of ground on which riders are told to use the
map. The integral form is what noise and whole-degree steps hardly touch.

Windows with the engine off, with something not known, or with the thermostat on its way are left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.airflow import FAN_HYSTERESIS_C, THERMOSTAT_SPAN_C, airspeed_mps, fan_state, flow_shape
from ridelog.analysis.filters import block_mean, moving_mean, odd
from ridelog.analysis.thermal import GAS_C, REFERENCE_C, STEP_S, IndexArray, smeared
from ridelog.results import BoolArray, FloatArray

TURNING = (0.2, 0.4, 0.6, 0.8, 1.0)
OPENING = (0.0, 0.08, 0.2, 0.45, 1.0)
"""Points of the heat surface: engine speed over peak-power speed, and throttle opening. Close where heat is steep."""

SPEED_MPS = (0.0, 1.5, 4.0, 8.0, 13.0, 20.0)
"""Points of the cooling curve."""

FAN_SPEED_MPS = (0.0, 3.0, 8.0)
"""What a running fan adds is free at rest and at a walk, and nothing from the last of these on."""

TERRAINS = ("soft", "climb", "fast")
"""Ground on which riders are told to use the map: heat and cooling may differ there for other reasons than the map."""

SOFT_DRAG = (0.13, 0.19)
CLIMB_GRADE = (0.05, 0.09)
FAST_MPS = (20.0, 25.0)
FAST_MEAN_S = 20.0
"""From the first figure on, ground counts in part, from the second in full. Around the levels of the advice sheet."""

CORE_MPS, STILL_SHARE = 13.0, 0.08
"""Usual cooling: the core's own airspeed, and what still air sheds over what 10 m/s do, as in the heat balance."""

PUMP_TURNING = 0.6
LAG_S = 8.0
"""Metal between gas and coolant, and the sensor's own delay."""

CHARGE_POWER = 0.75
"""Heat grows with about this power of the charge, so of the air's density."""

TURNS = 0.02
"""An engine turns above this share of peak-power speed."""

WINDOW_STEPS, EVERY_STEPS = 15, 4
"""Windows of 60 s, one begun every 16 s."""

_CELLS = len(TURNING) * len(OPENING)
HEAT = slice(0, _CELLS)
HEAT_ON = slice(_CELLS, 2 * _CELLS)
GROUND = slice(HEAT_ON.stop, HEAT_ON.stop + len(TERRAINS))
GROUND_ON = slice(GROUND.stop, GROUND.stop + len(TERRAINS))
COOL = slice(GROUND_ON.stop, GROUND_ON.stop + len(SPEED_MPS))
FAN = slice(COOL.stop, COOL.stop + len(FAN_SPEED_MPS) - 1)
COOL_GROUND = slice(FAN.stop, FAN.stop + len(TERRAINS))
PUMP = COOL_GROUND.stop
AIR = PUMP + 1
RISE = AIR + 1
COLUMNS = RISE + 1
"""Columns of a window: heat by cell on the standard map and on the conservative one (1: the law's heat at that point,
over that at the reference load, times seconds), more heat by ground on either, cooling by airspeed, fan, cooling by
ground, cooling by engine speed (seconds x K, negative), the air's temperature, the coolant's rise (K)."""


@dataclass(frozen=True)
class Track:
    """One ride on a uniform grid, arrays of equal length, NaN where not known.

    `turning`: engine speed over peak-power speed; `opening` 0..1; `drag`: terrain drag over weight, smoothed; `grade`
    None where there is no elevation; `conservative` 1, 0 or NaN; `fan`: 1 or 0, None where not logged; `density`: the
    air's over the standard's at sea level; `law`: heat at the points of the surface by the heat balance's law, over
    that at its reference load, (TURNING x OPENING,).
    """

    step_s: float
    coolant_c: FloatArray
    ambient_c: FloatArray
    turning: FloatArray
    opening: FloatArray
    speed_mps: FloatArray
    drag: FloatArray
    grade: FloatArray | None
    conservative: FloatArray
    fan: FloatArray | None
    density: FloatArray
    fan_on_c: float | None
    opens_c: float | None
    law: FloatArray

    @property
    def size(self) -> int:
        """Grid points to a step of the balance."""
        return round(STEP_S / self.step_s)

    def steps(self, values: FloatArray) -> FloatArray:
        """Means over the balance's steps, of one series or of several side by side; what is not known counts as 0."""
        if values.ndim == 1:
            return np.nan_to_num(block_mean(values, self.size, 1))
        count = -(-values.shape[0] // self.size)
        padded = np.zeros((count * self.size, values.shape[1]))
        padded[: values.shape[0]] = values
        return np.asarray(padded.reshape(count, self.size, -1).mean(axis=1))

    @property
    def grounds(self) -> FloatArray:
        """How far each grid point is on each of TERRAINS, 0..1; soft ground comes first."""
        soft = ramp(self.drag, SOFT_DRAG)
        climb = ramp(self.grade, CLIMB_GRADE) if self.grade is not None else np.zeros(soft.size)
        fast = ramp(moving_mean(self.speed_mps, odd(FAST_MEAN_S / self.step_s)), FAST_MPS)
        return np.stack([soft, climb * (1.0 - soft), fast * (1.0 - soft)], axis=1)

    @property
    def usable(self) -> BoolArray:
        """Steps whose terms are all known, engine running, thermostat open or none."""
        known = np.isfinite(self.turning + self.opening + self.speed_mps + self.ambient_c + self.conservative)
        told = self.steps((known & (np.nan_to_num(self.turning) > TURNS)).astype(np.float64)) > 1.0 - 1e-9
        coolant = self.coolant_c[:: self.size]
        told &= np.isfinite(coolant)
        if self.opens_c is not None:
            told &= np.nan_to_num(coolant) > self.opens_c + THERMOSTAT_SPAN_C
        # The last block may be short.
        told[-1:] = False
        return told


def ramp(values: FloatArray, ends: tuple[float, float]) -> FloatArray:
    """0 below the first figure, 1 above the second, straight between; what is not known counts as 0."""
    low, high = ends
    return np.asarray(np.clip((np.nan_to_num(values, nan=low) - low) / (high - low), 0.0, 1.0))


def hats(values: FloatArray, points: tuple[float, ...]) -> FloatArray:
    """Weights of straight interpolation between points, (n, points), rows of sum 1; beyond an end that end's."""
    at = np.asarray(points)
    inside = np.clip(np.nan_to_num(values), at[0], at[-1])
    left = np.clip(np.searchsorted(at, inside, "right") - 1, 0, at.size - 2)
    share = (inside - at[left]) / (at[left + 1] - at[left])
    rows = np.arange(values.size)
    table = np.zeros((values.size, at.size))
    table[rows, left] = 1.0 - share
    table[rows, left + 1] = share
    return table


def usual_cooling(speed_mps: FloatArray) -> FloatArray:
    """Cooling at an airspeed over that of the moving air at 10 m/s, by the heat balance's default."""
    return np.asarray(STILL_SHARE + flow_shape(airspeed_mps(speed_mps), CORE_MPS))


def windows(track: Track) -> tuple[FloatArray, IndexArray]:
    """The columns of each window, (windows, COLUMNS), and the windows' first steps."""
    usable, coolant = track.usable, track.coolant_c[:: track.size]
    warm_c = np.nan_to_num(coolant)
    ground = track.grounds
    heat = _heat(track, ground)
    heat *= ((GAS_C - warm_c) / (GAS_C - REFERENCE_C))[:, None]
    cool = _cooling(track, ground, coolant)
    sheds = track.steps(usual_cooling(np.nan_to_num(track.speed_mps)))
    above = warm_c - track.steps(track.ambient_c)
    rows = np.concatenate([heat, -cool * above[:, None], sheds[:, None]], axis=1) * STEP_S
    rows *= usable[:, None]
    bad = np.concatenate([[0], np.cumsum(~usable)])
    starts = np.arange(0, usable.size - WINDOW_STEPS, EVERY_STEPS)
    starts = starts[(bad[starts + WINDOW_STEPS] == bad[starts]) & np.isfinite(coolant[starts + WINDOW_STEPS])]
    sums = np.concatenate([np.zeros((1, rows.shape[1])), np.cumsum(rows, axis=0)])
    whole = np.empty((starts.size, COLUMNS))
    whole[:, :RISE] = sums[starts + WINDOW_STEPS] - sums[starts]
    whole[:, RISE] = coolant[starts + WINDOW_STEPS] - coolant[starts]
    return whole, np.asarray(starts, dtype=np.int64)


def _heat(track: Track, ground: FloatArray) -> FloatArray:
    on = np.nan_to_num(track.conservative)
    cells = hats(track.turning, TURNING)[:, :, None] * hats(track.opening, OPENING)[:, None, :]
    cells = cells.reshape(on.size, _CELLS)
    running = np.nan_to_num(track.turning) > TURNS
    cells *= (running * np.maximum(track.density, 0.3) ** CHARGE_POWER)[:, None] * track.law
    more = cells.sum(axis=1)[:, None] * ground
    parts = [track.steps(part * used[:, None]) for part in (cells, more) for used in (1.0 - on, on)]
    heat = np.ascontiguousarray(np.concatenate(parts, axis=1).T)
    return smeared(heat, np.full(heat.shape[0], LAG_S)).T


def _cooling(track: Track, ground: FloatArray, coolant_c: FloatArray) -> FloatArray:
    if track.fan is not None:
        fan = track.steps(track.fan)
    elif track.fan_on_c is not None:
        fan = fan_state(coolant_c, track.fan_on_c, track.fan_on_c - FAN_HYSTERESIS_C).astype(np.float64)
    else:
        fan = np.zeros(coolant_c.size)
    speed = np.nan_to_num(track.speed_mps)
    sheds = usual_cooling(speed)
    return np.concatenate(
        [
            track.steps(hats(speed, SPEED_MPS)),
            track.steps(hats(speed, FAN_SPEED_MPS)[:, :-1]) * fan[:, None],
            track.steps(sheds[:, None] * ground),
            track.steps((sheds * (np.nan_to_num(track.turning) - PUMP_TURNING))[:, None]),
        ],
        axis=1,
    )


def within(starts: IndexArray, count: int) -> BoolArray:
    """Steps of a ride of `count` that lie in a window."""
    edges = np.zeros(count + 1, dtype=np.int64)
    np.add.at(edges, starts, 1)
    np.add.at(edges, starts + WINDOW_STEPS, -1)
    return np.asarray(np.cumsum(edges[:-1]) > 0, dtype=np.bool_)
