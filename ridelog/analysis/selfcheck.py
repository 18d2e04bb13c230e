"""Does the bike file fit the ride: power over mass by the file against what the ride shows.

On one piece of ground, force at the tyre over mass is eta P / (v m) - air / m, and what it does is gamma a + g sin(th)
plus g times a drag that changes little. Over many windows of 20 s, each with its own mean taken out, the first plotted
over the second is a straight line through nothing; its slope is the file's power over mass divided by the true one. So
only the ratio of power to mass is found, and of both only as the file's multiple.

Both sides carry errors: the load law at part throttle on one, the ground's roughness, slope and the receiver's noise on
the other. A plain regression of either on the other comes out too flat, and the truth lies between the two. Taken is
their geometric mean (the reduced major axis; Kermack and Haldane, Biometrika 37, 1950, from memory). The interval is
the scatter between windows (leaving out one at a time) with the load law's own uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.filters import matched_mean
from ridelog.results import BoolArray, FloatArray
from ridelog.words import measured as words

WINDOW_S = 20.0
"""Ground stays about the same for so long, and a few bursts of throttle fall into it."""

LEAST_FILLED = 0.4
"""A window counts where it holds this share of usable moments."""

HARDEST_SHARE = 0.75
"""Windows with the most drag, a quarter, are left out: soft ground is uneven ground."""

LEAST_WINDOWS = 10
LEAST_S = 120.0
LEAST_AGREEMENT = 0.75
"""Correlation below which force and motion hardly follow each other: then nothing is concluded. With 0.6 instead, 3 of
98 simulated rides that fit their file were contradicted; with 0.75 none of 87."""

LATEST_S, EARLIEST_S = 1.2, 0.4
"""How far a receiver's speed may lag behind the engine's data, or lead it. The lag with the best agreement is taken."""

LAW_SIGMA = 0.14
"""Power from a throttle position is good to about 20 % (see load.py), and ground, wind and receiver differ from ride
to ride: on simulated rides whose files fit, two of these hold nearly all."""

SLIPPING = 0.12
SLOWEST_MPS = 3.0
"""More slip than this, and slower than this, the tyre's or the clutch's losses outweigh the rest."""

SPEAK_LOW, SPEAK_HIGH = 0.85, 1.18
"""A ratio between these is within what mass, fuel and kit differ by from ride to ride."""


@dataclass(frozen=True)
class Scale:
    """True power over mass divided by the bike file's: 1 where the file fits; `low`, `high` at 95 %.

    `lag_s` is how late the speed was found to be, `agreement` the correlation of force and motion.
    """

    value: float
    low: float
    high: float
    seconds: float
    windows: int
    lag_s: float
    agreement: float

    @property
    def contradicts(self) -> bool:
        """True where the file is off by more than chance and by more than matters."""
        certain = self.low > 1.0 or self.high < 1.0
        return certain and not SPEAK_LOW <= self.value <= SPEAK_HIGH


@dataclass(frozen=True)
class _Sums:
    motion: FloatArray
    both: FloatArray
    force: FloatArray
    seconds: float

    @property
    def agreement(self) -> float:
        spread = float(self.motion.sum() * self.force.sum())
        return float(self.both.sum()) / spread**0.5 if spread > 0.0 else 0.0


def usable(where: BoolArray, speed_mps: FloatArray, slip: FloatArray | None, standard: BoolArray) -> BoolArray:
    """Moments that count: `where` the engine drives the bike (see terrain.driven), faster than a run, little slip, and
    on the standard map, for which the curve holds."""
    with np.errstate(invalid="ignore"):
        found = where & standard & (speed_mps > SLOWEST_MPS)
        return np.asarray(found & ~(slip > SLIPPING) if slip is not None else found, dtype=np.bool_)


def scale(
    *,
    tyre_power_w: FloatArray,
    speed_mps: FloatArray,
    air_n: FloatArray,
    felt_mps2: FloatArray,
    mass_kg: float,
    where: BoolArray,
    step_s: float,
    window: int,
) -> Scale | str:
    """Power over mass against the bike file's, or in words why it can't be told.

    `tyre_power_w` is the file's power after the driveline, W; `felt_mps2` is gamma a + g sin(th), m/s², smoothed over
    `window` grid points; all on the grid, NaN where not known.
    """
    at_tyre = matched_mean(tyre_power_w, window)
    points = round(WINDOW_S / step_s)
    best: tuple[float, int, _Sums] | None = None
    for lag in range(-round(EARLIEST_S / step_s), round(LATEST_S / step_s) + 1):
        with np.errstate(invalid="ignore", divide="ignore"):
            push = (_late(at_tyre, lag) / speed_mps - air_n) / mass_kg
        sums = _sums(push, felt_mps2, where, points, step_s)
        if sums is not None and (best is None or sums.agreement > best[0]):
            best = (sums.agreement, lag, sums)
    if best is None or best[2].seconds < LEAST_S or best[2].force.size < LEAST_WINDOWS:
        seconds = best[2].seconds if best is not None else 0.0
        return words.too_little_driving(seconds, LEAST_S, LEAST_WINDOWS)
    agreement, lag, sums = best
    if agreement < LEAST_AGREEMENT:
        return words.SPEED_IGNORES_THROTTLE
    left = sums.motion.sum() - sums.motion, sums.force.sum() - sums.force
    if min(float(one.min()) for one in left) <= 0.0:
        return words.CHANGES_ONCE
    value = (sums.motion.sum() / sums.force.sum()) ** 0.5
    without = 0.5 * np.log(left[0] / left[1])
    count = without.size
    scatter = float(np.sqrt((count - 1) / count * ((without - without.mean()) ** 2).sum()))
    reach = float(np.exp(1.96 * np.hypot(scatter, LAW_SIGMA)))
    return Scale(float(value), float(value) / reach, float(value) * reach, sums.seconds, count, lag * step_s, agreement)


def _late(values: FloatArray, steps: int) -> FloatArray:
    if steps == 0:
        return values
    # A ride may be shorter than the lag.
    steps = max(-values.size, min(values.size, steps))
    hole = np.full(abs(steps), np.nan)
    return np.concatenate([hole, values[:-steps]] if steps > 0 else [values[-steps:], hole])


def _sums(push: FloatArray, felt: FloatArray, where: BoolArray, points: int, step_s: float) -> _Sums | None:
    """Squares and products of both sides, each window's mean taken out, a value a window."""
    index = np.flatnonzero(where & np.isfinite(push) & np.isfinite(felt))
    if index.size == 0:
        return None
    block = index // points
    number = np.bincount(block)
    count = np.maximum(number, 1)
    push, felt = push[index], felt[index]
    push_mean, felt_mean = np.bincount(block, push) / count, np.bincount(block, felt) / count
    good = number >= LEAST_FILLED * points
    if not good.any():
        return None
    drag = push_mean - felt_mean
    good &= drag <= np.quantile(drag[good], HARDEST_SHARE)
    push, felt = push - push_mean[block], felt - felt_mean[block]

    def per_window(values: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(block, values)[good], dtype=np.float64)

    seconds = float(number[good].sum()) * step_s
    return _Sums(per_window(felt * felt), per_window(felt * push), per_window(push * push), seconds)
