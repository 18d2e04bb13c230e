"""Signals of two devices on one time grid, as changes that can be compared: holes stay holes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridelog.results import BoolArray, FloatArray

STEP_S = 0.1
"""Grid of the fine comparison: ten points a second, each at a whole multiple of this time on its own clock."""

HOLE_S = 1.0
HOLE_STEPS = 2.5
"""No value is taken between two samples further apart than a second and two and a half usual steps."""

MOST_ROWS_HELD = 200
SHARE_IN_STEP = 0.9
FEWEST_CHANGES = 20

WHEEL_LEAST_MPS = 2.5
ENGINE_LEAST_RPM = 600.0
"""Below these speed is mostly noise, and the engine idles or stands; a relative change tells nothing there."""


@dataclass(frozen=True)
class Uniform:
    """Values at `(first + i) * STEP_S` on the device's own clock; NaN where the device says nothing."""

    first: int
    values: FloatArray

    def times(self) -> FloatArray:
        """Seconds on the device's clock."""
        return (self.first + np.arange(self.values.size, dtype=np.float64)) * STEP_S


def clean(t_s: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Finite samples. Raises ValueError where lengths differ or times do not rise strictly."""
    if t_s.shape != values.shape or t_s.ndim != 1:
        raise ValueError(f"times {t_s.shape} and values {values.shape} must be two rows of one length")
    here = np.isfinite(t_s) & np.isfinite(values)
    t_s, values = t_s[here].astype(np.float64), values[here].astype(np.float64)
    if t_s.size and not (np.diff(t_s) > 0.0).all():
        raise ValueError("times must rise strictly")
    return t_s, values


def newly_spoken(values: FloatArray) -> BoolArray:
    """Rows at which a sensor spoke anew, where a log repeats its last word in between.

    A held value is stamped later than it was measured, on average by half of the sensor's own step, so the repeats must
    go. Where most waits between changes are multiples of k rows, every k-th row since a change is kept.
    """
    change = np.flatnonzero(np.diff(values)) + 1
    keep = np.ones(values.size, dtype=np.bool_)
    if change.size < FEWEST_CHANGES:
        return keep
    waits = np.diff(change)
    rows = 1
    for k in range(2, min(MOST_ROWS_HELD, int(np.quantile(waits, 1.0 - SHARE_IN_STEP / 2.0))) + 1):
        if float((waits % k == 0).mean()) >= SHARE_IN_STEP:
            rows = k
    if rows == 1:
        return keep
    since = np.zeros(values.size, dtype=np.int64)
    since[change] = change
    return np.asarray((np.arange(values.size) - np.maximum.accumulate(since)) % rows == 0, dtype=np.bool_)


def on_grid(t_s: FloatArray, values: FloatArray) -> Uniform:
    """A channel's own samples on the grid, straight lines between neighbours, NaN in holes."""
    spoken = newly_spoken(values)
    t_s, values = t_s[spoken], values[spoken]
    if t_s.size < 2:
        return Uniform(0, np.zeros(0))
    first, last = int(np.ceil(t_s[0] / STEP_S)), int(np.floor(t_s[-1] / STEP_S))
    grid = np.arange(first, last + 1) * STEP_S
    result = np.interp(grid, t_s, values)
    steps = np.diff(t_s)
    wide = steps > max(HOLE_S, HOLE_STEPS * float(np.median(steps)))
    before = np.clip(np.searchsorted(t_s, grid, "right") - 1, 0, t_s.size - 2)
    result[wide[before] & (grid > t_s[before]) & (grid < t_s[before + 1])] = np.nan
    return Uniform(first, result)


def smoothed(signal: Uniform, sigma_s: float) -> Uniform:
    """Bell-shaped mean of what is known; holes stay as wide as they were."""
    # Late: the library takes long to load, and most files are read without it.
    from scipy.ndimage import gaussian_filter1d

    known = np.isfinite(signal.values)
    total = gaussian_filter1d(np.where(known, signal.values, 0.0), sigma_s / STEP_S)
    weight = gaussian_filter1d(known.astype(np.float64), sigma_s / STEP_S)
    return Uniform(signal.first, np.where(known, total / np.where(known, weight, 1.0), np.nan))


def logarithm(signal: Uniform, least: float) -> Uniform:
    """Natural logarithm above `least`, NaN elsewhere: a gear's ratio or a wheel's size becomes a constant in it."""
    usable = np.nan_to_num(signal.values) > least
    return Uniform(signal.first, np.where(usable, np.log(np.where(usable, signal.values, 1.0)), np.nan))


def change(signal: Uniform, span_s: float) -> Uniform:
    """Change over `span_s` around each point, NaN where anything in between is not known."""
    half = round(span_s / 2.0 / STEP_S)
    result = np.full(signal.values.size, np.nan)
    if result.size > 2 * half:
        unknown = np.concatenate([[0], np.cumsum(~np.isfinite(signal.values))])
        whole = unknown[2 * half + 1 :] == unknown[: -2 * half - 1]
        result[half:-half] = np.where(whole, signal.values[2 * half :] - signal.values[: -2 * half], np.nan)
    return Uniform(signal.first, result)


def slope(signal: Uniform) -> Uniform:
    """Change a second."""
    if signal.values.size < 2:
        return Uniform(signal.first, np.full(signal.values.size, np.nan))
    return Uniform(signal.first, np.gradient(signal.values, STEP_S))


def telling_span(signal: Uniform, longest_s: float) -> float:
    """Seconds over which a channel of unknown nature changes by a good part of all it ever does: 2, 4, 8 ...

    A fast channel changes fully within two seconds; the change of a slow one over two seconds is all rounding.
    """
    spread = float(np.nanvar(signal.values)) if np.isfinite(signal.values).any() else 0.0
    span = 2.0
    while span < longest_s:
        moved = change(signal, span).values
        if np.isfinite(moved).any() and float(np.nanmean(moved**2)) >= 0.25 * 2.0 * spread:
            break
        span *= 2.0
    return span
