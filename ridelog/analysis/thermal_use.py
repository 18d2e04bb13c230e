"""What a fitted heat balance says of a ride: figures with bands, settle temperatures, coolant where it was not logged,
and the same ride on the conservative map.

Bands come from drawing parameter vectors from the fit's covariance, always the same draws, so that the same ride gives
the same digits.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ridelog.analysis.airflow import airspeed_mps, fan_state, flow_shape
from ridelog.analysis.filters import moving_mean
from ridelog.analysis.thermal import (
    CORE,
    EXPONENT,
    FAN,
    FLOW,
    HEAT,
    IDLE,
    KAPPA,
    NAMES,
    PACE,
    STEP_S,
    STILL,
    Conditions,
    Cooling,
    Plant,
    cooling,
    driven_by,
    fan_now,
    heating_kps,
    settle_c,
    step,
)
from ridelog.results import BoolArray, FloatArray

DRAWS = 200
SEED = 1

MODEL_SD = {HEAT: 0.05, FLOW: 0.05, STILL: 0.30, FAN: 2.0, CORE: 0.10, EXPONENT: 0.04, PACE: 0.05, IDLE: 0.15}
"""How far a one-lump model with these shapes is off for a plant it does not mirror, in the measure of `thermal.NAMES`;
set on simulated rides that were not used to test it."""

SPEEDS_MPS = (0.0, 2.0, 5.0, 10.0, 20.0)
LONGEST_S = 1200.0
"""Nobody keeps one load up for twenty minutes: what takes longer counts as taking that long."""

SETTLE_MEAN_S = 60.0
"""The settle temperature along a ride is that of the minute around each moment."""


def draws(theta: FloatArray, covariance: FloatArray, number: int = DRAWS) -> FloatArray:
    """(1 + number, parameters): the best fit first, then draws from its covariance and the model's own error."""
    floor = np.zeros(len(NAMES))
    for index, sd in MODEL_SD.items():
        floor[index] = sd * (covariance[index, index] > 0.0)
    whole = covariance + np.diag(floor**2)
    values, vectors = np.linalg.eigh(whole)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    noise = np.random.default_rng(SEED).standard_normal((number, len(NAMES)))
    drawn = theta + noise @ root.T
    drawn[:, FAN] = np.maximum(drawn[:, FAN], 0.0)
    return np.vstack([theta[None], drawn])


@dataclass(frozen=True)
class Figures:
    """Figures of the contract for each drawn vector: (draws,) and (draws, speeds)."""

    heat_input: FloatArray
    cooling_per_s: FloatArray
    fan_step_per_s: FloatArray
    time_constant_s: FloatArray
    ratio: FloatArray


def figures(thetas: FloatArray) -> Figures:
    """Heating in K/s per kW at the reference load, conductance over capacity at SPEEDS_MPS over ground in light air,
    the fan's step at rest, and the time constant at 10 m/s, fan off, thermostat open."""
    speeds = np.array(SPEEDS_MPS)
    core, flow = np.exp(thetas[:, CORE, None]), np.exp(thetas[:, FLOW, None])
    per_s = np.exp(thetas[:, STILL, None]) + flow * flow_shape(airspeed_mps(speeds)[None], core)
    rest = np.zeros((1, 1))
    fan = flow * (flow_shape(airspeed_mps(rest, thetas[:, FAN, None]), core) - flow_shape(airspeed_mps(rest), core))
    return Figures(
        heat_input=np.exp(thetas[:, HEAT]),
        cooling_per_s=per_s,
        fan_step_per_s=np.maximum(fan[:, 0], 0.0),
        time_constant_s=1.0 / (np.exp(thetas[:, STILL]) + np.exp(thetas[:, FLOW])),
        ratio=np.exp(thetas[:, KAPPA]),
    )


@dataclass(frozen=True)
class Stream:
    """Heating and conductances of each drawn vector along a ride, (draws, n)."""

    q: FloatArray
    sheds: Cooling


def stream(plant: Plant, thetas: FloatArray, ride: Conditions) -> Stream:
    """Computed once, used for settle temperatures of all stretches: heat as it leaves the gas, since a stretch that goes
    on has no heat left from before it."""
    return Stream(heating_kps(plant, thetas, ride, lagged=False), cooling(plant, thetas, ride))


def settle_of(plant: Plant, thetas: FloatArray, flow: Stream, ride: Conditions, first: int, past: int) -> FloatArray:
    """Settle temperature of steps first..past with their mean heating and conductance going on, (draws,); NaN where too
    little of the stretch is known."""
    at = np.arange(first, past)
    at = at[ride.known[first:past] & ride.running[first:past]]
    if at.size < 0.5 * (past - first) or at.size == 0:
        return np.full(thetas.shape[0], np.nan)
    ambient = ride.ambient_c[at].mean() + thetas[:, -1:]
    return settle_c(plant, flow.sheds.mean(at), flow.q[:, at].mean(axis=1, keepdims=True), ambient)[:, 0]


def limit_after_s(
    plant: Plant,
    thetas: FloatArray,
    flow: Stream,
    ride: Conditions,
    span: tuple[int, int],
    start_c: float,
    limit_c: float,
) -> FloatArray:
    """Seconds from a stretch's start until the coolant reaches the limit with the stretch's means going on, (draws,);
    infinite where it never does. Marched, since fan and thermostat change on the way."""
    first, past = span
    at = np.arange(first, past)
    at = at[ride.known[first:past] & ride.running[first:past]]
    if start_c >= limit_c:
        return np.zeros(thetas.shape[0])
    sheds = flow.sheds.mean(at)
    ambient = ride.ambient_c[at].mean() + thetas[:, -1:]
    q = flow.q[:, at].mean(axis=1, keepdims=True)
    heat, falls = driven_by(q, ambient)
    after = np.where(settle_c(plant, sheds, q, ambient)[:, 0] > limit_c, LONGEST_S, np.inf)
    coolant = np.full((thetas.shape[0], 1), start_c)
    on = np.zeros(coolant.shape)
    for k in range(round(LONGEST_S / STEP_S)):
        on = fan_now(plant, coolant, on)
        g, capacity = sheds.at(np.array([0]), coolant, on)
        later = step(coolant, heat / capacity, (g + falls) / capacity, ambient, STEP_S)
        crossed = (coolant[:, 0] < limit_c) & (later[:, 0] >= limit_c) & (after >= LONGEST_S)
        share = (limit_c - coolant[:, 0]) / np.maximum(later[:, 0] - coolant[:, 0], 1e-9)
        after = np.where(crossed, (k + share) * STEP_S, after)
        coolant = later
        if not ((after == LONGEST_S) & (coolant[:, 0] < limit_c)).any():
            break
    return after


def settle_along(plant: Plant, thetas: FloatArray, flow: Stream, ride: Conditions) -> FloatArray:
    """Settle temperature along the ride, (draws, n): heating and conductance averaged over the minute around each
    step; NaN where not known."""
    width = 2 * round(0.5 * SETTLE_MEAN_S / STEP_S) + 1
    ok = ride.known & ride.running

    def smooth(rows: FloatArray) -> FloatArray:
        return np.nan_to_num(np.stack([moving_mean(np.where(ok, row, np.nan), width) for row in rows]), nan=1.0)

    sheds = replace(
        flow.sheds, still=smooth(flow.sheds.still), fan_off=smooth(flow.sheds.fan_off), fan_on=smooth(flow.sheds.fan_on)
    )
    ambient = np.nan_to_num(ride.ambient_c)[None] + thetas[:, -1, None]
    value = settle_c(plant, sheds, smooth(flow.q), ambient)
    return np.where(ok[None], value, np.nan)


@dataclass(frozen=True)
class Path:
    """Coolant along the ride for each drawn vector, (draws, n), NaN where it can't be told; `estimated` marks the steps
    that the sensor does not speak of and the balance does."""

    coolant_c: FloatArray
    estimated: BoolArray


def fill(plant: Plant, thetas: FloatArray, ride: Conditions, start_c: FloatArray) -> Path:
    """Coolant through every hole of the sensor in which the rest of the ride is known.

    From the last reading the balance is run forward. Where the sensor speaks again, what the balance missed by is spread
    evenly back over the hole. A hole in the whole log ends a piece: what follows it starts from the next reading.
    `start_c`, (draws,): coolant at the ride's start, used where the sensor never spoke before.
    """
    ok = ride.known
    seen = np.isfinite(ride.coolant_c)
    target = ok & ~seen
    path = np.full((thetas.shape[0], ride.t_s.size), np.nan)
    path[:, seen] = ride.coolant_c[seen]
    estimated = np.zeros(ride.t_s.size, dtype=np.bool_)
    if not target.any():
        return Path(path, estimated)
    q = heating_kps(plant, thetas, ride)
    sheds = cooling(plant, thetas, ride)
    ambient = ride.ambient_c[None] + thetas[:, -1, None]
    edges = np.flatnonzero(np.diff(np.concatenate([[0], target.astype(np.int8), [0]])))
    for first, past in zip(edges[::2], edges[1::2], strict=True):
        if first == 0:
            begin = start_c
        elif seen[first - 1]:
            begin = np.full(thetas.shape[0], ride.coolant_c[first - 1])
        else:
            continue
        run = _run(plant, q, sheds, ambient, ride, (int(first), int(past)), begin)
        if past < seen.size and seen[past] and ok[past]:
            miss = ride.coolant_c[past] - run[:, -1]
            run[:, 1:] += miss[:, None] * (np.arange(1, past - first + 1) / (past - first))[None]
        path[:, first:past] = run[:, 1:] if first else run[:, :-1]
        estimated[first:past] = True
    return Path(path, estimated)


def _run(
    plant: Plant,
    q: FloatArray,
    sheds: Cooling,
    ambient_c: FloatArray,
    ride: Conditions,
    span: tuple[int, int],
    begin_c: FloatArray,
) -> FloatArray:
    """Coolant at each step of a span and after its last, (draws, steps + 1), from `begin_c`."""
    first, past = span
    path = np.empty((begin_c.size, past - first + 1))
    path[:, 0] = coolant = begin_c
    on = np.zeros(begin_c.size)
    for k in range(first, past):
        on = _fan_now(plant, ride, k, coolant, on)
        g, capacity = sheds.at(k, coolant, on)
        heat, falls = driven_by(q[:, k], ambient_c[:, k])
        coolant = step(coolant, heat / capacity, (g + falls) / capacity, ambient_c[:, k], STEP_S)
        path[:, k + 1 - first] = coolant
    return path


def _fan_now(plant: Plant, ride: Conditions, k: int, coolant_c: FloatArray, on: FloatArray) -> FloatArray:
    if ride.fan_logged is not None:
        return np.full(on.shape, np.nan_to_num(ride.fan_logged[k]))
    return fan_now(plant, coolant_c, on)


def _fan_along(plant: Plant, ride: Conditions, coolant_c: FloatArray) -> FloatArray:
    if ride.fan_logged is not None:
        return np.broadcast_to(np.nan_to_num(ride.fan_logged), coolant_c.shape)
    if plant.fan_on_c is None or plant.fan_off_c is None:
        return np.zeros(coolant_c.shape)
    return np.stack([fan_state(row, plant.fan_on_c, plant.fan_off_c) for row in coolant_c]).astype(np.float64)


def flows(plant: Plant, thetas: FloatArray, ride: Conditions, coolant_c: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Heating and cooling along the ride at a coolant path (draws, n), K/s of the whole lump; NaN where not known."""
    q = heating_kps(plant, thetas, ride)
    ambient = ride.ambient_c[None] + thetas[:, -1, None]
    heat, falls = driven_by(q, ambient)
    lifted = coolant_c - ambient
    g, _ = cooling(plant, thetas, ride).at(np.arange(ride.t_s.size), coolant_c, _fan_along(plant, ride, coolant_c))
    ok = ride.known[None]
    return np.where(ok, heat - falls * lifted, np.nan), np.where(ok, g * lifted, np.nan)


def switched(
    plant: Plant, thetas: FloatArray, ride: Conditions, coolant_c: FloatArray, advised: BoolArray
) -> FloatArray:
    """How much cooler (negative) the coolant would have been on the conservative map where `advised`, (draws, n).

    `coolant_c`, (n,) or (draws, n), is the coolant as it was; the difference obeys the same balance, so that what the
    model does not know of the ride drops out. It starts anew after a hole.
    """
    other = replace(ride, conservative=np.where(advised, 1.0, ride.conservative))
    q0, q1 = heating_kps(plant, thetas, ride), heating_kps(plant, thetas, other)
    sheds = cooling(plant, thetas, ride)
    ambient = ride.ambient_c[None] + thetas[:, -1, None]
    was = np.broadcast_to(coolant_c, q0.shape)
    on0 = _fan_along(plant, ride, was)
    change = np.zeros(q0.shape)
    now, on = np.zeros(thetas.shape[0]), on0[:, 0].copy()
    ok = ride.known & np.isfinite(was).all(axis=0)
    for k in np.flatnonzero(ok[:-1]):
        if not ok[k - 1] or k == 0:
            now, on = np.zeros(thetas.shape[0]), on0[:, k].copy()
        there = was[:, k] + now
        on = _fan_now(plant, ride, k, there, on)
        (g0, _), (g1, _) = sheds.at(k, was[:, k], on0[:, k]), sheds.at(k, there, on)
        heat0, falls0 = driven_by(q0[:, k], ambient[:, k])
        heat1, falls1 = driven_by(q1[:, k], ambient[:, k])
        g0, g1 = g0 + falls0, g1 + falls1
        rate = (heat1 - heat0) + (g0 - g1) * (was[:, k] - ambient[:, k]) - g1 * now
        now = now + rate * -np.expm1(-g1 * STEP_S) / np.maximum(g1, 1e-9)
        change[:, k + 1] = now
    return np.minimum(change, 0.0)


def time_above_s(coolant_c: FloatArray, threshold_c: float, step_s: float = STEP_S) -> FloatArray:
    """Seconds above a threshold of paths (draws, n) linear between steps; a step with an unknown end counts nothing."""
    a, b = coolant_c[:, :-1] - threshold_c, coolant_c[:, 1:] - threshold_c
    over = np.maximum(a, 0.0) + np.maximum(b, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(over > 0.0, over / (np.abs(a) + np.abs(b)), 0.0)
    return np.asarray(np.nan_to_num(share).sum(axis=1) * step_s, dtype=np.float64)
