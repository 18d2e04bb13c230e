"""A throttle whose closed stop moves within a ride: a sensor that slips on its shaft, a loose plug, a cable that binds.

A moved stop shifts every opening after it, so the analysis learns the stops anew from where each stretch begins.
"""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

import numpy as np

from ridelog.channels import THROTTLE_ZERO
from ridelog.quality.scene import Scene, clock
from ridelog.results import BoolArray, FloatArray
from ridelog.ride import QualityMark
from ridelog.words import doubt_details

THROTTLE = "throttle_pct"


class Floor(NamedTuple):
    """A stretch of the ride and where its closed throttle reads, %."""

    start_s: float
    end_s: float
    closed_pct: float


def find(scene: Scene) -> list[QualityMark]:
    """A mark on each stretch whose closed stop is not that of the stretch before."""
    stretches = floors(scene)
    marks: list[QualityMark] = []
    for before, here in pairwise(stretches):
        marks.append(
            QualityMark(
                THROTTLE,
                "throttle_zero",
                here.start_s,
                here.end_s,
                "kept",
                doubt_details.stop_moved(here.closed_pct, clock(here.start_s), before.closed_pct),
            )
        )
    return marks


def floors(scene: Scene) -> tuple[Floor, ...]:
    """The ride cut into stretches of one closed stop each, in order of time; one stretch, or none, where the stop
    stayed or was not seen often enough to tell."""
    if not scene.has(THROTTLE) or scene.t_s.size < 2 * THROTTLE_ZERO.least_blocks * THROTTLE_ZERO.block_s:
        return ()
    throttle = scene.at(THROTTLE)
    if not np.isfinite(throttle).any() or float(np.nanmax(throttle) - np.nanmin(throttle)) < THROTTLE_ZERO.shift_pct:
        return ()
    levels, starts = _levels(scene, throttle)
    groups: list[list[int]] = []
    for block in np.flatnonzero(np.isfinite(levels)).tolist():
        if groups and abs(levels[block] - np.median(levels[groups[-1]])) <= THROTTLE_ZERO.same_pct:
            groups[-1].append(block)
        else:
            groups.append([block])
    found: list[list[int]] = []
    for group in (group for group in groups if len(group) >= THROTTLE_ZERO.least_blocks):
        if found and abs(np.median(levels[group]) - np.median(levels[found[-1]])) < THROTTLE_ZERO.shift_pct:
            found[-1].extend(group)
        else:
            found.append(list(group))
    edges = [float(scene.t_s[0]), *(float(starts[group[0]]) for group in found[1:]), float(scene.t_s[-1])]
    return tuple(
        Floor(begin, end, float(np.median(levels[group])))
        for group, (begin, end) in zip(found, pairwise(edges), strict=bool(found))
    )


def _levels(scene: Scene, throttle: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The closed stop seen in each block (NaN where none was), and when the block begins."""
    size = THROTTLE_ZERO.block_s
    blocks = throttle.size // size
    table = throttle[: blocks * size].reshape(blocks, size)
    rest = _at_rest(scene)[: blocks * size].reshape(blocks, size)
    # Far above any reading, so that a second without one is no low one.
    lowest = np.sort(np.where(np.isfinite(table), table, 1e6), axis=1)
    level = lowest[:, THROTTLE_ZERO.pile_s - 1]
    # The stop: the lowest readings, piled up within half a point, some of them at rest, where a grip is let go.
    with np.errstate(invalid="ignore"):
        near = np.abs(table - level[:, None]) <= THROTTLE_ZERO.pile_pct
    seen = near.sum(axis=1) >= THROTTLE_ZERO.pile_s
    seen &= level - lowest[:, 0] <= THROTTLE_ZERO.pile_pct
    seen &= level < THROTTLE_ZERO.highest_stop_pct
    seen &= (near & rest).any(axis=1)
    return np.where(seen, level, np.nan), scene.t_s[: blocks * size : size]


def _at_rest(scene: Scene) -> BoolArray:
    """Seconds in which the grip is let go: standing, idling, or a speed or engine speed that falls on its own."""
    rest = np.zeros(scene.t_s.size, dtype=np.bool_)
    with np.errstate(invalid="ignore"):
        for name in ("gps_speed_mps", "wheel_speed_mps"):
            speed = scene.maybe(name)
            if speed is not None:
                rest |= speed < THROTTLE_ZERO.standing_mps
                rest[1:] |= np.diff(speed) < -THROTTLE_ZERO.slowing_mps2
        rpm = scene.maybe("engine_rpm")
        if rpm is not None:
            low, high = THROTTLE_ZERO.idle_rpm
            rest |= (rpm > low) & (rpm < high)
    return rest
