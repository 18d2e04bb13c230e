"""Whether the map was used apart from the ground: what the estimate of its effect stands or falls with.

Where riders switch exactly with the ground, what the map does and what the ground does can't be told apart, however
much of it there is. So each ride's use of the map is set against what the ground, the pace and the riding were like
around each moment: a least-squares fit by these and their products, from sums that rides share. Its share explained
(R squared) is near 1 where the ground tells the map, well below where riders are late, forget, or use it elsewhere too.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ridelog.analysis.effect_columns import TERRAINS, Track
from ridelog.analysis.filters import block_mean, moving_mean, near, odd
from ridelog.analysis.thermal import STEP_S, IndexArray
from ridelog.results import BoolArray, FloatArray

AROUND_S, DRAG_AROUND_S = 60.0, 24.0
"""What a rider answers to lasts about a minute; drag is smoothed already."""

_MIDDLE = (0.13, 8.0, 0.0, 0.5, 0.2, 0.2)
_SPAN = (0.06, 5.0, 0.06, 0.15, 0.12, 0.1)
"""Middle and spread of drag, speed (m/s), grade, turning, opening and its unrest on ordinary rides: they keep the
products of like size, no more."""

_COUNT = len(_MIDDLE)
TERMS = 1 + _COUNT + _COUNT * (_COUNT + 1) // 2
MOVING_MPS = 1.5
RIDGE = 3.0

EDGE_STEPS = 3
"""Ground is plainly of one kind where it was for this long before and stays so after."""

LIKE_STEPS, LIKE = 5, 0.5


def sums(track: Track) -> FloatArray:
    """Products of the ground's terms and the map's use, summed over the steps on the move, (TERMS + 1, TERMS + 1)."""
    around, opening = odd(AROUND_S / STEP_S), track.steps(track.opening)
    mean = moving_mean(opening, around)
    square = moving_mean(track.steps(track.opening**2), around)
    drag = block_mean(track.drag, track.size, 1)
    grade = track.steps(track.grade) if track.grade is not None else np.zeros(opening.size)
    seen = np.stack(
        [
            moving_mean(drag, odd(DRAG_AROUND_S / STEP_S)),
            moving_mean(track.steps(track.speed_mps), around),
            moving_mean(grade, around),
            moving_mean(track.steps(track.turning), around),
            mean,
            np.sqrt(np.maximum(square - mean**2, 0.0)),
        ],
        axis=1,
    )
    ok = np.isfinite(drag) & track.usable & (track.steps(track.speed_mps) > MOVING_MPS)
    scaled = np.clip((seen[ok] - np.asarray(_MIDDLE)) / np.asarray(_SPAN), -6.0, 6.0)
    first, second = np.triu_indices(_COUNT)
    on = track.steps(track.conservative)[ok, None]
    terms = np.concatenate([np.ones((scaled.shape[0], 1)), scaled, scaled[:, first] * scaled[:, second], on], axis=1)
    return np.asarray(terms.T @ terms)


def explained(tables: Sequence[FloatArray]) -> float:
    """Share of the map's use that the ground explains over all rides, 0..1; 0 where only one map was used."""
    table = np.sum(tables, axis=0)
    count, used = float(table[0, 0]), float(table[0, -1])
    if count <= 0.0:
        return 0.0
    whole = float(table[-1, -1]) - used * used / count
    if whole <= 1e-9 * count:
        return 0.0
    inner, across = table[:-1, :-1] + RIDGE * np.eye(TERMS), table[:-1, -1]
    weights = np.linalg.solve(inner, across)
    left = float(table[-1, -1] - 2.0 * weights @ across + weights @ table[:-1, :-1] @ weights)
    return float(np.clip(1.0 - left / whole, 0.0, 1.0))


def seconds(track: Track, inside: BoolArray) -> FloatArray:
    """Seconds by map (standard, conservative) and ground (easy, each of TERRAINS) of the steps `inside`, (2, 4): what
    is plainly on one kind of ground only."""
    ground, on = track.steps(track.grounds), track.steps(track.conservative)
    told = track.steps(np.isfinite(track.drag).astype(np.float64)) > 0.5
    kinds = np.concatenate([(told & (ground.max(axis=1) <= 0.0))[:, None], ground >= 1.0 - 1e-9], axis=1)
    found = np.zeros((2, 1 + len(TERRAINS)))
    for n in range(kinds.shape[1]):
        plain = kinds[:, n] & ~near(~kinds[:, n], EDGE_STEPS) & inside
        found[:, n] = STEP_S * (1.0 - on[plain]).sum(), STEP_S * on[plain].sum()
    return found


def switches(track: Track, inside: BoolArray) -> tuple[int, int]:
    """Changes of the map within unbroken time, and those of them with like ground before and after."""
    at: IndexArray = np.flatnonzero(np.diff(np.round(track.steps(track.conservative))) != 0.0) + 1
    at = at[inside[at] & inside[at - 1]]
    ground = track.steps(track.grounds)
    before, after = np.maximum(at - LIKE_STEPS, 0), np.minimum(at + LIKE_STEPS, ground.shape[0] - 1)
    like = np.abs(ground[after] - ground[before]).max(axis=1, initial=0.0) < LIKE
    return int(at.size), int(like.sum())
