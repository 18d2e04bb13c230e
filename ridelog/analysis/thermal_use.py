"""What a heat balance says of a ride: figures with bands, settle temperatures, coolant where it was not logged, and the
same ride on the conservative map.

Bands come from parameter vectors drawn from the fit's covariance, always the same draws, so that the same ride gives
the same digits. The first vector is the best fit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ridelog.analysis.airflow import airspeed_mps, fan_state, flow_shape
from ridelog.analysis.filters import moving_mean
from ridelog.analysis.thermal import (
    AMBIENT,
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
    IndexArray,
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

MODEL_SD = {HEAT: 0.06, FLOW: 0.075, STILL: 0.28, FAN: 1.0, CORE: 0.10, EXPONENT: 0.04, PACE: 0.05, IDLE: 0.15}
"""How far a one-lump model with these shapes is off for a plant it does not mirror, in the measure of `thermal.NAMES`;
set on simulated rides that were not used to test it."""

SPEEDS_MPS = (0.0, 2.0, 5.0, 10.0, 20.0)

LONGEST_S = 1200.0
"""Nobody keeps one load up for twenty minutes: what takes longer counts as taking that long."""

SETTLE_MEAN_S = 60.0
"""The settle temperature along a ride is that of the minute around each moment."""

KNOWN_SHARE = 0.5
"""Share of a stretch that has to be known for its settle temperature."""


def draws(theta: FloatArray, covariance: FloatArray, number: int = DRAWS) -> FloatArray:
    """(1 + number, parameters): the best fit first, then draws from its covariance and the model's own error."""
    floor = np.zeros(len(NAMES))
    for index, sd in MODEL_SD.items():
        floor[index] = sd * (covariance[index, index] > 0.0)
    values, vectors = np.linalg.eigh(covariance + np.diag(floor**2))
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    drawn = theta + np.random.default_rng(SEED).standard_normal((number, len(NAMES))) @ root.T
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
    speeds, rest = np.array(SPEEDS_MPS), np.zeros((1, 1))
    core, flow = np.exp(thetas[:, CORE, None]), np.exp(thetas[:, FLOW, None])
    per_s = np.exp(thetas[:, STILL, None]) + flow * flow_shape(airspeed_mps(speeds)[None], core)
    fan = flow * (flow_shape(airspeed_mps(rest, thetas[:, FAN, None]), core) - flow_shape(airspeed_mps(rest), core))
    return Figures(
        heat_input=np.exp(thetas[:, HEAT]),
        cooling_per_s=per_s,
        fan_step_per_s=np.maximum(fan[:, 0], 0.0),
        time_constant_s=1.0 / (np.exp(thetas[:, STILL]) + np.exp(thetas[:, FLOW])),
        ratio=np.exp(thetas[:, KAPPA]),
    )


@dataclass(frozen=True)
class Path:
    """Coolant along the ride for each drawn vector, (draws, n), NaN where it can't be told; `estimated` marks the steps
    that the sensor does not speak of and the balance does."""

    coolant_c: FloatArray
    estimated: BoolArray


@dataclass(frozen=True)
class Drawn:
    """A ride under drawn parameter vectors `thetas`, (draws, parameters): what all questions are put to."""

    plant: Plant
    ride: Conditions
    thetas: FloatArray

    def first(self, number: int) -> Drawn:
        """The same with the first vectors only: 1 is the best fit alone."""
        return replace(self, thetas=self.thetas[:number])

    @cached_property
    def sheds(self) -> Cooling:
        """What sheds heat along the ride."""
        return cooling(self.plant, self.thetas, self.ride)

    @cached_property
    def load_kps(self) -> FloatArray:
        """Heating as it leaves the gas: a stretch that goes on has no heat left from before it."""
        return heating_kps(self.plant, self.thetas, self.ride, lagged=False)

    @cached_property
    def ambient_c(self) -> FloatArray:
        """Air temperature with each vector's correction, (draws, n)."""
        return np.asarray(np.nan_to_num(self.ride.ambient_c)[None] + self.thetas[:, AMBIENT, None])

    def _held(self, first: int, past: int) -> tuple[Cooling, FloatArray, FloatArray] | None:
        """A stretch's mean conductances, heating and air, (draws, 1); None where too little of it is known."""
        at = np.arange(first, past)
        at = at[self.ride.known[first:past] & self.ride.running[first:past]]
        if at.size == 0 or at.size < KNOWN_SHARE * (past - first):
            return None
        q = self.load_kps[:, at].mean(axis=1, keepdims=True)
        return self.sheds.mean(at), q, self.ambient_c[:, at].mean(axis=1, keepdims=True)

    def settle_c(self, first: int, past: int) -> FloatArray | None:
        """Settle temperature of steps first..past with their means going on, (draws,); None where it can't be told."""
        held = self._held(first, past)
        return None if held is None else settle_c(self.plant, *held)[:, 0]

    def limit_after_s(self, first: int, past: int, start_c: float, limit_c: float) -> FloatArray | None:
        """Seconds from `start_c` to the limit with the stretch's means going on, (draws,); infinite where it never gets
        there, 0 where it is there. Run step by step, since fan and thermostat change on the way."""
        held = self._held(first, past)
        if held is None:
            return None
        sheds, q, ambient = held
        if start_c >= limit_c:
            return np.zeros(self.thetas.shape[0])
        heat, falls = driven_by(q, ambient)
        after = np.where(settle_c(self.plant, sheds, q, ambient)[:, 0] > limit_c, LONGEST_S, np.inf)
        coolant = np.full(q.shape, start_c)
        on, here = np.zeros(q.shape), np.array([0])
        for k in range(round(LONGEST_S / STEP_S)):
            on = fan_now(self.plant, coolant, on)
            g, capacity = sheds.at(here, coolant, on)
            later = step(coolant, heat / capacity, (g + falls) / capacity, ambient, STEP_S)
            crossed = (coolant[:, 0] < limit_c) & (later[:, 0] >= limit_c) & (after >= LONGEST_S)
            share = (limit_c - coolant[:, 0]) / np.maximum(later[:, 0] - coolant[:, 0], 1e-9)
            after = np.where(crossed, (k + share) * STEP_S, after)
            coolant = later
            if not (after == LONGEST_S).any():
                break
        return after

    def settle_along(self) -> FloatArray:
        """Settle temperature along the ride, (draws, n), of the minute around each step; NaN where not known."""
        width = 2 * round(0.5 * SETTLE_MEAN_S / STEP_S) + 1
        ok = self.ride.known & self.ride.running

        def smooth(rows: FloatArray) -> FloatArray:
            return np.nan_to_num(np.stack([moving_mean(np.where(ok, row, np.nan), width) for row in rows]), nan=1.0)

        sheds = replace(
            self.sheds,
            still=smooth(self.sheds.still),
            fan_off=smooth(self.sheds.fan_off),
            fan_on=smooth(self.sheds.fan_on),
        )
        return np.where(ok[None], settle_c(self.plant, sheds, smooth(self.load_kps), self.ambient_c), np.nan)

    def fill(self, start_c: FloatArray) -> Path:
        """Coolant through every hole of the sensor in which the rest of the ride is known.

        From the last reading the balance is run forward. Where the sensor speaks again, what the balance missed by is
        spread evenly back over the hole. A hole in the whole log ends a piece: what follows it starts from the next
        reading. `start_c`, (draws,): coolant at the ride's start, used where the sensor never spoke before.
        """
        ok, seen = self.ride.known, np.isfinite(self.ride.coolant_c)
        target = ok & ~seen
        path = np.full((self.thetas.shape[0], seen.size), np.nan)
        path[:, seen] = self.ride.coolant_c[seen]
        estimated = np.zeros(seen.size, dtype=np.bool_)
        q = heating_kps(self.plant, self.thetas, self.ride) if target.any() else np.zeros((1, 1))
        edges = np.flatnonzero(np.diff(np.concatenate([[0], target.astype(np.int8), [0]])))
        for first, past in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
            if first == 0:
                begin = start_c
            elif seen[first - 1]:
                begin = np.full(self.thetas.shape[0], self.ride.coolant_c[first - 1])
            else:
                continue
            # Step k of the run is the coolant at step first + k of the ride, or one later where a reading began it.
            lead = 0 if first == 0 else 1
            run = self._run(q, first - lead, past, begin)
            if past < seen.size and seen[past] and ok[past]:
                share = np.arange(run.shape[1]) / (run.shape[1] - 1)
                run += (self.ride.coolant_c[past] - run[:, -1])[:, None] * share[None]
            path[:, first:past] = run[:, lead : lead + past - first]
            estimated[first:past] = True
        return Path(path, estimated)

    def _run(self, q: FloatArray, first: int, past: int, begin_c: FloatArray) -> FloatArray:
        """Coolant at each step of a span and after its last, (draws, steps + 1), from `begin_c`."""
        path = np.empty((begin_c.size, past - first + 1))
        path[:, 0] = coolant = begin_c
        on = np.zeros(begin_c.size)
        for k in range(first, past):
            on = self._fan_at(k, coolant, on)
            g, capacity = self.sheds.at(k, coolant, on)
            heat, falls = driven_by(q[:, k], self.ambient_c[:, k])
            coolant = step(coolant, heat / capacity, (g + falls) / capacity, self.ambient_c[:, k], STEP_S)
            path[:, k + 1 - first] = coolant
        return path

    def _fan_at(self, k: int, coolant_c: FloatArray, on: FloatArray) -> FloatArray:
        if self.ride.fan_logged is not None:
            return np.full(on.shape, np.nan_to_num(self.ride.fan_logged[k]))
        return fan_now(self.plant, coolant_c, on)

    def _fan_along(self, coolant_c: FloatArray) -> FloatArray:
        on_c, off_c = self.plant.fan_on_c, self.plant.fan_off_c
        if self.ride.fan_logged is not None:
            return np.broadcast_to(np.nan_to_num(self.ride.fan_logged), coolant_c.shape)
        if on_c is None or off_c is None:
            return np.zeros(coolant_c.shape)
        return np.stack([fan_state(row, on_c, off_c) for row in coolant_c]).astype(np.float64)

    def flows(self, coolant_c: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Heat in and heat out along the ride at a coolant path (draws, n), K/s of the whole lump; NaN where not
        known."""
        heat, falls = driven_by(heating_kps(self.plant, self.thetas, self.ride), self.ambient_c)
        lifted = coolant_c - self.ambient_c
        every: IndexArray = np.arange(self.ride.t_s.size)
        g, _ = self.sheds.at(every, coolant_c, self._fan_along(coolant_c))
        ok = self.ride.known[None]
        return np.where(ok, heat - falls * lifted, np.nan), np.where(ok, g * lifted, np.nan)

    def switched(self, coolant_c: FloatArray, advised: BoolArray) -> FloatArray:
        """How much cooler (negative) the coolant would have been on the conservative map where `advised`, (draws, n).

        `coolant_c`, (n,) or (draws, n), is the coolant as it was; the difference obeys the same balance, so that what
        the model does not know of the ride drops out. It starts anew after a hole.
        """
        other = replace(self.ride, conservative=np.where(advised, 1.0, self.ride.conservative))
        q0, q1 = heating_kps(self.plant, self.thetas, self.ride), heating_kps(self.plant, self.thetas, other)
        was = np.broadcast_to(coolant_c, q0.shape)
        on0 = self._fan_along(was)
        change = np.zeros(q0.shape)
        now, on = np.zeros(q0.shape[0]), on0[:, 0]
        ok = self.ride.known & np.isfinite(was).all(axis=0)
        begun = np.flatnonzero((q1 != q0).any(axis=0))
        if begun.size == 0:
            return change
        last = -2
        for k in (np.flatnonzero(ok[int(begun[0]) : -1]) + int(begun[0])).tolist():
            if k != last + 1:
                now, on = np.zeros(q0.shape[0]), on0[:, k]
            last = k
            there = was[:, k] + now
            on = self._fan_at(k, there, on)
            (g0, _), (g1, capacity) = self.sheds.at(k, was[:, k], on0[:, k]), self.sheds.at(k, there, on)
            heat0, falls0 = driven_by(q0[:, k], self.ambient_c[:, k])
            heat1, falls1 = driven_by(q1[:, k], self.ambient_c[:, k])
            less = heat1 - heat0 + (g0 + falls0 - g1 - falls1) * (was[:, k] - self.ambient_c[:, k])
            now = step(now, less / capacity, (g1 + falls1) / capacity, np.zeros(1), STEP_S)
            change[:, k + 1] = now
        return np.minimum(change, 0.0)


def time_above_s(coolant_c: FloatArray, threshold_c: float, step_s: float = STEP_S) -> FloatArray:
    """Seconds above a threshold of paths (draws, n) linear between steps; a step with an unknown end counts nothing."""
    a, b = coolant_c[:, :-1] - threshold_c, coolant_c[:, 1:] - threshold_c
    over = np.maximum(a, 0.0) + np.maximum(b, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(over > 0.0, over / (np.abs(a) + np.abs(b)), 0.0)
    return np.asarray(np.nan_to_num(share).sum(axis=1) * step_s, dtype=np.float64)
