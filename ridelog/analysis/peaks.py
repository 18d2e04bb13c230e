"""Peaks of a density: smoothing and peaks by their prominence, as the well-known library does both, which takes half a
second to load."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from ridelog.results import FloatArray


def bell(values: FloatArray, sigma: float) -> FloatArray:
    """Smoothed with a normal curve of `sigma` points, cut off at four; beyond the ends there is nothing."""
    reach = int(4.0 * sigma + 0.5)
    weights = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2)
    return np.convolve(values, weights / weights.sum())[reach : reach + values.size]


def peaks(values: FloatArray, *, prominence: float, distance: int) -> npt.NDArray[np.int64]:
    """Places of the peaks, rising: points higher than both neighbours (the middle of a flat top), of two nearer than
    `distance` the higher one, and at least `prominence` above the higher of the two dips that part them from higher
    ground."""
    edges = np.flatnonzero(np.diff(values) != 0.0)
    starts, ends = np.concatenate([[0], edges + 1]), np.concatenate([edges, [values.size - 1]])
    level = values[starts]
    inner = np.flatnonzero((level[1:-1] > level[:-2]) & (level[1:-1] > level[2:])) + 1
    found = (starts[inner] + ends[inner]) // 2
    kept = np.ones(found.size, dtype=np.bool_)
    for here in np.argsort(values[found], kind="stable")[::-1]:
        if kept[here]:
            near = np.abs(found - found[here]) < distance
            near[here] = False
            kept[near] = False
    tops = [top for top in found[kept].tolist() if _prominence(values, top) >= prominence]
    return np.array(tops, dtype=np.int64)


def _prominence(values: FloatArray, top: int) -> float:
    dips = []
    for side in (values[top::-1], values[top:]):
        higher = np.flatnonzero(side > values[top])
        dips.append(float(side[: higher[0] if higher.size else side.size].min()))
    return float(values[top]) - max(dips)
