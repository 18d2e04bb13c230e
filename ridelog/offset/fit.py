"""The exact offset and drift near a candidate: windows along the ride and a robust line, then all moments at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridelog.offset.search import Candidate, strength_of
from ridelog.offset.signals import STEP_S, Uniform
from ridelog.results import FloatArray

WINDOW_S = 120.0
MOST_WINDOWS = 200
REACH_S = 0.8
FEWEST_WINDOWS = 5
WINDOW_CORRELATION = 0.3
"""A window that agrees less (standing, straight at one speed, clutch in) has no say in the line."""

EVERY = 2
"""Neighbouring points of the grid tell the same; every other one is enough for the sums."""

LEAST_TIME_S = 10.0
ROUNDS = 60
WIDE_ROUNDS = 4
SETTLED_S = 1e-5
FURTHEST_S = 1.5


@dataclass(frozen=True)
class Recipe:
    """How changes of one kind are compared.

    `clip` limits a change before it is correlated, so that a gear shift can't outweigh a minute of riding. A moment
    whose difference passes about `spread` (the larger of `least_spread` and `spread_factor` times the usual
    difference) loses its say. `extra` and `extra_sd` are the expected size and spread of the third unknown.
    """

    smooth_s: float
    span_s: float
    clip: float
    least_spread: float
    spread_factor: float
    extra: float
    extra_sd: float


@dataclass(frozen=True)
class Pair:
    """Changes of both devices; `extra` is the reference's third regressor, on the reference's grid."""

    reference: Uniform
    other: Uniform
    extra: Uniform
    recipe: Recipe
    memory_s: float


@dataclass(frozen=True)
class Fitted:
    """`lag_s` at `middle_s` of the other clock and `drift`; what both then agree on, and the scatter of windows about
    the line (None with fewer than two windows). `windows` are the correlations of single windows of the other clock,
    the same windows for every candidate; NaN where one tells too little. `error_s` is two standard deviations at the
    end of the recording."""

    lag_s: float
    drift: float
    middle_s: float
    correlation: float
    strength: float
    overlap_s: float
    residual_s: float | None
    windows: FloatArray
    error_s: float

    @property
    def at_zero_s(self) -> float:
        """Lag at time 0 of the other clock."""
        return self.lag_s - self.drift * self.middle_s


def refine(pair: Pair, start: Candidate, middle_s: float, max_drift: float) -> Fitted | None:
    """The best offset and drift near a candidate; None where the search leaves its neighbourhood."""
    # Late: the library takes long to load, and most files are read without it.
    from scipy.stats import theilslopes

    lag_s, drift = start.lag_s, start.drift
    times, lags, _ = _windows(pair, lag_s, drift, middle_s)
    if times.size >= FEWEST_WINDOWS:
        # Arguments are y, x. The line is robust against windows that hit a wrong bump.
        line = theilslopes(lags, times - middle_s)
        drift = float(np.clip(drift + line[0], -max_drift, max_drift))
        lag_s += float(np.clip(line[1], -REACH_S, REACH_S))
    found = _all_at_once(pair, lag_s, drift, middle_s, max_drift)
    if found is None or abs(found[0] - start.lag_s) > FURTHEST_S:
        return None
    lag_s, drift, error_s = found
    ref, oth = _pairs(pair, lag_s, drift, middle_s)[:2]
    ref, oth = np.clip(ref, -pair.recipe.clip, pair.recipe.clip), np.clip(oth, -pair.recipe.clip, pair.recipe.clip)
    power = float((ref * ref).sum() * (oth * oth).sum())
    correlation = float((ref * oth).sum()) / power**0.5 if power > 0.0 else 0.0
    overlap = ref.size * STEP_S
    strength = float(strength_of(np.array(correlation), np.array(overlap), pair.memory_s))
    times, lags, windows = _windows(pair, lag_s, drift, middle_s)
    residual = 1.4826 * float(np.median(np.abs(lags - np.median(lags)))) if times.size > 1 else None
    return Fitted(lag_s, drift, middle_s, correlation, strength, overlap, residual, windows, error_s)


def _at(signal: Uniform, t_s: FloatArray) -> FloatArray:
    place = t_s / STEP_S - signal.first
    return np.interp(place, np.arange(signal.values.size), signal.values, left=np.nan, right=np.nan)


def _pairs(pair: Pair, lag_s: float, drift: float, middle_s: float) -> tuple[FloatArray, FloatArray]:
    """Changes of reference and other at the moments both know."""
    t_s = pair.other.times()
    ref = _at(pair.reference, t_s + lag_s + drift * (t_s - middle_s))
    both = np.isfinite(ref) & np.isfinite(pair.other.values)
    return ref[both], pair.other.values[both]


def _windows(pair: Pair, lag_s: float, drift: float, middle_s: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Middles of windows on the other clock and what each would add to the lag, for windows that can tell; and how well
    each agrees as it is, NaN where too little is known."""
    clip = pair.recipe.clip
    t_s = pair.other.times()
    width = max(round(WINDOW_S / STEP_S), -(-t_s.size // MOST_WINDOWS))
    edges = np.arange(0, t_s.size, width)
    oth = np.clip(pair.other.values, -clip, clip)
    known = np.isfinite(oth)
    shifts = np.arange(-REACH_S, REACH_S + 0.5 * STEP_S, STEP_S)
    table = np.zeros((shifts.size, edges.size))
    enough = np.ones(edges.size, dtype=np.bool_)
    base = t_s + lag_s + drift * (t_s - middle_s)
    for row, shift in enumerate(shifts.tolist()):
        ref = np.clip(_at(pair.reference, base + shift), -clip, clip)
        both = known & np.isfinite(ref)
        x, y = np.where(both, ref, 0.0), np.where(both, oth, 0.0)
        power = np.add.reduceat(x * x, edges) * np.add.reduceat(y * y, edges)
        table[row] = np.add.reduceat(x * y, edges) / np.sqrt(np.where(power > 0.0, power, np.inf))
        enough &= np.add.reduceat(both.astype(np.int64), edges) >= width // 4
    as_it_is = np.where(enough, table[shifts.size // 2], np.nan)
    top = table.argmax(axis=0)
    column = np.arange(edges.size)
    inner = (top > 0) & (top < shifts.size - 1) & enough & (table[top, column] >= WINDOW_CORRELATION)
    top, column = top[inner], column[inner]
    before, at, after = table[top - 1, column], table[top, column], table[top + 1, column]
    bend = before - 2.0 * at + after
    part = np.where(bend < 0.0, 0.5 * (before - after) / np.where(bend < 0.0, bend, -1.0), 0.0)
    middles = t_s[np.minimum(edges[column] + width // 2, t_s.size - 1)]
    return middles, shifts[top] + part * STEP_S, as_it_is


def _all_at_once(
    pair: Pair, lag_s: float, drift: float, middle_s: float, max_drift: float
) -> tuple[float, float, float] | None:
    """Weighted least squares for lag, drift and the third unknown, weights falling off as a bell with the difference.

    Drift and third unknown are held near what is usual by as much as the data leave them open, so that a short overlap
    does not make up a drift. Neighbouring moments share what they measure: the sums are divided by the memory.
    """
    recipe = pair.recipe
    t_s = pair.other.times()
    steep = Uniform(pair.reference.first, np.gradient(pair.reference.values, STEP_S))
    use = np.flatnonzero(np.isfinite(pair.other.values))[::EVERY]
    t_s, y = t_s[use], pair.other.values[use]
    x = t_s - middle_s
    extra = recipe.extra
    drift_sd = 0.5 * max_drift
    reach_s = float(np.abs(x).max()) if x.size else 0.0
    normal = np.eye(3)
    per_moment = pair.memory_s / (EVERY * STEP_S)
    for number in range(ROUNDS):
        at = t_s + lag_s + drift * x
        ref, rate, third = _at(pair.reference, at), _at(steep, at), _at(pair.extra, at)
        good = np.isfinite(ref) & np.isfinite(rate) & np.isfinite(third)
        if int(good.sum()) * EVERY * STEP_S < LEAST_TIME_S:
            return None
        rate, third = rate[good], third[good]
        off = y[good] - ref[good] - extra * third
        usual = recipe.spread_factor * 1.4826 * float(np.median(np.abs(off)))
        wide = recipe.clip
        spread = wide if number < WIDE_ROUNDS else min(max(recipe.least_spread, usual), wide)
        weight = np.exp(-((off / spread) ** 2))
        variance = float((weight * off * off).sum() / weight.sum()) * per_moment + 1e-12
        jacobian = np.stack([rate, rate * x[good], third])
        normal = (jacobian * weight) @ jacobian.T / variance
        right = (jacobian * weight) @ off / variance
        normal[0, 0] += 1e-9
        for place, value, expected, sd in ((1, drift, 0.0, drift_sd), (2, extra, recipe.extra, recipe.extra_sd)):
            normal[place, place] += 1.0 / sd**2
            right[place] += (expected - value) / sd**2
        step = np.linalg.solve(normal, right)
        lag_s += float(step[0])
        drift = float(np.clip(drift + step[1], -max_drift, max_drift))
        extra += float(step[2])
        if not np.isfinite(lag_s):
            return None
        if number > WIDE_ROUNDS and abs(step[0]) < SETTLED_S and abs(step[1]) * reach_s < SETTLED_S:
            break
    spread_of = np.linalg.inv(normal)
    return lag_s, drift, 2.0 * float(np.sqrt(spread_of[0, 0] + spread_of[1, 1] * reach_s**2))
