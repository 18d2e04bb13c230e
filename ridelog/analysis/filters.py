"""Windows over a uniform grid that never reach across a hole, and a running sum that fades."""

from __future__ import annotations

import numpy as np

from ridelog.intervals import runs
from ridelog.results import BoolArray, FloatArray


def odd(points: float) -> int:
    """The odd number of points nearest to a length, 3 at least."""
    return max(3, 2 * round((points - 1) / 2) + 1)


def smooth_and_slope(values: FloatArray, window: int, step: float) -> tuple[FloatArray, FloatArray]:
    """Least-squares parabola over `window` points (odd): its value, and its slope a unit of `step`, at each point.

    Savitzky and Golay's filter (Analytical Chemistry 36, 1964), on each unbroken piece alone; a piece shorter than the
    window is fitted with what it has (its straight line under 5 points). Pieces of one or two points keep their values
    and have no slope.
    """
    smooth, slope = values.copy(), np.full(values.size, np.nan)
    for first, past in runs(np.isfinite(values)):
        piece = values[first:past]
        length = piece.size
        if length < 3:
            continue
        width = min(window, length if length % 2 else length - 1)
        order = 2 if width >= 5 else 1
        smooth[first:past] = savgol_filter(piece, width, order)
        slope[first:past] = savgol_filter(piece, width, order, deriv=1, delta=step)
    return smooth, slope


def savgol_filter(values: FloatArray, window: int, order: int, *, deriv: int = 0, delta: float = 1.0) -> FloatArray:
    """Value (`deriv` 0) or slope a unit of `delta` (1) of the least-squares polynomial over `window` points (odd, no
    more than there are) at each point; at the ends that of the outermost window.

    The same as the well-known library's, which takes half a second to load.
    """
    half = window // 2
    offsets = np.arange(-half, half + 1, dtype=np.float64)
    fits = np.linalg.pinv(np.vander(offsets, order + 1, increasing=True))
    result = np.empty(values.size)
    result[half : values.size - half] = np.correlate(values, fits[deriv], mode="valid")
    powers = np.arange(order + 1)
    at = offsets[:, None] ** powers if deriv == 0 else powers * offsets[:, None] ** np.maximum(powers - 1, 0)
    result[:half] = at[:half] @ (fits @ values[:window])
    result[values.size - half :] = at[half + 1 :] @ (fits @ values[values.size - window :])
    return result / delta**deriv


def matched_mean(values: FloatArray, window: int) -> FloatArray:
    """Mean with the weights that a least-squares slope over `window` points gives to the true rate of change.

    The slope of a fitted line is a weighted mean of the differences between neighbours, the weights a parabola. A power
    that is compared with such a slope has to be averaged alike, or bursts of throttle read as losses. Holes are left
    out of the mean; the result is NaN where the value itself is.
    """
    half = window // 2
    offsets = np.arange(-half, half + 1, dtype=np.float64)
    weights = half * (half + 1) - offsets * offsets
    weights = np.clip(weights, 0.0, None)
    weights /= weights.sum()
    known = np.isfinite(values)
    if known.all():
        total, mass = _convolve(values, weights), _convolve(np.ones(values.size), weights)
    else:
        total = _convolve(np.where(known, values, 0.0), weights)
        mass = _convolve(known.astype(np.float64), weights)
    return np.where(known, total / np.where(mass > 1e-9, mass, np.nan), np.nan)


def _convolve(values: FloatArray, weights: FloatArray) -> FloatArray:
    half = weights.size // 2
    return np.convolve(values, weights, mode="full")[half : half + values.size]


def moving_mean(values: FloatArray, window: int) -> FloatArray:
    """Mean of the known values within a centred window of `window` points (odd); NaN where there is none."""
    half = window // 2
    known = np.isfinite(values)
    total = np.concatenate([[0.0], np.cumsum(np.where(known, values, 0.0))])
    count = np.concatenate([[0], np.cumsum(known)])
    index = np.arange(values.size)
    low, high = np.maximum(index - half, 0), np.minimum(index + half + 1, values.size)
    number = count[high] - count[low]
    return np.where(number > 0, (total[high] - total[low]) / np.maximum(number, 1), np.nan)


def moving_median(values: FloatArray, window: int, at_least: int) -> FloatArray:
    """Median of the known values within a centred window of `window` points (odd); NaN where fewer than `at_least`."""
    half = window // 2
    padded = np.full(values.size + 2 * half, np.nan)
    padded[half : half + values.size] = values
    ranked = np.sort(np.lib.stride_tricks.sliding_window_view(padded, window), axis=1)
    count = np.isfinite(ranked).sum(axis=1)
    enough = count >= max(at_least, 1)
    upper = np.where(enough, count // 2, 0)
    lower = np.where(enough, (count - 1) // 2, 0)
    rows = np.arange(values.size)
    return np.where(enough, 0.5 * (ranked[rows, lower] + ranked[rows, upper]), np.nan)


def block_mean(values: FloatArray, size: int, at_least: int) -> FloatArray:
    """Mean of the known values of each block of `size` points; NaN where fewer than `at_least`. The last may be
    short."""
    blocks = -(-values.size // size)
    padded = np.full(blocks * size, np.nan)
    padded[: values.size] = values
    table = padded.reshape(blocks, size)
    known = np.isfinite(table)
    count = known.sum(axis=1)
    total = np.where(known, table, 0.0).sum(axis=1)
    return np.where(count >= at_least, total / np.maximum(count, 1), np.nan)


def near(mask: BoolArray, points: int) -> BoolArray:
    """True within `points` of a true value."""
    if points <= 0 or not mask.any():
        return mask
    count = np.concatenate([[0], np.cumsum(mask)])
    index = np.arange(mask.size)
    low, high = np.maximum(index - points, 0), np.minimum(index + points + 1, mask.size)
    return np.asarray(count[high] > count[low], dtype=np.bool_)


def long_runs(mask: BoolArray, points: int) -> BoolArray:
    """The part of a mask that is true for at least `points` in a row."""
    result = np.zeros(mask.size, dtype=np.bool_)
    padded = np.zeros(mask.size + 2, dtype=np.int8)
    padded[1:-1] = mask
    edges = np.flatnonzero(np.diff(padded))
    starts, ends = edges[::2], edges[1::2]
    keep = ends - starts >= points
    marks = np.zeros(mask.size + 1, dtype=np.int64)
    np.add.at(marks, starts[keep], 1)
    np.add.at(marks, ends[keep], -1)
    np.cumsum(marks[:-1], out=marks[:-1])
    result[:] = marks[:-1] > 0
    return result


FILTER_BLOCK = 64


def filtered(values: FloatArray, keep: FloatArray | float, before: FloatArray | float = 0.0) -> FloatArray:
    """y[k] = values[k] + keep y[k - 1] along each row, with keep y[-1] = `before`; `keep` one figure or one a row.

    Block by block: within one the sum is a product with a triangular matrix, and only the blocks' ends are carried on
    one after the other.
    """
    rows, count = values.shape
    blocks = -(-count // FILTER_BLOCK)
    table = np.zeros((rows, blocks * FILTER_BLOCK))
    table[:, :count] = values
    table = table.reshape(rows, blocks, FILTER_BLOCK)
    places = np.arange(FILTER_BLOCK)
    later = places[None, :] - places[:, None]
    powers = np.atleast_1d(np.asarray(keep, dtype=np.float64))[:, None] ** places
    table = table @ np.where(later >= 0, powers[:, np.maximum(later, 0)], 0.0)
    step_on, through = powers[:, 1], powers[:, -1]
    carry = np.empty((blocks, rows))
    now = np.broadcast_to(np.asarray(before, dtype=np.float64), (rows,))
    for block, end in enumerate(table[:, :, -1].T.copy()):
        carry[block] = now
        now = step_on * (end + through * now)
    table += carry.T[:, :, None] * powers[:, None, :]
    return np.ascontiguousarray(table.reshape(rows, -1)[:, :count])
