"""Heating and cooling rates of two sets of rides at the same load, speed and coolant above the air.

From the measured trace in integral form: over windows of twenty seconds, what the coolant rose or fell is set against
what one and the same heat balance (the middle of both sides' fits) foretells from the window's own start, load, speed
and air. What is left over is compared in cells of load and speed that both sides have (`matched_cells`), so that
neither how a ride was ridden, nor the day's air, nor a hotter start counts as a difference. The rates told are those of
the balance at the common cells plus what each side's trace left over. Whole-degree sensors do no harm: no derivative is
taken, and rounding evens out over windows.

A band holds three things: blocks of three minutes resampled, how healthy rides of one bike differ from day to day, and
the air's temperature, known to a degree. The last two are put through the balance, window by window.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ridelog.analysis import matched_cells
from ridelog.analysis.matched_cells import Common, IndexArray, Readings
from ridelog.analysis.thermal import AMBIENT, STEP_S, Conditions, Plant, Windows, march, observed_fan
from ridelog.results import Band, BoolArray, FloatArray

WINDOW_STEPS = 5
WINDOW_S = WINDOW_STEPS * STEP_S
"""Twenty seconds: long beside a sensor's step, short beside a stretch."""

BLOCK_S = 180.0

LOAD_EDGES = (0.0, 0.08, 0.20, 0.35, 0.60, np.inf)
"""Mean brake power over peak power: shut or idling, light, medium, hard, near full."""

SPEED_EDGES_MPS = (0.0, 1.0, 3.0, 6.0, 12.0, 20.0, np.inf)
"""Standing, walking pace, slow, trail, road, fast."""

LEAST_WINDOWS = 2
"""Forty seconds of a cell on each side."""

DAY_DRAWS = 48
SEED = 4
LEAST_LIFT_K = 20.0
"""A coolant nearer to the air tells little of what sheds heat."""

WARM_C = 50.0
"""Below this a bike without a thermostat is still warming up."""


@dataclass(frozen=True)
class Reading:
    """Windows of one ride, arrays (n,): what the coolant did and what was foretold, K/s; mean load over peak power,
    mean speed, coolant above the air; the start of each; `moved` (DAY_DRAWS, n): change of what is foretold under
    day-to-day draws."""

    start_s: FloatArray
    rate_kps: FloatArray
    foretold_kps: FloatArray
    load: FloatArray
    speed_mps: FloatArray
    lift_k: FloatArray
    moved_kps: FloatArray


def read(plant: Plant, ride: Conditions, theta: FloatArray, day_to_day: FloatArray, air_sd_c: float) -> Reading:
    """A ride's windows under one parameter vector `theta`. `day_to_day` (n,) is the variance of the parameters between
    healthy rides, `air_sd_c` how well the air is known."""
    ok = ride.known & ride.running & np.isfinite(ride.coolant_c)
    bad = np.concatenate([[0], np.cumsum(~ok)])
    starts = np.arange(0, ride.t_s.size - WINDOW_STEPS, WINDOW_STEPS)
    starts = starts[(bad[starts + WINDOW_STEPS + 1] - bad[starts]) == 0]
    warm_c = plant.opens_c if plant.opens_c is not None else WARM_C
    begin = ride.coolant_c[starts]
    starts = starts[(begin >= warm_c) & (begin - ride.ambient_c[starts] >= LEAST_LIFT_K)]
    if starts.size == 0:
        empty = np.zeros(0)
        return Reading(empty, empty, empty, empty, empty, empty, np.zeros((DAY_DRAWS, 0)))
    at = starts[:, None] + np.arange(WINDOW_STEPS)
    begin, end = ride.coolant_c[starts], ride.coolant_c[starts + WINDOW_STEPS]
    variance = day_to_day.copy()
    variance[AMBIENT] += air_sd_c**2
    noise = np.random.default_rng(SEED).standard_normal((DAY_DRAWS, theta.size)) * np.sqrt(variance)
    thetas = np.vstack([theta[None], theta + noise])
    windows = Windows(starts, WINDOW_STEPS, begin, observed_fan(plant, ride))
    foretold = (march(plant, thetas, ride, windows)[-1] - begin) / WINDOW_S
    return Reading(
        start_s=ride.t_s[starts],
        rate_kps=(end - begin) / WINDOW_S,
        foretold_kps=foretold[0],
        load=ride.power_kw[at].mean(axis=1) / plant.peak_kw,
        speed_mps=ride.speed_mps[at].mean(axis=1),
        lift_k=np.asarray((ride.coolant_c[at] - ride.ambient_c[at]).mean(axis=1)),
        moved_kps=foretold[1:] - foretold[:1],
    )


@dataclass(frozen=True)
class Rate:
    """A rate of both sides over common cells, K/s, with 95 % bands; `seconds` and `share` of each side in them;
    `lift_k`: each side's mean coolant above the air there."""

    first: Band
    others: Band
    difference: Band
    seconds: tuple[float, float]
    share: tuple[float, float]
    lift_k: tuple[float, float]


@dataclass(frozen=True)
class _Side:
    value: FloatArray
    foretold: FloatArray
    lift: FloatArray
    moved: FloatArray
    load: FloatArray
    speed: FloatArray
    ride: IndexArray
    block: IndexArray


def _side(readings: Sequence[Reading]) -> _Side:
    ride = np.concatenate([np.full(one.load.size, n, dtype=np.int64) for n, one in enumerate(readings)])
    blocks = np.concatenate([(one.start_s // BLOCK_S).astype(np.int64) for one in readings])

    def joined(name: str) -> FloatArray:
        return np.concatenate([getattr(one, name) for one in readings], axis=-1)

    foretold = joined("foretold_kps")
    return _Side(
        joined("rate_kps") - foretold, foretold, joined("lift_k"), joined("moved_kps"), joined("load"),
        joined("speed_mps"), ride, ride * 100_000 + blocks,
    )  # fmt: skip


@dataclass(frozen=True)
class Matched:
    """Both sides' windows, ready to be compared."""

    first: _Side
    others: _Side

    @classmethod
    def of(cls, first: Sequence[Reading], others: Sequence[Reading]) -> Matched:
        """From the rides' windows."""
        return cls(_side(first), _side(others))

    def overall(self) -> Rate | None:
        """Over all cells of load and speed."""
        return self._rate(lambda side: np.ones(side.load.size, dtype=np.bool_))

    def by_load(self) -> list[tuple[float, float, Rate]]:
        """Rates by load, each over common speeds: lower and upper edge (share of peak power), rate."""
        return self._rows(LOAD_EDGES, "load")

    def by_speed(self) -> list[tuple[float, float, Rate]]:
        """Rates with the throttle shut or nearly so, by speed: lower and upper edge (m/s), rate."""
        return self._rows(SPEED_EDGES_MPS, "speed", most_load=LOAD_EDGES[1])

    def common(self) -> Common | None:
        """Cells that both sides have."""
        every = [np.ones(side.load.size, dtype=np.bool_) for side in (self.first, self.others)]
        return matched_cells.common(
            _readings(self.first, every[0]), _readings(self.others, every[1]), CELLS, LEAST_WINDOWS
        )

    def _rows(self, edges: tuple[float, ...], name: str, most_load: float = np.inf) -> list[tuple[float, float, Rate]]:
        rows = []
        for low, high in pairwise(edges):

            def inside(side: _Side, low: float = low, high: float = high) -> BoolArray:
                values: FloatArray = getattr(side, name)
                return np.asarray((values >= low) & (values < high) & (side.load < most_load))

            rate = self._rate(inside)
            if rate is not None:
                rows.append((low, high, rate))
        return rows

    def _rate(self, chosen: Callable[[_Side], BoolArray]) -> Rate | None:
        parts = [(side, _readings(side, chosen(side))) for side in (self.first, self.others)]
        found = matched_cells.common(parts[0][1], parts[1][1], CELLS, LEAST_WINDOWS)
        if found is None:
            return None
        told = [_told(side, readings, found) for side, readings in parts]
        if not all(np.isfinite(one.error) for one in told):
            return None
        level = 0.5 * (told[0].foretold + told[1].foretold)
        values = [level + one.left for one in told]
        errors = [math.hypot(one.error, one.day) for one in told]
        return Rate(
            first=_band(values[0], errors[0]),
            others=_band(values[1], errors[1]),
            difference=_band(values[0] - values[1], math.hypot(*errors)),
            seconds=(found.count[0] * WINDOW_S, found.count[1] * WINDOW_S),
            share=found.share,
            lift_k=(told[0].lift, told[1].lift),
        )


CELLS = (len(LOAD_EDGES) - 1) * (len(SPEED_EDGES_MPS) - 1)


def cells(load: FloatArray, speed_mps: FloatArray) -> IndexArray:
    """Cell of each window, 0..CELLS - 1."""
    row = np.digitize(load, LOAD_EDGES[1:-1])
    column = np.digitize(speed_mps, SPEED_EDGES_MPS[1:-1])
    return np.asarray(row * (len(SPEED_EDGES_MPS) - 1) + column, dtype=np.int64)


def _readings(side: _Side, chosen: BoolArray) -> Readings:
    return Readings(side.value, np.where(chosen, cells(side.load, side.speed), -1), side.ride, side.block)


@dataclass(frozen=True)
class _Told:
    left: float
    foretold: float
    error: float
    day: float
    lift: float


def _told(side: _Side, readings: Readings, found: Common) -> _Told:
    def mean(values: FloatArray) -> FloatArray:
        return matched_cells.standardized(values, readings.cell, found.weight)

    return _Told(
        left=float(mean(side.value)),
        foretold=float(mean(side.foretold)),
        error=matched_cells.spread(readings, found.weight),
        day=float(mean(side.moved).std() / np.sqrt(max(readings.rides, 1))),
        lift=float(mean(side.lift)),
    )


def _band(value: float, error: float) -> Band:
    return Band(value, value - matched_cells.NORMAL * error, value + matched_cells.NORMAL * error)
