"""How often a sensor really speaks, and in what steps: held values and resolution, from the samples themselves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ridelog.results import FloatArray

_BLOCKS, _BLOCK_ROWS = 4, 50_000
_MOST_ROWS_HELD = 1_000
_FEWEST_WAITS = 8
_HOLE_S, _HOLE_STEPS = 1.0, 5.0
_SHARE_IN_STEP = 0.95
_SMALLEST_STEP_SHARE = 0.005
_TINIEST_STEP = 1e-200
"""Steps below are the rubbish of a damaged file, and leave the range of the arithmetic."""


@dataclass(frozen=True)
class Rhythm:
    """`rate_hz` of the sensor's own updates (None where it hardly changes, so that nothing tells), `held` where
    values are repeated between updates, `resolution` its smallest step (None where no step shows)."""

    rate_hz: float | None
    held: bool
    resolution: float | None


def rhythm(t_s: FloatArray, y: FloatArray) -> Rhythm:
    """Rhythm of one channel's own samples (finite, times rising strictly)."""
    if t_s.size < 2:
        return Rhythm(None, held=False, resolution=None)
    step_s = _median_step(t_s)
    row_rate = 1.0 / step_s
    waits, jumps = _changes(t_s, y, max(_HOLE_S, _HOLE_STEPS * step_s))
    resolution = _resolution(jumps)
    if waits.size < _FEWEST_WAITS:
        return Rhythm(None, held=False, resolution=resolution)
    rows = _rows_held(waits)
    if rows > 1.0:
        return Rhythm(row_rate / rows, held=True, resolution=resolution)
    return Rhythm(row_rate, held=False, resolution=resolution)


def _median_step(t_s: FloatArray) -> float:
    if t_s.size > 2 * _BLOCK_ROWS:
        t_s = t_s[: 2 * _BLOCK_ROWS]
    return float(np.median(np.diff(t_s)))


def _changes(t_s: FloatArray, y: FloatArray, hole_s: float) -> tuple[npt.NDArray[np.int64], FloatArray]:
    """Rows from change to change, and the sizes of the changes, from some stretches of the channel. A wait over a hole
    of the log says nothing of the sensor: rows are missing from it."""
    if y.size <= _BLOCKS * _BLOCK_ROWS:
        parts = [slice(0, y.size)]
    else:
        starts = np.linspace(0, y.size - _BLOCK_ROWS, _BLOCKS).astype(int)
        parts = [slice(start, start + _BLOCK_ROWS) for start in starts.tolist()]
    waits, jumps = [], []
    for where in parts:
        part = y[where]
        with np.errstate(over="ignore"):  # damage: between the ends of the number range lies infinity
            steps = np.diff(part)
        at = np.flatnonzero(steps)
        waited = np.diff(at)
        holes = np.flatnonzero(np.diff(t_s[where]) > hole_s)
        if holes.size:
            # A change over the hole itself may have come at any row of those missing.
            waited = waited[np.searchsorted(holes, at[1:], "right") == np.searchsorted(holes, at[:-1], "left")]
        waits.append(waited)
        jumps.append(np.abs(steps[at]))
    return np.concatenate(waits).astype(np.int64), np.concatenate(jumps)


def _rows_held(waits: npt.NDArray[np.int64]) -> float:
    """Rows a value is held: the largest k of which nearly all waits between changes are multiples."""
    share = _SHARE_IN_STEP * waits.size
    short = waits[waits <= _MOST_ROWS_HELD]
    if short.size and float((waits % 2 == 0).sum()) < share and float((waits == 1).sum()) > 0.05 * waits.size:
        return 1.0
    common = np.unique(short)
    tried = set(common[:60].tolist()) | {int(np.gcd.reduce(common))} if common.size else set()
    if common.size > 1:
        tried |= {int(g) for g in np.gcd(common[:-1], common[1:])[:200]}
    best = 1
    for k in sorted(tried):
        # With few changes a large common factor can be chance: each halves the odds once a bit.
        if k > best and float((waits % k == 0).sum()) >= share and waits.size * np.log2(k) >= 12:
            best = k
    if best > 1:
        return float(best)
    low, upper = np.quantile(waits, [0.05, 0.75])
    if low >= 2 and upper <= 1.5 * low + 1:
        return float(np.mean(waits[waits <= upper]))
    return 1.0


def _resolution(jumps: FloatArray) -> float | None:
    """The smallest step that is no rare exception; None where hardly two steps are alike."""
    largest = float(jumps.max(initial=0.0))
    if not _TINIEST_STEP < largest < np.inf:
        return None
    # Differences of the same step differ in their last bits; they are told apart to a ten-millionth of the largest.
    grain = 1e-7 * 10.0 ** np.floor(np.log10(largest))
    whole, counts = np.unique(np.rint(jumps / grain).astype(np.int64), return_counts=True)
    if jumps.size > 50 and whole.size > 0.5 * jumps.size:
        return None
    frequent = whole[(counts >= max(1.0, _SMALLEST_STEP_SHARE * jumps.size)) & (whole > 0)]
    if not frequent.size:
        return None
    smallest = int(frequent[0])
    exact = jumps[np.rint(jumps / grain).astype(np.int64) == smallest]
    return float(f"{float(np.median(exact)):.6g}")
