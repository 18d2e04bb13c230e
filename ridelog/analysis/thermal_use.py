"""What a heat balance says of a ride: figures with bands, settle temperatures, coolant where it was not logged, and the
same ride on the conservative map.

Bands come from parameter vectors drawn from the fit's covariance, always the same draws, so that the same ride gives
the same digits. The first vector is the best fit.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ridelog.analysis.airflow import airspeed_mps, fan_state, flow_shape
from ridelog.analysis.thermal import (
    AMBIENT,
    CORE,
    EXPONENT,
    FAN,
    FLOW,
    GAS_C,
    HEAT,
    IDLE,
    KAPPA,
    LAG,
    NAMES,
    PACE,
    REFERENCE_C,
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
    smeared,
    step,
)
from ridelog.analysis.thermal_held import reach_s
from ridelog.intervals import runs
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


BLOCK_STEPS = 256
"""Steps that are worked on at once where the ride is gone through step by step."""

FAINT_C, SLOWEST_PER_S = 1e-3, 1e-3
"""A change of the coolant that is nothing, and the least conductance it dies away with."""


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
    def lagged_kps(self) -> FloatArray:
        """Heating as the coolant gets it, after the metal in between."""
        return heating_kps(self.plant, self.thetas, self.ride)

    @cached_property
    def ambient_c(self) -> FloatArray:
        """Air temperature with each vector's correction, (draws, n)."""
        return np.asarray(np.nan_to_num(self.ride.ambient_c)[None] + self.thetas[:, AMBIENT, None])

    def _held(self, stretches: IndexArray) -> tuple[Cooling, FloatArray, FloatArray, BoolArray]:
        """Mean conductances, heating and air of stretches (S, 2), (draws, S) each, and which of them are known well
        enough, (S,); means over what is known of them."""
        ok = self.ride.known & self.ride.running
        count = np.concatenate([[0], np.cumsum(ok)])
        first, past = stretches[:, 0], stretches[:, 1]
        number = count[past] - count[np.minimum(first, past)]
        told = (number > 0) & (number >= KNOWN_SHARE * (past - first))

        def means(rows: FloatArray) -> FloatArray:
            # One column more, so that a stretch may end with the ride.
            padded = np.zeros((rows.shape[0], rows.shape[1] + 1))
            np.multiply(rows, ok, out=padded[:, :-1])
            sums = np.add.reduceat(padded, stretches.ravel(), axis=1)[:, ::2]
            return np.asarray(sums / np.maximum(number, 1))

        sheds = self.sheds
        off = means(sheds.fan_off)
        on = off if sheds.fan_on is sheds.fan_off else means(sheds.fan_on)
        held = replace(sheds, still=means(sheds.still), fan_off=off, fan_on=on)
        return held, means(self.load_kps), means(self.ambient_c), told

    def settle_of(self, stretches: IndexArray) -> FloatArray:
        """Settle temperature of each stretch of steps (first, past), (draws, S), with its means going on; NaN where it
        can't be told. `stretches` (S, 2), within the ride."""
        if stretches.shape[0] == 0:
            return np.zeros((self.thetas.shape[0], 0))
        sheds, q, ambient, told = self._held(stretches)
        return np.where(told, settle_c(self.plant, sheds, q, ambient), np.nan)

    def limits_after_s(self, stretches: IndexArray, start_c: FloatArray, limit_c: float) -> FloatArray:
        """Seconds from `start_c` (S,) to the limit with each stretch's means going on, (draws, S); infinite where it
        never gets there, 0 where it is there, LONGEST_S where it takes longer, NaN where it can't be told."""
        if stretches.shape[0] == 0:
            return np.zeros((self.thetas.shape[0], 0))
        sheds, q, ambient, told = self._held(stretches)
        after = reach_s(self.plant, (sheds, q, ambient), start_c, limit_c)
        after = np.where(np.isfinite(after), np.minimum(after, LONGEST_S), np.inf)
        return np.where(told, after, np.nan)

    def settle_c(self, first: int, past: int) -> FloatArray | None:
        """Settle temperature of steps first..past with their means going on, (draws,); None where it can't be told."""
        ends = self.settle_of(np.array([[first, past]]))[:, 0]
        return None if np.isnan(ends[0]) else ends

    def limit_after_s(self, first: int, past: int, start_c: float, limit_c: float) -> FloatArray | None:
        """The same of one stretch as `limits_after_s`, (draws,); None where it can't be told."""
        after = self.limits_after_s(np.array([[first, past]]), np.array([start_c]), limit_c)[:, 0]
        return None if np.isnan(after[0]) else after

    def settle_along(self, load_kps: FloatArray | None = None) -> FloatArray:
        """Settle temperature along the ride, (draws, n), of the minute around each step; NaN where not known.
        `load_kps`, (draws, n): another heating than the ride's own, as it leaves the gas."""
        half = round(0.5 * SETTLE_MEAN_S / STEP_S)
        ok = self.ride.known & self.ride.running
        index = np.arange(ok.size)
        low, high = np.maximum(index - half, 0), np.minimum(index + half + 1, ok.size)
        count = np.concatenate([[0], np.cumsum(ok)])
        number = np.maximum(count[high] - count[low], 1)

        def smooth(rows: FloatArray) -> FloatArray:
            total = np.zeros((rows.shape[0], rows.shape[1] + 1))
            np.cumsum(rows * ok, axis=1, out=total[:, 1:])
            return np.asarray((total[:, high] - total[:, low]) / number)

        sheds = self.sheds
        off = smooth(sheds.fan_off)
        on = off if sheds.fan_on is sheds.fan_off else smooth(sheds.fan_on)
        sheds = replace(sheds, still=smooth(sheds.still), fan_off=off, fan_on=on)
        q = smooth(self.load_kps if load_kps is None else load_kps)
        return np.where(ok[None], settle_c(self.plant, sheds, q, self.ambient_c), np.nan)

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
        q = self.lagged_kps if target.any() else np.zeros((1, 1))
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
        path = np.empty((past - first + 1, begin_c.size))
        path[0] = coolant = begin_c
        on = np.zeros(begin_c.size)
        sheds, span = self.sheds, slice(first, past)
        heat, falls = driven_by(q[:, span], self.ambient_c[:, span])
        steps = _by_step(
            sheds.still[:, span], sheds.fan_off[:, span], sheds.fan_on[:, span], heat, falls, self.ambient_c[:, span]
        )
        for k, (still, off, with_fan, warms, less, ambient) in enumerate(steps):
            on = self._fan_at(first + k, coolant, on)
            g, capacity = sheds.shed(still, off + on * (with_fan - off), coolant)
            coolant = step(coolant, warms / capacity, (g + less) / capacity, ambient, STEP_S)
            path[k + 1] = coolant
        return path.T

    def _fan_at(self, k: int, coolant_c: FloatArray, on: FloatArray) -> FloatArray:
        logged = self.ride.fan_logged
        if logged is not None and np.isfinite(logged[k]):
            return np.full(on.shape, logged[k])
        return fan_now(self.plant, coolant_c, on)

    def _fan_along(self, coolant_c: FloatArray) -> FloatArray:
        logged = self.ride.fan_logged
        if logged is not None and np.isfinite(logged).all():
            return np.broadcast_to(logged, coolant_c.shape)
        on_c, off_c = self.plant.fan_on_c, self.plant.fan_off_c
        followed = np.zeros(coolant_c.shape)
        if on_c is not None and off_c is not None:
            followed = np.stack([fan_state(row, on_c, off_c) for row in coolant_c]).astype(np.float64)
        return followed if logged is None else np.where(np.isfinite(logged), logged, followed)

    def flows(self, coolant_c: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Heat in and heat out along the ride at a coolant path (draws, n), K/s of the whole lump; NaN where not
        known."""
        heat, falls = driven_by(self.lagged_kps, self.ambient_c)
        lifted = coolant_c - self.ambient_c
        every: IndexArray = np.arange(self.ride.t_s.size)
        g, _ = self.sheds.at(every, coolant_c, self._fan_along(coolant_c))
        ok = self.ride.known[None]
        return np.where(ok, heat - falls * lifted, np.nan), np.where(ok, g * lifted, np.nan)

    def switched(self, coolant_c: FloatArray, advised: BoolArray, log_ratio: FloatArray | None = None) -> FloatArray:
        """How much cooler (negative) the coolant would have been on the conservative map where `advised`, (draws, n).

        `coolant_c`, (n,) or (draws, n), is the coolant as it was. Each step is taken twice, from the coolant as it was
        and as it would have been, and the difference carried on: what the model does not know of the ride drops out.
        It starts anew after a hole. `log_ratio`, (draws,): the map's effect where it is known better than by the fit.
        """
        fresh = advised & ~(np.nan_to_num(self.ride.conservative) > 0.0)
        was = np.atleast_2d(coolant_c)
        number, count = self.thetas.shape[0], was.shape[1]
        change = np.zeros((number, count))
        if not fresh.any():
            return change
        kappa = np.exp(self.thetas[:, KAPPA] if log_ratio is None else log_ratio)
        lag_s = np.exp(self.thetas[:, LAG])
        # What the map takes from the heating, in step with gas less wall.
        cut = smeared(self.load_kps * (fresh * (kappa - 1.0)[:, None]), lag_s) / (GAS_C - REFERENCE_C)
        dies = np.abs(cut).max(axis=0) < FAINT_C * SLOWEST_PER_S / (GAS_C - REFERENCE_C)
        on0 = self._fan_along(was)
        ok = self.ride.known & np.isfinite(was).all(axis=0)
        for first, past in runs(ok):
            self._switch_run(change, _Before(was, on0, cut, dies), first, min(past, count - 1))
        return np.minimum(change, 0.0, out=change)

    def _switch_run(self, change: FloatArray, before: _Before, first: int, past: int) -> None:
        """One unbroken piece of `switched`, block by block, so that what a block needs stays near the processor."""
        sheds, now = self.sheds, np.zeros(self.thetas.shape[0])
        on = np.broadcast_to(before.on[:, first], now.shape)
        for start in range(first, past, BLOCK_STEPS):
            span = slice(start, min(start + BLOCK_STEPS, past))
            if before.dies[span].all() and np.abs(now).max() < FAINT_C and (on == before.on[:, start]).all():
                now, on = np.zeros(now.size), np.broadcast_to(before.on[:, span.stop - 1], now.shape)
                continue
            still, off, with_fan = (r[:, span] for r in (sheds.still, sheds.fan_off, sheds.fan_on))
            was, cut = before.coolant_c[:, span], before.cut[:, span]
            more, ambient = with_fan - off, self.ambient_c[:, span]
            heat, falls = driven_by(self.lagged_kps[:, span], ambient)
            g, capacity = sheds.shed(still, off + before.on[:, span] * more, was)
            then = step(was, heat / capacity, (g + falls) / capacity, ambient, STEP_S)
            heat += cut * (GAS_C - ambient)
            falls += cut
            columns = _by_step(still, off, more, np.broadcast_to(was, still.shape), heat, falls, ambient, then)
            for k, (still_k, off_k, more_k, was_k, heat_k, falls_k, ambient_k, then_k) in enumerate(columns, start):
                there = was_k + now
                on = self._fan_at(k, there, on)
                g1, capacity = sheds.shed(still_k, off_k + on * more_k, there)
                now = step(there, heat_k / capacity, (g1 + falls_k) / capacity, ambient_k, STEP_S) - then_k
                change[:, k + 1] = now


@dataclass(frozen=True)
class _Before:
    """The ride as it was: coolant and fan (rows of 1 or draws), what another map takes off `falls` (draws, n), and
    where that is next to nothing (n,)."""

    coolant_c: FloatArray
    on: FloatArray
    cut: FloatArray
    dies: BoolArray


def _by_step(*rows: FloatArray) -> Iterator[tuple[FloatArray, ...]]:
    """Columns of (draws, n) arrays, one step after the other: turned over in blocks, so that a step's figures lie
    together."""
    for start in range(0, rows[0].shape[1], BLOCK_STEPS):
        span = slice(start, start + BLOCK_STEPS)
        yield from zip(*(np.ascontiguousarray(row[:, span].T) for row in rows), strict=True)


def time_above_s(
    coolant_c: FloatArray, threshold_c: float, step_s: float = STEP_S, *, among: BoolArray | None = None
) -> FloatArray:
    """Seconds above a threshold of paths (draws, n) linear between steps; a step with an unknown end counts nothing.
    `among`, (n,), leaves out the steps with neither end in it."""
    at = np.flatnonzero(among[:-1] | among[1:]) if among is not None else np.arange(coolant_c.shape[1] - 1)
    seconds = np.zeros(coolant_c.shape[0])
    for here in np.array_split(at, at.size // BLOCK_STEPS + 1):
        a, b = coolant_c[:, here] - threshold_c, coolant_c[:, here + 1] - threshold_c
        over = np.maximum(a, 0.0) + np.maximum(b, 0.0)
        with np.errstate(invalid="ignore", divide="ignore"):
            share = np.where(over > 0.0, over / (np.abs(a) + np.abs(b)), 0.0)
        seconds += np.nan_to_num(share, copy=False).sum(axis=1)
    return seconds * step_s
