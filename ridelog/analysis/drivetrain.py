"""Which gear is engaged, and what the log itself says about the gearing.

Engine speed over ground speed is a fixed number in each gear while the clutch is home and the tyre grips.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.filters import near
from ridelog.analysis.peaks import bell, peaks
from ridelog.analysis.viterbi import cheapest_path
from ridelog.results import BoolArray, FloatArray

SLOWEST_MPS = 1.5
"""Below this the clutch slips and speed is mostly noise: no gear can be told."""

RATIO_SIGMA = 0.03
SLIP_SIGMA = 0.08
SPEED_SIGMA_MPS = 0.2
"""Spread of ln(rpm / speed) about a gear's: below it, above it (a spinning tyre raises rpm), and from speed's own
error."""

NO_GEAR_COST = 3.0
CHANGE_COST = 4.0
"""In units of half a squared deviation: a gear is given up beyond 2.4 sigma, a change must pay for itself within a
second."""

CLOSEST_GEARS = 0.09
"""Neighbouring gears of an enduro box are 12 % apart or more; two peaks closer than 9 % are one gear with and without
slip."""

_BIN = 0.004
_SMOOTH = 0.012
_STEADY = 0.02
_LEAST_S = 10.0
_LEAST_SHARE = 0.02


@dataclass(frozen=True)
class Gears:
    """`gear` on the grid: 1.., 0 where no gear fits (clutch in, changing, spinning), NaN where nothing is known.

    `rpm_per_mps` are the ratios it rests on, from first gear up. `source` says where they come from.
    """

    gear: FloatArray
    rpm_per_mps: tuple[float, ...]
    source: str


def _log_ratio(rpm: FloatArray, speed_mps: FloatArray) -> FloatArray:
    fit = (speed_mps > SLOWEST_MPS) & (rpm > 300.0)
    return np.where(fit, np.log(np.where(fit, rpm, 1.0) / np.where(fit, speed_mps, 1.0)), np.nan)


def steady_log_ratio(rpm: FloatArray, speed_mps: FloatArray, step_s: float) -> FloatArray:
    """ln((1/min) / (m/s)) where it has not moved by 2 % within a second either way; NaN elsewhere."""
    ratio = _log_ratio(rpm, np.where(speed_mps > 2.5, speed_mps, np.nan))
    apart = max(1, round(1.0 / step_s))
    steady = np.zeros(ratio.size, dtype=np.bool_)
    if ratio.size > 2 * apart:
        middle = ratio[apart:-apart]
        with np.errstate(invalid="ignore"):
            steady[apart:-apart] = (np.abs(ratio[2 * apart :] - middle) < _STEADY) & (
                np.abs(ratio[: -2 * apart] - middle) < _STEADY
            )
    return np.where(steady, ratio, np.nan)


@dataclass(frozen=True)
class _Density:
    start: float
    seconds: FloatArray

    def at(self, log_ratio: FloatArray) -> FloatArray:
        """Smoothed seconds a bin at given log ratios; 0 outside."""
        place = (log_ratio - self.start) / _BIN - 0.5
        return np.interp(place, np.arange(self.seconds.size), self.seconds, left=0.0, right=0.0)


def _density(steady: FloatArray, step_s: float) -> _Density | None:
    known = steady[np.isfinite(steady)]
    if known.size * step_s < _LEAST_S:
        return None
    start = float(known.min()) - 10.0 * _SMOOTH
    bins = int((float(known.max()) + 10.0 * _SMOOTH - start) / _BIN) + 1
    count = np.bincount(((known - start) / _BIN).astype(np.int64), minlength=bins).astype(np.float64)
    return _Density(start, bell(count * step_s, _SMOOTH / _BIN))


def learn_ratios(steady: FloatArray, step_s: float) -> tuple[float, ...]:
    """(1/min)/(m/s) of each gear the ride shows clearly, from the lowest gear up; empty where it shows none.

    Gears are the peaks of time over the logarithm of the ratio; each is then the median of what lies within 3 % of it.
    """
    density = _density(steady, step_s)
    if density is None:
        return ()
    total = float(density.seconds.sum())
    tops = peaks(
        density.seconds,
        prominence=max(_LEAST_SHARE * total, _LEAST_S) * _BIN / (_SMOOTH * np.sqrt(2.0 * np.pi)),
        distance=round(CLOSEST_GEARS / _BIN),
    )
    known = steady[np.isfinite(steady)]
    found = []
    for peak in tops.tolist():
        centre = density.start + (peak + 0.5) * _BIN
        near = known[np.abs(known - centre) < 0.03]
        if near.size * step_s >= _LEAST_S:
            found.append(float(np.exp(np.median(near))))
    return tuple(sorted(found, reverse=True))


@dataclass(frozen=True)
class GearingCheck:
    """How the log's own gearing compares with the bike file's: a common factor on all ratios, 1 where they agree."""

    factor: float
    agrees: bool


MISMATCH = 0.05
"""A common factor beyond this is not slip and not tyre wear: a sprocket, a tyre size or a gear ratio is wrong."""


def check_gearing(steady: FloatArray, rpm_per_mps: tuple[float, ...], step_s: float) -> GearingCheck | None:
    """Compare a bike file's ratios with a ride's clusters; None where the ride shows too little steady running.

    Slides all ratios together by up to ± 20 % and looks where most of the time falls on them. A slide counts only where
    it catches half as much again as none: neighbouring gears are 15 to 30 % apart, so one gear can pass for the next.
    """
    density = _density(steady, step_s)
    if density is None or float(density.seconds.sum()) < 6.0 * _LEAST_S:
        return None
    slides = np.arange(-50, 51) * _BIN
    own = np.log(np.array(rpm_per_mps))
    caught = np.array([float(density.at(own + slide).sum()) for slide in slides])
    # A tyre always slips a little under power, so a small slide up is expected.
    near = np.abs(slides) <= MISMATCH
    best = int(caught.argmax())
    if abs(slides[best]) > MISMATCH and caught[best] >= 1.5 * caught[near].max():
        return GearingCheck(float(np.exp(slides[best])), False)
    return GearingCheck(float(np.exp(slides[near][int(caught[near].argmax())])), True)


def find_gears(
    rpm: FloatArray, speed_mps: FloatArray, rpm_per_mps: tuple[float, ...], source: str, *, gripping: bool
) -> Gears:
    """Gear by the most likely path. `gripping`: the speed is the driven wheel's own, so that slip can't hide in it."""
    known = np.isfinite(rpm) & np.isfinite(speed_mps)
    ratio = _log_ratio(rpm, speed_mps)
    fits = np.isfinite(ratio)
    cost = np.zeros((rpm.size, len(rpm_per_mps) + 1))
    cost[known, 1:] = 2.0 * NO_GEAR_COST
    cost[fits, 0] = NO_GEAR_COST
    spread = RATIO_SIGMA**2 + (SPEED_SIGMA_MPS / np.maximum(speed_mps[fits], SLOWEST_MPS)) ** 2
    wide = spread if gripping else spread - RATIO_SIGMA**2 + SLIP_SIGMA**2
    for index, per_mps in enumerate(rpm_per_mps):
        off = ratio[fits] - np.log(per_mps)
        cost[fits, index + 1] = np.minimum(0.5 * off * off / np.where(off > 0.0, wide, spread), 4.0 * NO_GEAR_COST)
    path = cheapest_path(cost, CHANGE_COST).astype(np.float64)
    path[~known] = np.nan
    return Gears(path, rpm_per_mps, source)


def per_gear(gear: FloatArray, values: tuple[float, ...] | FloatArray, otherwise: float = np.nan) -> FloatArray:
    """A value of each gear on the grid; `otherwise` where no gear is engaged or known."""
    table = np.concatenate([[otherwise], np.asarray(values, dtype=np.float64)])
    index = np.where(np.isfinite(gear), gear, 0.0).astype(np.int64)
    index[index >= table.size] = 0
    return table[index]


def clutch_home(gear: FloatArray) -> BoolArray:
    """True where a gear is engaged and engine and wheel turn together."""
    return np.asarray(np.nan_to_num(gear) > 0.0, dtype=np.bool_)


TYRE_LIMIT_MPS2 = 12.0
"""What a tyre can do to a bike, a little over 1 g: a wheel that gains or loses speed faster carries no load."""

UNLOADED_S = 0.6
"""Around such a moment: a jump is take-off, flight and landing."""


def unloaded(rpm: FloatArray, rpm_per_mps: FloatArray, step_s: float) -> BoolArray:
    """Moments in which the driven wheel is off the ground, or as good as: its speed, from engine speed in gear
    (`rpm_per_mps` on the grid, NaN in none), changes faster than any tyre could make a bike change."""
    wheel_mps = rpm / rpm_per_mps
    change = np.zeros(rpm.size, dtype=np.bool_)
    with np.errstate(invalid="ignore"):
        change[1:] = np.abs(np.diff(wheel_mps)) > TYRE_LIMIT_MPS2 * step_s
    return near(change, round(UNLOADED_S / step_s))
