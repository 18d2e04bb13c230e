"""Random rides over a small network of loops and roads, and what of them is repeated in truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree
from tracks import Array, Plan, back, joined, line, loop, ridden, timed

from ridelog.analysis.passes import repeats
from ridelog.analysis.passes_way import Way

Mask = npt.NDArray[np.bool_]

SPACING_M = 6000.0
"""Loops and roads lie this far apart, so that only what is ridden again is near to anything."""


@dataclass(frozen=True)
class RandomRide:
    """A ride, the path it took, a point every metre, and when it passed each."""

    track: Way
    path: Plan
    took_s: Array


def ride(draw: np.random.Generator) -> RandomRide:
    """Pieces of ground in random order and direction, at random speed, sampling and noise; stops and holes."""
    pieces = [_ground(draw, k) for k in range(int(draw.integers(2, 5)))]
    paths: list[Plan] = []
    for _ in range(int(draw.integers(3, 9))):
        piece = pieces[int(draw.integers(len(pieces)))]
        path = piece if draw.random() < 0.75 else back(piece)
        cut = slice(0, path[0].size) if draw.random() < 0.7 else _part(draw, path[0].size)
        paths.append((path[0][cut], path[1][cut]))
    whole = joined(*paths)
    seed, speed = int(draw.integers(1000)), float(draw.uniform(4.0, 16.0))
    length = float(whole[0].size)
    stops = tuple((float(draw.uniform(0.0, length)), float(draw.uniform(20.0, 240.0))) for _ in range(3))
    _, took = timed(whole, speed_mps=speed, seed=seed, stops=stops)
    begin = draw.uniform(0.0, took[-1], 2)
    track = ridden(
        whole,
        speed_mps=speed,
        rate_hz=float(draw.choice([1.0, 2.0, 5.0, 10.0])),
        noise_m=float(draw.uniform(0.5, 3.0)),
        wander_m=float(draw.uniform(0.5, 3.0)),
        seed=seed,
        stops=stops,
        holes_s=tuple((float(b), float(b + draw.uniform(3.0, 25.0))) for b in begin),
        speed_logged=bool(draw.random() < 0.7),
    )
    return RandomRide(track, whole, took)


def _ground(draw: np.random.Generator, k: int) -> Plan:
    seed = int(draw.integers(1000))
    if draw.random() < 0.6:
        path = loop(float(draw.uniform(1200.0, 4000.0)), seed=seed)
    else:
        path = line(float(draw.uniform(800.0, 3000.0)), float(draw.uniform(0.0, 360.0)))
    return path[0] + SPACING_M * (k % 2), path[1] + SPACING_M * (k // 2)


def _part(draw: np.random.Generator, size: int) -> slice:
    a = int(draw.uniform(0.0, 0.5) * size)
    return slice(a, a + int(draw.uniform(0.35, 0.5) * size))


LEAST_RUN_M = 260
"""Truly repeated runs of hardly the least length may be told or not."""

EVERY_M = 5
SURE_M, SURE_DEG, NO_M, NO_DEG = 5.0, 20.0, 40.0, 75.0
"""Within the first, ground is the same without doubt; beyond the second it is not."""


def scored(rides: list[RandomRide]) -> tuple[float, float, float, float]:
    """Over rides that are each looked at alone: metres repeated without doubt, those of them that were told, all metres
    told, and those of them that are not repeated. Truth is of the paths themselves, by a search tree of SciPy."""
    sums = np.zeros(4)
    for one in rides:
        told = np.zeros(one.took_s.size, dtype=np.bool_)
        for stretch in repeats([one.track]).stretches:
            for each in stretch.passes:
                a, b = np.searchsorted(one.took_s, (each.start_s, each.end_s))
                told[a:b] = True
        told = told[::EVERY_M]
        sure = _long(_again(one.path, SURE_M, SURE_DEG))
        never = ~_again(one.path, NO_M, NO_DEG)
        sums += [np.count_nonzero(mask) for mask in (sure, sure & told, told, told & never)]
    return tuple((EVERY_M * sums).tolist())


def _again(path: Plan, within_m: float, within_deg: float) -> Mask:
    """Points that have another one beside them, in the same direction, well before or behind them."""
    east, north = (values[::EVERY_M] for values in path)
    x, y = np.gradient(east), np.gradient(north)
    length = np.maximum(np.hypot(x, y), 1e-9)
    x, y = x / length, y / length
    tree = cKDTree(np.column_stack([east, north]))
    pairs = tree.query_pairs(within_m, output_type="ndarray")
    first, second = pairs[:, 0], pairs[:, 1]
    apart = np.abs(first - second) * EVERY_M > 250
    alike = x[first] * x[second] + y[first] * y[second] > np.cos(np.radians(within_deg))
    again = np.zeros(east.size, dtype=np.bool_)
    again[first[apart & alike]] = True
    again[second[apart & alike]] = True
    return again


def _long(mask: Mask) -> Mask:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(np.int8), [0]])))
    kept = np.zeros_like(mask)
    for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        kept[a:b] = (b - a) * EVERY_M >= LEAST_RUN_M
    return kept
